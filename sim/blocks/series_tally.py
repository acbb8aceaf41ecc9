"""What each service loses were it alone on parts of the network: the steps from the textbook to the truth.

Each hop of the working route by itself, the route as a row of such hops, and the service on equipment that
no weather touches. All by the ten-second rule, both directions together.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.judging.cause import FADING
from hopyears.models.judging.demand_clock import DemandClock
from hopyears.models.judging.outage_loops import UNAVAILABLE
from hopyears.models.judging.outage_rule import Lost
from hopyears.sim.blocks.block import BlockHistory, BlockSimulator
from hopyears.sim.counting.keyed_table import Columns, KeyedTable
from hopyears.sim.counting.tally_rows import BOTH, three_ways
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service import sweep_services
from hopyears.sim.services.service_data import Route, ServiceDemand

SERIES = Columns(("entity", "part", "equipment"), ("unavailable_s",))
"""Unavailable time of a service on a part of what it uses; ``equipment`` is 1 where anything but the
atmosphere had a hand in it."""

_Asked = tuple[int, float, DemandClock | None, tuple[int, tuple[float, float]] | None]
"""Link, rate needed, hours, and the way that is forward with the rates backward where they differ."""

_AT_ONCE = 512
"""Services swept together, at most."""

HOPS, ROUTE, ALONE = 0, 1, 2
"""Parts: the hops of the working route each by itself, added up; the working route as a whole; all routes of
the service. On each, the service has the links to itself."""


def series_rows(simulator: BlockSimulator, history: BlockHistory) -> KeyedTable:
    """Rows of ``SERIES`` of one block."""
    full = simulator.links(history.hops, history.log)
    links = simulator.prepared.links
    alone = _Alone(links, history.duration_s)
    known: dict[_Asked, int] = {}
    noticed: dict[tuple[int, float, float], HopHistory] = {}
    parts: list[list[int]] = []
    for demand in simulator.prepared.demands:
        histories, by_hop = _thinned(full, links, demand, noticed), []
        for link, direction in demand.routes[0]:
            # Of equal rates it makes no difference which way is forward.
            own = None if demand.backward_mbit_s is None else (direction, demand.backward_mbit_s)
            asked = (link, demand.needed_mbit_s, demand.clock, own)
            if asked not in known:
                known[asked] = alone.add(histories, demand, (((link, own[0] if own else 0),),))
            by_hop.append(known[asked])
        route = alone.add(histories, demand, demand.routes[:1])
        every = alone.add(histories, demand, demand.routes) if len(demand.routes) > 1 else route
        parts += [by_hop, [route], [every]]
    lost_s = alone.lost_s()
    keys = np.array([(*divmod(i, 3), equipment) for i in range(len(parts)) for equipment in (0, 1)])
    found = np.array([lost_s[part].sum(axis=0) for part in parts])
    return KeyedTable.collect(SERIES, keys, found.reshape(-1, 1))


def _thinned(
    histories: Sequence[HopHistory],
    links: Sequence[Sequence[int]],
    demand: ServiceDemand,
    noticed: dict[tuple[int, float, float], HopHistory],
) -> list[HopHistory]:
    """Histories without the changes that a service alone does not notice; those of bundles as they are.

    So are all where demand follows the hours, and with them what is noticed, or is another backward, and
    where a ring of its own notices more.

    ``noticed`` keeps them by hop and by what a service asks, which is the same for many.
    """
    result = list(histories)
    by_degrade = any(ring.degraded_below_mbit_s for ring in demand.rings)
    if demand.clock is not None or demand.backward_mbit_s is not None or by_degrade:
        return result
    need = demand.needed_mbit_s
    for link in {link for route in demand.routes for link, _ in route}:
        if len(links[link]) == 1:
            (member,) = links[link]
            asked = (member, need, demand.switch_below_mbit_s)
            if asked not in noticed:
                noticed[asked] = _as_noticed(histories[member], need, demand.switch_below_mbit_s)
            result[member] = noticed[asked]
    return result


def _as_noticed(hop: HopHistory, need: float, switch_below_mbit_s: float) -> HopHistory:
    """A hop of which states with the same use to a service are one state."""
    ways = hop.capacity_mbit_s.T
    enough = (ways >= need) & (ways > 0.0)
    usable = (ways.min(axis=0) > 0.0) & (ways.min(axis=0) >= switch_below_mbit_s)
    causes = np.where(enough.all(axis=0), 0, hop.causes)
    kind = ((causes * 2 + enough[0]) * 2 + enough[1]) * 2 + usable
    _, first, same = np.unique(kind, return_index=True, return_inverse=True)
    state = same.astype(np.int32)[hop.state]
    changes = np.append(True, state[1:] != state[:-1])
    return HopHistory(hop.time_s[changes], state[changes], hop.capacity_mbit_s[first], hop.causes[first])


class _Alone:
    """Services that each have a copy of the links which they use to themselves, swept together."""

    def __init__(self, links: Sequence[Sequence[int]], duration_s: float) -> None:
        self._links, self._duration_s = links, duration_s
        self._hops: list[HopHistory] = []
        self._own_links: list[tuple[int, ...]] = []
        self._demands: list[ServiceDemand] = []
        self._lost_s: list[Floats] = []

    def add(self, histories: Sequence[HopHistory], demand: ServiceDemand, routes: tuple[Route, ...]) -> int:
        """A service alone on some routes; its number."""
        if len(self._demands) == _AT_ONCE:
            self._sweep()
        rings = demand.rings if len(routes) > 1 else ()
        used = {link for route in routes for link, _ in route} | {k for ring in rings for k in ring.links}
        place = {link: len(self._own_links) + i for i, link in enumerate(sorted(used))}
        for link in place:
            first = len(self._hops)
            self._hops += [histories[member] for member in self._links[link]]
            self._own_links.append(tuple(range(first, len(self._hops))))
        # What it asks beyond its committed rate makes no outage.
        least = 1e-3
        backward = demand.backward_mbit_s and demand.backward_mbit_s[0]
        alone = replace(
            demand,
            peak_mbit_s=max(demand.committed_mbit_s, least),
            backward_mbit_s=None if backward is None else (backward, max(backward, least)),
            routes=tuple(tuple((place[link], direction) for link, direction in route) for route in routes),
            rings=tuple(replace(ring, links=tuple(place[link] for link in ring.links)) for ring in rings),
        )
        self._demands.append(alone)
        return len(self._lost_s) + len(self._demands) - 1

    def lost_s(self) -> Floats:
        """Unavailable seconds of each by fading only and with equipment, shape (n, 2)."""
        if self._demands:
            self._sweep()
        return np.array(self._lost_s).reshape(-1, 2)

    def _sweep(self) -> None:
        found = sweep_services(self._hops, self._demands, self._duration_s, links=self._own_links)
        self._lost_s += [_by_kind(three_ways(history, self._duration_s)[BOTH]) for history in found]
        self._hops, self._own_links, self._demands = [], [], []


def _by_kind(lost: Lost) -> Floats:
    seconds = (lost.end_s - lost.start_s)[lost.kind == UNAVAILABLE]
    equipment = (lost.causes[lost.kind == UNAVAILABLE] & ~int(FADING)) != 0
    return np.bincount(equipment.astype(np.int64), weights=seconds, minlength=2).astype(np.float64)
