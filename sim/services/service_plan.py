"""Numbers the services sweep runs on: links, routes, flows, groups and hop states as flat arrays.

Three things keep the number of joint states small. A capacity above the peaks of all services that may
cross the link is as good as any other, so such hop states are one. Hops that no service may cross fall
away. And services that share no link which can ever be short of capacity are judged in groups apart.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service_data import ServiceDemand
from hopyears.sim.streams import Streams

_Floats = NDArray[np.float64]
_Ints = NDArray[np.int64]


class Lists(NamedTuple):
    """Lists of numbers in a row: list i is item[first[i]] to item[first[i + 1] - 1]."""

    first: _Ints
    item: _Ints


class HopStates(NamedTuple):
    """Hop states as the sweep sees them: those of hop i from ``first[i]`` on."""

    first: _Ints
    forward_mbit_s: _Floats
    backward_mbit_s: _Floats
    causes: _Ints


class Flows(NamedTuple):
    """What is asked for. Flow 2 s + d is direction ``d`` of service ``s``."""

    committed_mbit_s: _Floats
    peak_mbit_s: _Floats
    required_mbit_s: _Floats
    priority: _Ints


class Routes(NamedTuple):
    """Routes, numbered through all services: those of service s from ``of_service[s]`` on."""

    of_service: _Ints
    first: _Ints  # by route, into the codes of either direction
    codes: _Ints  # shape (2, n): numbered link directions, of forward and of backward traffic


class Groups(NamedTuple):
    """Services judged together, and what they may use; lists by group."""

    services: Lists
    links: Lists
    flows: Lists  # sorted by priority


class Plan(NamedTuple):
    """Everything about the network and the services that does not change in a sweep.

    An *entity* is a hop (its state changes) or, after all hops, a service (its choice of route changes).
    Direction ``d`` of link ``k`` has the number 2 k + d.
    """

    hops: HopStates
    hops_of_link: Lists
    routes: Routes
    flows: Flows
    groups: Groups
    groups_of_entity: Lists
    word_first: _Ints  # by entity, into ``word``: one random word for each of its states
    word: NDArray[np.uint64]


def build_plan(
    hops: Sequence[HopHistory],
    services: Sequence[ServiceDemand],
    links: Sequence[Sequence[int]],
    n_choices: Sequence[int],
) -> tuple[Plan, list[NDArray[np.int32]]]:
    """Plan of a sweep, and for each hop the sweep's number of each of its states.

    Parameters
    ----------
    hops, services, links :
        As for ``sim.services.service.sweep_services``.
    n_choices : sequence of int
        Route choices (routes and the gaps when leaving each) of each service.
    """
    load = _possible_load(services, links)
    tables, numbers = _hop_states(hops, links, load)
    group = _groups(services, links, tables, load)
    by_hop, (members, touched) = _membership(services, links, group, len(hops))
    flows = _flows(services)
    ranked = [
        sorted((2 * s + d for s in each for d in (0, 1)), key=lambda f: (flows.priority[f], f))
        for each in members
    ]
    n_states = [table[2].size for table in tables]
    states = [*n_states, *n_choices]
    plan = Plan(
        hops=HopStates(
            first=_pointer(n_states),
            forward_mbit_s=np.concatenate([np.empty(0), *(table[0] for table in tables)]),
            backward_mbit_s=np.concatenate([np.empty(0), *(table[1] for table in tables)]),
            causes=np.concatenate([np.empty(0, np.int64), *(table[2] for table in tables)]),
        ),
        hops_of_link=_lists(links),
        routes=_routes(services),
        flows=flows,
        groups=Groups(services=_lists(members), links=_lists(touched), flows=_lists(ranked)),
        groups_of_entity=_lists([*by_hop, *([g] for g in group)]),
        word_first=_pointer(states),
        word=Streams(0, 0).keys([(entity, state) for entity, n in enumerate(states) for state in range(n)]),
    )
    return plan, numbers


def _pointer(counts: Sequence[int]) -> _Ints:
    return np.concatenate([[0], np.cumsum(counts, dtype=np.int64)]).astype(np.int64)


def _lists(parts: Sequence[Sequence[int]]) -> Lists:
    items = [item for part in parts for item in part]
    return Lists(_pointer([len(part) for part in parts]), np.array(items, dtype=np.int64))


def _flows(services: Sequence[ServiceDemand]) -> Flows:
    committed = np.repeat([service.committed_mbit_s for service in services], 2).astype(np.float64)
    return Flows(
        committed_mbit_s=committed,
        peak_mbit_s=np.repeat([service.peak_mbit_s for service in services], 2).astype(np.float64),
        required_mbit_s=np.repeat([service.required_share for service in services], 2) * committed,
        priority=np.repeat(np.array([service.priority for service in services], dtype=np.int64), 2),
    )


def _routes(services: Sequence[ServiceDemand]) -> Routes:
    routes = [[2 * link + direction for link, direction in route] for s in services for route in s.routes]
    first, codes = _lists(routes)
    return Routes(
        of_service=_pointer([len(service.routes) for service in services]),
        first=first,
        codes=np.stack([codes, codes ^ 1]),
    )


def _possible_load(services: Sequence[ServiceDemand], links: Sequence[Sequence[int]]) -> _Floats:
    """Sum of the peaks that may ever cross each direction of each link [Mbit/s], shape (n_links, 2)."""
    load = np.zeros((len(links), 2))
    for service in services:
        for link in {link for route in service.routes for link, _ in route}:
            load[link] += service.peak_mbit_s
    return load


def _hop_states(
    hops: Sequence[HopHistory], links: Sequence[Sequence[int]], load: _Floats
) -> tuple[list[tuple[_Floats, _Floats, _Ints]], list[NDArray[np.int32]]]:
    """Distinct states of each hop as far as the services can tell, and the number of each old state."""
    link_of = {hop: link for link, members in enumerate(links) for hop in members}
    tables, numbers = [], []
    for number, hop in enumerate(hops):
        enough = load[link_of[number]] if number in link_of else np.zeros(2)
        forward, backward = np.minimum(hop.capacity_mbit_s, enough).T
        short = (forward < enough[0]) | (backward < enough[1])
        rows = np.stack([forward, backward, np.where(short, hop.causes, 0).astype(np.float64)], axis=1)
        distinct, number_of = np.unique(rows, axis=0, return_inverse=True)
        tables.append((distinct[:, 0].copy(), distinct[:, 1].copy(), distinct[:, 2].astype(np.int64)))
        numbers.append(number_of.reshape(-1).astype(np.int32))
    return tables, numbers


def _groups(
    services: Sequence[ServiceDemand],
    links: Sequence[Sequence[int]],
    tables: list[tuple[_Floats, _Floats, _Ints]],
    load: _Floats,
) -> list[int]:
    """Group of each service: those that may share a link that may be short, directly or by others."""
    parent = list(range(len(services)))

    def root(s: int) -> int:
        while parent[s] != s:
            parent[s] = parent[parent[s]]
            s = parent[s]
        return s

    first_on: dict[int, int] = {}
    for s, service in enumerate(services):
        for link in sorted({link for route in service.routes for link, _ in route}):
            if _may_be_short(tables, links[link], load[link]):
                other = root(first_on.setdefault(link, s))
                parent[max(other, root(s))] = min(other, root(s))
    roots = [root(s) for s in range(len(services))]
    order = {r: g for g, r in enumerate(sorted(set(roots)))}
    return [order[r] for r in roots]


def _may_be_short(
    tables: list[tuple[_Floats, _Floats, _Ints]], members: Sequence[int], enough: _Floats
) -> bool:
    """Whether a link can be up and yet too small for all that may cross it; while down it binds nobody."""
    if len(members) > 1:
        return True
    forward, backward, _ = tables[members[0]]
    return bool(
        np.any((forward > 0) & (forward < enough[0])) or np.any((backward > 0) & (backward < enough[1]))
    )


def _membership(
    services: Sequence[ServiceDemand], links: Sequence[Sequence[int]], group: list[int], n_hops: int
) -> tuple[list[list[int]], tuple[list[list[int]], list[list[int]]]]:
    """Groups that each hop touches; services and links of each group."""
    n_groups = max(group, default=-1) + 1
    members: list[list[int]] = [[] for _ in range(n_groups)]
    touched: list[set[int]] = [set() for _ in range(n_groups)]
    for s, service in enumerate(services):
        members[group[s]].append(s)
        touched[group[s]] |= {link for route in service.routes for link, _ in route}
    by_hop: list[list[int]] = [[] for _ in range(n_hops)]
    for g, crossed in enumerate(touched):
        for link in sorted(crossed):
            for hop in links[link]:
                by_hop[hop].append(g)
    return by_hop, (members, [sorted(crossed) for crossed in touched])
