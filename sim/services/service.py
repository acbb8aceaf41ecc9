"""From the histories of hops to the history of each end-to-end service.

The changes of all hops are merged in time. Each distinct joint state of the hops and routes that a group
of services may use is judged once (capacity shared as in ``models.judging.sharing``) and looked up
afterwards.

A direction of a service is *down* while it gets less than the required share of its committed rate. Where
its demand follows the hours, both rates are those that it asks for at the hour.
*Why* it gets less than it should is a set of causes, by this rule:

- A link *fails* a direction when its capacity, with nobody else on it, is below what the direction needs:
  the required share of the committed rate when it is down, the committed rate when it gets less than that,
  else the peak. The causes are those of all
  links of the route in use that fail it, and when it is down, of the other routes' links that fail it too.
- If no link fails it, capacity was shared away: the causes are those of the full links of its route, and
  ``CONGESTION`` for each full link with nothing wrong. When it gets less than its committed rate, full is what
  committed rates fill: the excess of others takes nothing of it. A link too small with nothing wrong is
  ``CONGESTION``.
- While it changes route the cause is ``SWITCHING``, with those of the links that fail it on the route
  it leaves.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.judging.cause import Cause
from hopyears.sim.hops.hop_history import HopHistory, side_by_side
from hopyears.sim.services.busy_hours import Stretches, clock_changes, where, with_hours
from hopyears.sim.services.congestion import Changes, crowd_of, leaves_congestion, routes_among
from hopyears.sim.services.ring_switch import Openings, ring_openings, ways_round
from hopyears.sim.services.route_choice import DEGRADED, FAILED, GOOD, PLANNED, choose_route
from hopyears.sim.services.service_data import (
    BACKWARD,
    FORWARD,
    RingSwitch,
    Route,
    ServiceDemand,
    ServiceHistory,
)
from hopyears.sim.services.service_frame import Frame, Lists, frame_of
from hopyears.sim.services.service_plan import Plan, build_plan
from hopyears.sim.services.service_run import Outages, ServiceRun

__all__ = ["BACKWARD", "FORWARD", "Route", "ServiceDemand", "ServiceHistory", "sweep_services"]


CHANGES_AT_ONCE = 1_000_000
"""Changes merged at a time: bounds the memory of a sweep whatever the length of the histories."""


def sweep_services(
    hops: Sequence[HopHistory],
    services: Sequence[ServiceDemand],
    duration_s: float,
    *,
    links: Sequence[Sequence[int]] | None = None,
    record_rates: bool = False,
    span_edges_s: Sequence[float] | Floats = (),
    frame: Frame | None = None,
) -> list[ServiceHistory]:
    """History of each service on the given histories of hops.

    Parameters
    ----------
    hops : sequence of HopHistory
        One each hop; changes at or after ``duration_s`` are ignored.
    services : sequence of ServiceDemand
        At most 32,767.
    duration_s : float
        Length of the observation from time 0 [s], above 0.
    links : sequence of sequences of int, optional
        Hops of each link: parallel hops share their load as one, and stay of use when some fail.
        Without it every hop is a link by itself. A hop is in one link at most.
    record_rates : bool
        Whether every change of rate is in the histories, not only those that matter for
        outages; takes memory.
    span_edges_s : sequence of float
        Edges of the spans for which the histories tell what was lacking, rising from 0 [s]; none unless
        asked for.
    frame : Frame, optional
        Of these services and links, where it is at hand.

    Returns
    -------
    list of ServiceHistory
        In the order of ``services``.

    Raises
    ------
    ValueError
        If a route uses an unknown link or direction, a link an unknown hop, or a hop is in two links.
    """
    if frame is None:
        links = [(hop,) for hop in range(len(hops))] if links is None else links
        frame = frame_of(services, links, len(hops))
    sweeper = Sweeper(hops, frame, duration_s, record_rates=record_rates, span_edges_s=span_edges_s)
    return sweeper.sweep(hops)


class Sweeper:
    """Sweeps over histories of the same hops, one after another; what is judged once serves them all.

    Parameters
    ----------
    hops : sequence of HopHistory
        With the states of all histories.
    frame : Frame
        Of the services and links.
    duration_s, record_rates, span_edges_s
        As for ``sweep_services``.
    after : Sweeper, optional
        One of the same services: what has been judged there serves here too, where it may.
    """

    def __init__(
        self,
        hops: Sequence[HopHistory],
        frame: Frame,
        duration_s: float,
        *,
        record_rates: bool = False,
        span_edges_s: Sequence[float] | Floats = (),
        after: "Sweeper | None" = None,
    ) -> None:
        if not 0.0 < duration_s < np.inf:
            raise ValueError(f"duration_s is {duration_s}; must be above 0")
        self._frame, self._duration_s, self._edges_s = frame, duration_s, span_edges_s
        self._record_rates = record_rates
        n_choices = [2 * len(service.routes) for service in frame.services]
        self._plan, self._numbers, self._clocks = build_plan(hops, frame, n_choices)
        run = None if after is None else after._run
        if run is None or not run.serves(self._plan, record_rates):
            run = ServiceRun(self._plan, record_rates)
        self._run: ServiceRun = run
        groups = np.diff(self._plan.groups_of_entity.first[: len(hops) + 1])
        self._used = np.flatnonzero(groups).tolist()

    def sweep(self, hops: Sequence[HopHistory]) -> list[ServiceHistory]:
        """History of each service on one history of the hops."""
        self._run_through(hops)
        return [
            replace(with_hours(history, service, self._edges_s), severe_share=service.severe_share)
            for service, history in zip(
                self._frame.services, self._run.histories(self._duration_s), strict=True
            )
        ]

    def outages(self, hops: Sequence[HopHistory]) -> Outages:
        """What takes all services down on one history of the hops."""
        self._run_through(hops)
        shares = np.array([service.severe_share for service in self._frame.services])
        return self._run.outages(self._duration_s, shares)

    def _run_through(self, hops: Sequence[HopHistory]) -> None:
        frame, duration_s = self._frame, self._duration_s
        finder = _LinkHistories(hops, frame.links)
        choices = _all_choices(frame, self._plan, finder, duration_s)
        levels = [
            clock_changes(
                clock,
                [(np.zeros(1), np.full(1, duration_s))]
                if self._record_rates
                else _may_be_short(frame, self._plan, group, finder, choices, duration_s),
                duration_s,
            )
            for clock, group in self._clocks
        ]
        numbers = self._numbers
        first_states = [
            number[hop.state[_last_at_zero(hop.time_s)]] for hop, number in zip(hops, numbers, strict=True)
        ]
        first_choices = [int(choice[_last_at_zero(time_s)]) for time_s, choice in choices]
        first_levels = [int(level[0]) for _, level in levels]
        self._run.start(self._plan, self._edges_s, first_states, first_choices, first_levels)
        changes: list[tuple[int, Changes, NDArray[np.int32] | None]] = [
            (k, (hops[k].time_s, hops[k].state), numbers[k]) for k in self._used
        ]
        changes += [(len(hops) + s, choice, None) for s, choice in enumerate(choices)]
        changes += [(len(hops) + len(choices) + 1 + k, level, None) for k, level in enumerate(levels)]
        # What stands at time 0 has been told already.
        for chunk in _merged([each for each in changes if each[1][0].size > 1], duration_s):
            self._run.apply(*chunk)


def _may_be_short(
    frame: Frame,
    plan: Plan,
    group: int,
    finder: "_LinkHistories",
    choices: Sequence[Changes],
    duration_s: float,
) -> Iterator[Stretches]:
    """When some service of a group may lack something: a link is too small for all, or it changes route."""
    for link in _of(plan.groups.links, group):
        time_s, capacity, _, state = finder.capacity(link)
        small: Bools = np.any(capacity < frame.enough_mbit_s[frame.links[link][0]], axis=1)
        yield where(small[state], time_s, duration_s)
    for s in _of(plan.groups.services, group):
        time_s, choice = choices[s]
        yield where(choice >= len(frame.services[s].routes), time_s, duration_s)


def _last_at_zero(time_s: Floats) -> int:
    return int(np.searchsorted(time_s, 0.0, side="right")) - 1


def routes_in_use(
    hops: Sequence[HopHistory],
    services: Sequence[ServiceDemand],
    duration_s: float,
    *,
    links: Sequence[Sequence[int]],
) -> list[Changes]:
    """Of each service times [s], the first 0, and which route is in use from then on.

    Of n routes, n + r is the gap without traffic while route r is being left. ``hops`` and ``links`` are as
    for ``sweep_services``.
    """
    frame = frame_of(services, links, len(hops))
    plan, _, _ = build_plan(hops, frame, [2 * len(service.routes) for service in services])
    return _all_choices(frame, plan, _LinkHistories(hops, frame.links), duration_s)


class _LinkHistories:
    """In which state each link is for a service, found once for each threshold."""

    def __init__(self, hops: Sequence[HopHistory], links: Sequence[Sequence[int]]) -> None:
        self._hops, self._links = hops, links
        self._known: dict[tuple[int, float], tuple[Floats, NDArray[np.int8]]] = {}
        self._rings: dict[RingSwitch, Openings] = {}

    def states(self, link: int, below_mbit_s: float) -> tuple[Floats, NDArray[np.int8]]:
        """Changes of a link's state: of use with capacity both ways, of at least the threshold."""
        key = (link, below_mbit_s)
        if key not in self._known:
            time_s, capacity, causes, of_time = self.capacity(link)
            lowest = capacity.min(axis=1)
            usable = (lowest > 0.0) & (lowest >= below_mbit_s)
            out = np.where(causes & int(Cause.MAINTENANCE), PLANNED, FAILED)
            state = np.where(usable, GOOD, out).astype(np.int8)[of_time]
            kept = np.append(True, state[1:] != state[:-1])
            self._known[key] = (time_s[kept], state[kept])
        return self._known[key]

    def _ring_states(self, link: int, degraded_below_mbit_s: float) -> tuple[Floats, NDArray[np.int8]]:
        """Changes of a link's state for a ring: failed when it carries nothing one way, or degraded."""
        time_s, state = self.states(link, 0.0)
        if degraded_below_mbit_s == 0.0:
            return time_s, state
        all_s, enough = self.states(link, degraded_below_mbit_s)
        every_s = np.union1d(time_s, all_s)
        state = state[np.searchsorted(time_s, every_s, side="right") - 1]
        degraded = enough[np.searchsorted(all_s, every_s, side="right") - 1] != GOOD
        return every_s, np.where(degraded & (state == GOOD), DEGRADED, state).astype(np.int8)

    def openings(self, ring: RingSwitch, duration_s: float) -> Openings:
        """Where a ring is open in time, found once for all of its services."""
        if ring not in self._rings:
            parts = [self._ring_states(link, ring.degraded_below_mbit_s) for link in ring.links]
            time_s, place, state = _in_order(parts)
            self._rings[ring] = Openings(
                *ring_openings(
                    time_s,
                    place,
                    state,
                    np.array([part[1][0] for part in parts]),
                    ring.protection,
                    ring.hold_off_s,
                    ring.guard_s,
                    ring.wait_to_restore_s,
                    duration_s,
                )
            )
        return self._rings[ring]

    def room(self, link: int, enough_mbit_s: float) -> tuple[int, Floats, Floats, Bools]:
        """A link, times, its capacity both ways up to what is enough, and whether work takes of that."""
        time_s, capacity, causes, of_time = self.capacity(link)
        enough_mbit_s = max(enough_mbit_s, 1.0)  # of those that committed to nothing
        kept = np.minimum(capacity, enough_mbit_s)
        planned = (causes & int(Cause.MAINTENANCE) != 0) & (kept.min(axis=1) < enough_mbit_s)
        rows = np.column_stack([kept, planned])[of_time]
        new = np.append(True, (rows[1:] != rows[:-1]).any(axis=1))
        return link, time_s[new], rows[new, :2], rows[new, 2] > 0.0

    def capacity(self, link: int) -> tuple[Floats, Floats, Ints, Ints]:
        """Times of a link; capacity (n, 2) and causes of its states, all hops added; state at each time."""
        parts = [self._hops[hop] for hop in self._links[link]]
        whole = parts[0] if len(parts) == 1 else side_by_side(parts)
        last = np.append(whole.time_s[1:] != whole.time_s[:-1], True)
        return whole.time_s[last], whole.capacity_mbit_s, whole.causes, whole.state[last].astype(np.int64)


def _all_choices(frame: Frame, plan: Plan, finder: _LinkHistories, duration_s: float) -> list[Changes]:
    """Route in use by each service in time; of those that leave congestion by group, the others known."""
    still = (np.zeros(1), np.zeros(1, dtype=np.int32))
    choices = [
        still if leaves_congestion(service) else _choices(service, crossed, routes_of, finder, duration_s)
        for service, crossed, routes_of in zip(frame.services, frame.links_of, frame.routes_of, strict=True)
    ]
    for group in range(plan.groups.services.first.size - 1):
        members = _of(plan.groups.services, group)
        if not any(leaves_congestion(frame.services[s]) for s in members):
            continue
        most = dict.fromkeys(_of(plan.groups.links, group), 0.0)
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


def _of(table: Lists, row: int) -> list[int]:
    return list(table.item[table.first[row] : table.first[row + 1]].tolist())


def _choices(
    service: ServiceDemand,
    crossed: Sequence[int],
    routes_of: Lists,
    finder: _LinkHistories,
    duration_s: float,
) -> Changes:
    """Route in use by a service in time."""
    if len(service.routes) == 1:
        return np.zeros(1), np.zeros(1, dtype=np.int32)
    if service.rings:
        openings = [finder.openings(ring, duration_s) for ring in service.rings]
        return ways_round(openings, service.rings, service.routes)
    parts = [finder.states(link, service.switch_below_mbit_s) for link in crossed]
    chosen: Changes = choose_route(
        *_in_order(parts),
        np.array([part[1][0] for part in parts]),
        routes_of.item,
        routes_of.first,
        len(service.routes),
        service.hold_off_s,
        service.switching_s,
        service.commanded_s,
        service.wait_to_restore_s,
        duration_s,
    )
    return chosen


def _in_order(parts: Sequence[tuple[Floats, NDArray[np.int8]]]) -> tuple[Floats, Ints, NDArray[np.int8]]:
    """Changes of some links after time 0 in order of time: when, which of them, its new state."""
    time_s = np.concatenate([part[0][1:] for part in parts])
    order = np.argsort(time_s, kind="stable")
    link = np.repeat(np.arange(len(parts)), [part[0].size - 1 for part in parts])
    return time_s[order], link[order], np.concatenate([part[1][1:] for part in parts])[order]


def _merged(
    changes: Sequence[tuple[int, Changes, NDArray[np.int32] | None]], duration_s: float
) -> Iterator[tuple[Floats, Ints, Ints]]:
    """Changes of all entities after time 0 in order of time, a stretch of time after another."""
    total = sum(time_s.size for _, (time_s, _), _ in changes)
    edges = np.linspace(0.0, duration_s, 2 + total // CHANGES_AT_ONCE)
    cuts = [np.searchsorted(time_s, edges) for _, (time_s, _), _ in changes]
    before = [-1] * len(changes)
    for window in range(edges.size - 1):
        parts = []
        for k, (entity, (time_s, value), number) in enumerate(changes):
            here = slice(cuts[k][window], cuts[k][window + 1])
            states = value[here] if number is None else number[value[here]]
            differs = np.empty(states.size, dtype=np.bool_)
            differs[:1], differs[1:] = states[:1] != before[k], states[1:] != states[:-1]
            new = np.flatnonzero(differs)
            if new.size:
                before[k] = int(states[-1])
                parts.append((time_s[here][new], np.full(new.size, entity), states[new]))
        if parts:
            time_all, entity_all, state_all = (np.concatenate(column) for column in zip(*parts, strict=True))
            order = np.argsort(time_all, kind="stable")
            yield time_all[order], entity_all[order].astype(np.int64), state_all[order].astype(np.int64)
