"""Numbers the services sweep runs on: links, routes, flows, groups and hop states as flat arrays.

Three things keep the number of joint states small. A capacity above the peaks of all services that may
cross the link is as good as any other, so such hop states are one. Hops that no service may cross fall
away. And services that share no link which can ever be short of capacity are judged in groups apart.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.judging.demand_clock import DemandClock
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service_frame import Flows, Frame, Lists, Routes, lists, pointer


class HopStates(NamedTuple):
    """Hop states as the sweep sees them: those of hop i from ``first[i]`` on."""

    first: Ints
    forward_mbit_s: Floats
    backward_mbit_s: Floats
    causes: Ints


class Groups(NamedTuple):
    """Services judged together, and what they may use; lists by group.

    A link in several groups (it is dead or carries all) is one for each of them: its number from here on is
    its place in ``links.item``, so that a group knows of no link what another has seen of it.
    """

    services: Lists
    links: Lists  # numbers in the frame


class Clocks(NamedTuple):
    """Share of their rates that services ask for, by the level of their clock. Clock 0 stands still, at 1."""

    of_service: Ints
    first: Ints  # by clock, into ``share``: that of each of its levels
    share: Floats


class Plan(NamedTuple):
    """Everything about the network and the services that does not change in a sweep.

    An *entity* is a hop (its state changes), after all hops a service (its choice of route changes), after
    those a clock (the level of demand of services of a group changes). Direction ``d`` of link ``k`` has
    the number 2 k + d; links are those of groups.
    """

    hops: HopStates
    hops_of_link: Lists
    links_of_hop: Ints  # as long as what ``groups_of_entity`` tells of hops: its link in each of its groups
    enough: Floats  # by link direction: sum of the peaks that may ever cross it [Mbit/s]
    routes: Routes
    place: Ints  # by place in the codes of routes: that of the service in ``crossing``
    flows: Flows
    rank: Ints  # by service: its place in the order in which they are served
    priority_class: Ints  # by service: 0 for those served first
    crossing: Lists  # services that may cross each link, by rank
    class_first: Ints  # (n_links, n_classes + 1): where those of each class begin among them
    groups: Groups
    clocks: Clocks
    groups_of_entity: Lists
    word_first: Ints  # by entity, into ``word``: one word for each of its states, by what they are
    word: NDArray[np.uint64]
    rates_told: bool  # as of the frame


def build_plan(
    hops: Sequence[HopHistory], frame: Frame, n_choices: Sequence[int]
) -> tuple[Plan, list[NDArray[np.int32]], list[tuple[DemandClock, int]]]:
    """Plan of a sweep; for each hop the sweep's number of each of its states; clocks after 0, by group.

    Parameters
    ----------
    hops : sequence of HopHistory
    frame : Frame
        Of the services and links.
    n_choices : sequence of int
        Route choices (routes and the gaps when leaving each) of each service.
    """
    tables, numbers = _hop_states(hops, frame.enough_mbit_s)
    group = _groups(frame, _may_be_short(tables, frame.enough_mbit_s))
    groups = _membership(frame, group)
    classes, of_class = np.unique(frame.flows.priority[::2], return_inverse=True)
    rank = np.argsort(np.argsort(of_class, kind="stable"))
    routes, crossing, place = _own_links(frame, np.array(group, dtype=np.int64), groups.links, rank)
    members = [frame.links[link] for link in groups.links.item]
    hops_of_link = lists(members)
    by_hop = np.argsort(hops_of_link.item, kind="stable")
    links_of_hop = np.repeat(np.arange(len(members)), np.diff(hops_of_link.first))[by_hop]
    group_of_link = np.repeat(np.arange(groups.links.first.size - 1), np.diff(groups.links.first))
    clocks, running = _clocks(frame, group)
    counts = (np.diff(tables.first), np.asarray(n_choices, dtype=np.int64), np.diff(clocks.first))
    touches = (np.ones(len(group), dtype=np.int64), [0], np.ones(len(running), dtype=np.int64))
    word_first = pointer(np.concatenate(counts))
    plan = Plan(
        hops=tables,
        hops_of_link=hops_of_link,
        links_of_hop=links_of_hop,
        enough=frame.enough_mbit_s[[link[0] for link in members]].ravel(),
        routes=routes,
        place=place,
        flows=frame.flows,
        rank=rank,
        priority_class=of_class,
        crossing=crossing,
        class_first=_class_first(crossing, of_class, classes.size),
        groups=groups,
        clocks=clocks,
        groups_of_entity=Lists(
            pointer(np.concatenate([np.bincount(hops_of_link.item, minlength=len(hops)), *touches])),
            np.concatenate([group_of_link[links_of_hop], group, [g for _, g in running]]).astype(np.int64),
        ),
        word_first=word_first,
        word=_words(tables, word_first),
        rates_told=frame.rates_told,
    )
    return plan, numbers, running


def _own_links(frame: Frame, group: Ints, links: Lists, rank: Ints) -> tuple[Routes, Lists, Ints]:
    """Routes over the links of groups, who may cross each, and where the service of each code is there."""
    n_links, n_services = len(frame.links), rank.size
    known = np.repeat(np.arange(links.first.size - 1), np.diff(links.first)) * n_links + links.item

    def own(service: Ints, link: Ints) -> Ints:
        return np.searchsorted(known, group[service] * n_links + link)

    first, item = lists(frame.links_of)
    service = np.repeat(np.arange(n_services), np.diff(first))
    pairs = own(service, item) * n_services + rank[service]
    order = np.argsort(pairs)
    crossing = Lists(pointer(np.bincount(pairs // n_services, minlength=known.size)), service[order])
    routes, forward = frame.routes, frame.routes.codes[0]
    owner = np.repeat(np.repeat(np.arange(n_services), np.diff(routes.of_service)), np.diff(routes.first))
    link = own(owner, forward >> 1)
    codes = 2 * link + (forward & 1)
    place = np.searchsorted(pairs[order], link * n_services + rank[owner])
    return routes._replace(codes=np.stack([codes, codes ^ 1])), crossing, place


def _class_first(crossing: Lists, of_class: Ints, n_classes: int) -> Ints:
    """Where the services of each priority class begin among those that may cross each link."""
    n_links = crossing.first.size - 1
    pairs = np.repeat(np.arange(n_links), np.diff(crossing.first)) * n_classes + of_class[crossing.item]
    wanted = np.arange(n_links)[:, None] * n_classes + np.arange(n_classes + 1)
    return np.searchsorted(pairs, wanted)


def _clocks(frame: Frame, group: list[int]) -> tuple[Clocks, list[tuple[DemandClock, int]]]:
    """Clocks of the services; one that serves several groups has a number for each."""
    number: dict[tuple[DemandClock, int], int] = {}
    of_service = [
        0 if service.clock is None else number.setdefault((service.clock, g), len(number) + 1)
        for service, g in zip(frame.services, group, strict=True)
    ]
    shares = [np.ones(1), *(clock.shares for clock, _ in number)]
    first = pointer([each.size for each in shares])
    return Clocks(np.array(of_service, dtype=np.int64), first, np.concatenate(shares)), [*number]


def _words(hops: HopStates, word_first: Ints) -> NDArray[np.uint64]:
    """Words without any pattern, for a state of an entity always the same one; they decide no result.

    References
    ----------
    SplitMix64: G. L. Steele, D. Lea, C. H. Flood, Fast splittable pseudorandom number generators,
    OOPSLA 2014.
    """
    counts, n_hop_states = np.diff(word_first), hops.causes.size
    entity = np.repeat(np.arange(counts.size), counts)
    state = np.zeros((3, entity.size), dtype=np.uint64)
    number = np.arange(entity.size) - word_first[entity]
    state[0] = number  # of a route or a level; states of hops are known by what they carry, and why
    state[:2, :n_hop_states] = np.stack([hops.forward_mbit_s, hops.backward_mbit_s]).view(np.uint64)
    state[2, :n_hop_states] = hops.causes
    value = entity.astype(np.uint64)
    with np.errstate(over="ignore"):
        for part in (np.uint64(0), *state):
            value = (value ^ part) + np.uint64(0x9E3779B97F4A7C15)
            value = (value ^ (value >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
            value = (value ^ (value >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
            value ^= value >> np.uint64(31)
    return value


def like_but_for_hop_states(one: Plan, other: Plan) -> bool:
    """Whether two plans differ at most in the states that their hops may take."""
    may_differ = ("hops", "word_first", "word")
    pairs = zip(one._asdict().items(), other, strict=True)
    return all(name in may_differ or _same(a, b) for (name, a), b in pairs)


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, tuple):
        return all(map(_same, one, other))
    return np.array_equal(one, other)


def _hop_states(
    hops: Sequence[HopHistory], enough_mbit_s: Floats
) -> tuple[HopStates, list[NDArray[np.int32]]]:
    """Distinct states of each hop as far as the services can tell, and the number of each old state."""
    before = pointer([hop.causes.size for hop in hops])
    hop_of = np.repeat(np.arange(len(hops)), np.diff(before))
    capacity = np.concatenate([np.empty((0, 2)), *(hop.capacity_mbit_s for hop in hops)])
    causes = np.concatenate([np.empty(0, np.int64), *(hop.causes for hop in hops)])
    forward, backward = np.minimum(capacity, enough_mbit_s[hop_of]).T
    short = (forward < enough_mbit_s[hop_of, 0]) | (backward < enough_mbit_s[hop_of, 1])
    causes = np.where(short, causes, 0)
    order = np.lexsort((causes, backward, forward, hop_of))
    hop_of, forward, backward, causes = hop_of[order], forward[order], backward[order], causes[order]
    new = np.ones(order.size, dtype=np.bool_)
    new[1:] = (hop_of[1:] != hop_of[:-1]) | (causes[1:] != causes[:-1])
    new[1:] |= (forward[1:] != forward[:-1]) | (backward[1:] != backward[:-1])
    first = pointer(np.bincount(hop_of[new], minlength=len(hops)))
    number = np.empty(order.size, dtype=np.int32)
    number[order] = np.cumsum(new) - 1
    number -= np.repeat(first[:-1], np.diff(before)).astype(np.int32)
    return HopStates(first, forward[new], backward[new], causes[new]), np.split(number, before[1:-1])


def _may_be_short(states: HopStates, enough_mbit_s: Floats) -> Bools:
    """Whether each hop can be up and yet too small for all that may cross it, shape (n_hops,)."""
    owner = np.repeat(np.arange(len(enough_mbit_s)), np.diff(states.first))
    short = np.zeros(len(enough_mbit_s), dtype=np.bool_)
    for direction, capacity in enumerate((states.forward_mbit_s, states.backward_mbit_s)):
        short[owner[(capacity > 0) & (capacity < enough_mbit_s[owner, direction])]] = True
    return short


def _groups(frame: Frame, short: Bools) -> list[int]:
    """Group of each service: those that may share a link that may be short, directly or by others.

    A link of several hops may always be short; while it is down it binds nobody.
    """
    parent = list(range(len(frame.services)))

    def root(s: int) -> int:
        while parent[s] != s:
            parent[s] = parent[parent[s]]
            s = parent[s]
        return s

    may_be_short = [len(members) > 1 or any(short[hop] for hop in members) for members in frame.links]
    first_on: dict[int, int] = {}
    for s, crossed in enumerate(frame.links_of):
        for link in crossed:
            if may_be_short[link]:
                other = root(first_on.setdefault(link, s))
                parent[max(other, root(s))] = min(other, root(s))
    roots = [root(s) for s in range(len(parent))]
    order = {r: g for g, r in enumerate(sorted(set(roots)))}
    return [order[r] for r in roots]


def _membership(frame: Frame, group: list[int]) -> Groups:
    """Services and links of each group."""
    n_groups = max(group, default=-1) + 1
    members: list[list[int]] = [[] for _ in range(n_groups)]
    touched: list[set[int]] = [set() for _ in range(n_groups)]
    for s, crossed in enumerate(frame.links_of):
        members[group[s]].append(s)
        touched[group[s]].update(crossed)
    return Groups(services=lists(members), links=lists([sorted(links) for links in touched]))
