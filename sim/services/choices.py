"""Route in use by each service in time, on one history of the hops."""

import numpy as np

from hopyears.sim.services.congestion import Changes, crowd_of, leaves_congestion, routes_among
from hopyears.sim.services.link_histories import LinkHistories, link_states
from hopyears.sim.services.ring_switch import ways_round
from hopyears.sim.services.route_choice import choose_route
from hopyears.sim.services.service_frame import Frame, row_of
from hopyears.sim.services.service_plan import Plan


def all_choices(frame: Frame, plan: Plan, finder: LinkHistories, duration_s: float) -> list[Changes]:
    """Route in use by each service in time; of those that leave congestion by group, the others known."""
    choices = [(np.zeros(1), np.zeros(1, dtype=np.int32)) for _ in frame.services]
    for s, service in enumerate(frame.services):
        if service.rings:
            openings = [finder.openings(ring, duration_s) for ring in service.rings]
            choices[s] = ways_round(openings, service.rings, service.routes)
    _choose_alone(choices, frame, finder, duration_s)
    for group in range(plan.groups.services.first.size - 1):
        members = row_of(plan.groups.services, group)
        if not any(leaves_congestion(frame.services[s]) for s in members):
            continue
        most = dict.fromkeys(row_of(plan.groups.links, group), 0.0)
        for s in members:
            for link in frame.links_of[s]:
                most[link] += max(frame.services[s].committed_ways_mbit_s)
        found = routes_among(
            crowd_of(frame, members),
            [finder.room(link, committed) for link, committed in most.items()],
            [(s, choices[s]) for s in members if not leaves_congestion(frame.services[s])],
            len(frame.links),
            duration_s,
        )
        for s, changes in found.items():
            choices[s] = changes
    return choices


def _choose_alone(choices: list[Changes], frame: Frame, finder: LinkHistories, duration_s: float) -> None:
    """Fill in the choices of services that change route by themselves, by the states of links alone."""
    asked = frame.switching
    if not asked.services:
        return
    link, time_s, state = link_states([finder.whole(each) for each in asked.links], asked.below_mbit_s)
    first = np.searchsorted(link, np.arange(len(asked.links) + 1))
    member, last = asked.links_of.item, asked.links_of.first
    # Changes of each of a service's links after time 0, then those of a service in order of time.
    counts = (np.diff(first) - 1)[member]
    pair = np.repeat(np.arange(member.size), counts)
    at = np.arange(pair.size) - np.repeat(np.cumsum(counts) - counts, counts) + (first[member] + 1)[pair]
    rank = np.empty(time_s.size, dtype=np.int64)
    rank[np.argsort(time_s, kind="stable")] = np.arange(time_s.size)
    service = np.repeat(np.arange(len(asked.services)), np.diff(last))
    order = np.argsort(service[pair] * time_s.size + rank[at])
    pair, at = pair[order], at[order]
    time_s, place, state_then = time_s[at], pair - last[service[pair]], state[at]
    cuts, begin = np.searchsorted(pair, last), state[first[member]]
    for k, s in enumerate(asked.services):
        one, here, own = frame.services[s], slice(cuts[k], cuts[k + 1]), slice(last[k], last[k + 1])
        choices[s] = choose_route(
            time_s[here],
            place[here],
            state_then[here],
            begin[own].copy(),
            frame.routes_of[s].item,
            frame.routes_of[s].first,
            len(one.routes),
            one.hold_off_s,
            one.switching_s,
            one.commanded_s,
            one.wait_to_restore_s,
            duration_s,
        )
