"""Services and links as numbers: what a sweep starts from, whatever the histories of the hops are."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.sim.services.service_data import BACKWARD, FORWARD, ServiceDemand


class Lists(NamedTuple):
    """Lists of numbers in a row: list i is item[first[i]] to item[first[i + 1] - 1]."""

    first: Ints
    item: Ints


class Flows(NamedTuple):
    """What is asked for. Flow 2 s + d is direction ``d`` of service ``s``."""

    committed_mbit_s: Floats
    peak_mbit_s: Floats
    required_mbit_s: Floats
    priority: Ints
    weight: Floats


class Routes(NamedTuple):
    """Routes, numbered through all services: those of service s from ``of_service[s]`` on."""

    of_service: Ints
    first: Ints  # by route, into the codes of either direction
    codes: Ints  # shape (2, n): numbered link directions, of forward and of backward traffic


class Switching(NamedTuple):
    """Services that change route by themselves, and the links that they watch, each for a threshold."""

    services: list[int]
    links: list[int]
    below_mbit_s: Floats
    links_of: Lists  # by those services: places among the links, rising as these do


@dataclass(frozen=True, eq=False)
class Frame:
    """What does not change from one sweep of the same services to the next.

    Attributes
    ----------
    services : tuple of ServiceDemand
    links : tuple of tuples of int
        Hops of each link.
    n_hops : int
    hops_of_link : Lists
    routes : Routes
    flows : Flows
    links_of : tuple of tuples of int
        Links that any route of each service crosses, in order.
    routes_of : tuple of Lists
        Routes of each service over each of its links.
    enough_mbit_s : float array, shape (n_hops, 2)
        Sum of the peaks that may ever cross each direction of the link of a hop; 0 where it is in none.
    rates_told : bool
        Whether rates are asked for; else nobody asks for more than the committed rate, and all that is told
        is which services are down and which get less than that.
    """

    services: tuple[ServiceDemand, ...]
    links: tuple[tuple[int, ...], ...]
    n_hops: int
    hops_of_link: Lists
    routes: Routes
    flows: Flows
    links_of: tuple[tuple[int, ...], ...]
    routes_of: tuple[Lists, ...]
    enough_mbit_s: Floats
    rates_told: bool = True

    @cached_property
    def switching(self) -> Switching:
        """Services that change route by themselves: on no ring, and for no congestion."""
        some = [
            s
            for s, each in enumerate(self.services)
            if len(each.routes) > 1 and not each.rings and not each.leaves_congestion
        ]
        asked = [[(link, self.services[s].switch_below_mbit_s) for link in self.links_of[s]] for s in some]
        watched = sorted({each for own in asked for each in own})
        place = {each: number for number, each in enumerate(watched)}
        return Switching(
            some,
            [link for link, _ in watched],
            np.array([below for _, below in watched]),
            lists([[place[each] for each in own] for own in asked]),
        )


def frame_of_outages(services: Sequence[ServiceDemand], links: Sequence[Sequence[int]], n_hops: int) -> Frame:
    """Frame for what takes services down, and below their committed rates, alone; errors as of ``frame_of``.

    Committed rates are shared out before anybody gets more, so nobody needs to ask for more here: fewer
    links are then ever short. But who has committed to nothing lives on what others leave of their excess:
    where there is one, the frame is the whole one.
    """
    if any(min(service.committed_ways_mbit_s) <= 0.0 for service in services):
        return frame_of(services, links, n_hops)
    return replace(frame_of([*map(_without_excess, services)], links, n_hops), rates_told=False)


def _without_excess(service: ServiceDemand) -> ServiceDemand:
    """A service that asks for no more than it committed to."""
    forward, backward = service.committed_ways_mbit_s
    ways = None if service.backward_mbit_s is None else (backward, backward)
    return replace(service, peak_mbit_s=forward, backward_mbit_s=ways)


def frame_of(services: Sequence[ServiceDemand], links: Sequence[Sequence[int]], n_hops: int) -> Frame:
    """Frame of services over links.

    Raises
    ------
    ValueError
        If a route uses an unknown link or direction, a link an unknown hop, or a hop is in two links.
    """
    _check(services, links, n_hops)
    links_of = tuple(
        tuple(sorted({link for route in service.routes for link, _ in route})) for service in services
    )
    load = np.zeros((len(links), 2))
    for service, crossed in zip(services, links_of, strict=True):
        load[list(crossed)] += _peaks_over(service, crossed)
    hops_of_link = lists(links)
    enough = np.zeros((n_hops, 2))
    enough[hops_of_link.item] = np.repeat(load, np.diff(hops_of_link.first), axis=0)
    return Frame(
        services=tuple(services),
        links=tuple(tuple(link) for link in links),
        n_hops=n_hops,
        hops_of_link=hops_of_link,
        routes=_routes(services),
        flows=_flows(services),
        links_of=links_of,
        routes_of=tuple(map(_routes_of, services, links_of)),
        enough_mbit_s=enough,
    )


def pointer(counts: Sequence[int] | Ints) -> Ints:
    """First place of each of some rows of these lengths that follow each other, and their end."""
    return np.concatenate([[0], np.cumsum(counts, dtype=np.int64)]).astype(np.int64)


def lists(parts: Sequence[Sequence[int]]) -> Lists:
    """Lists of numbers in a row."""
    items = [item for part in parts for item in part]
    return Lists(pointer([len(part) for part in parts]), np.array(items, dtype=np.int64))


def row_of(table: Lists, row: int) -> list[int]:
    """One of the lists."""
    return list(table.item[table.first[row] : table.first[row + 1]].tolist())


def _check(services: Sequence[ServiceDemand], links: Sequence[Sequence[int]], n_hops: int) -> None:
    if len(services) > np.iinfo(np.int16).max:
        raise ValueError(f"services holds {len(services)}; must be at most {np.iinfo(np.int16).max}")
    members = [hop for link in links for hop in link]
    if len(set(members)) != len(members) or any(not 0 <= hop < n_hops for hop in members):
        raise ValueError(f"links holds an unknown hop or one twice; must hold hops 0 to {n_hops - 1} once")
    for service in services:
        for link, direction in (step for route in service.routes for step in route):
            if not 0 <= link < len(links) or direction not in (FORWARD, BACKWARD):
                allowed = f"a link 0 to {len(links) - 1} and direction 0 or 1"
                raise ValueError(
                    f'service "{service.id}": routes holds {(link, direction)}; must be {allowed}'
                )


def _routes_of(service: ServiceDemand, crossed: tuple[int, ...]) -> Lists:
    on: dict[int, list[int]] = {link: [] for link in crossed}
    for number, route in enumerate(service.routes):
        for link in {link for link, _ in route}:
            on[link].append(number)
    return lists(list(on.values()))


def _peaks_over(service: ServiceDemand, crossed: tuple[int, ...]) -> Floats:
    """Most that a service asks of each direction of the links that its routes cross, shape (n_links, 2)."""
    most = dict.fromkeys(crossed, (0.0, 0.0))
    forward, backward = service.peak_ways_mbit_s
    for link, direction in (step for route in service.routes for step in route):
        asked = (forward, backward) if direction == FORWARD else (backward, forward)
        most[link] = max(most[link][0], asked[0]), max(most[link][1], asked[1])
    return np.array([most[link] for link in crossed])


def _flows(services: Sequence[ServiceDemand]) -> Flows:
    committed = np.array([service.committed_ways_mbit_s for service in services], dtype=np.float64).ravel()
    return Flows(
        committed_mbit_s=committed,
        peak_mbit_s=np.array([each.peak_ways_mbit_s for each in services], dtype=np.float64).ravel(),
        required_mbit_s=np.repeat([service.required_share for service in services], 2) * committed,
        priority=np.repeat(np.array([service.priority for service in services], dtype=np.int64), 2),
        weight=np.repeat([service.sharing_weight for service in services], 2).astype(np.float64),
    )


def _routes(services: Sequence[ServiceDemand]) -> Routes:
    routes = [[2 * link + direction for link, direction in route] for s in services for route in s.routes]
    first, codes = lists(routes)
    return Routes(
        of_service=pointer([len(service.routes) for service in services]),
        first=first,
        codes=np.stack([codes, codes ^ 1]),
    )
