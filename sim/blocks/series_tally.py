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

HOPS, ROUTE, ALONE = 0, 1, 2
"""Parts: the hops of the working route each by itself, added up; the working route as a whole; all routes of
the service. On each, the service has the links to itself."""


def series_rows(simulator: BlockSimulator, history: BlockHistory) -> KeyedTable:
    """Rows of ``SERIES`` of one block."""
    full = simulator.links(history.hops, history.log)
    links = simulator.prepared.links
    known: dict[_Asked, Floats] = {}
    noticed: dict[tuple[int, float, float], HopHistory] = {}
    keys, values = [], []
    for entity, demand in enumerate(simulator.prepared.demands):
        histories = _thinned(full, links, demand, noticed)
        hops = np.zeros(2)
        for link, direction in demand.routes[0]:
            # Of equal rates it makes no difference which way is forward.
            own = None if demand.backward_mbit_s is None else (direction, demand.backward_mbit_s)
            asked = (link, demand.needed_mbit_s, demand.clock, own)
            if asked not in known:
                known[asked] = _lost_alone(
                    histories, links, demand, (((link, own[0] if own else 0),),), history.duration_s
                )
            hops += known[asked]
        whole = _lost_alone(histories, links, demand, demand.routes[:1], history.duration_s)
        alone = whole
        if len(demand.routes) > 1:
            alone = _lost_alone(histories, links, demand, demand.routes, history.duration_s)
        for part, lost in ((HOPS, hops), (ROUTE, whole), (ALONE, alone)):
            keys += [(entity, part, equipment) for equipment in (0, 1)]
            values += [float(seconds) for seconds in lost]
    return KeyedTable.collect(SERIES, np.array(keys), np.array(values))


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


def _lost_alone(
    histories: Sequence[HopHistory],
    links: Sequence[Sequence[int]],
    demand: ServiceDemand,
    routes: tuple[Route, ...],
    duration_s: float,
) -> Floats:
    """Unavailable seconds of a service alone on some routes, by fading only and with equipment."""
    rings = demand.rings if len(routes) > 1 else ()
    used = sorted({link for route in routes for link, _ in route} | {k for ring in rings for k in ring.links})
    own = [histories[member] for link in used for member in links[link]]
    places = iter(range(len(own)))
    own_links = [tuple(next(places) for _ in links[link]) for link in used]
    rows = tuple(tuple((used.index(link), direction) for link, direction in route) for route in routes)
    # What it asks beyond its committed rate makes no outage.
    least = 1e-3
    backward = demand.backward_mbit_s and (demand.backward_mbit_s[0], max(demand.backward_mbit_s[0], least))
    peak_mbit_s = max(demand.committed_mbit_s, least)
    rings = tuple(replace(ring, links=tuple(used.index(link) for link in ring.links)) for ring in rings)
    alone = replace(demand, peak_mbit_s=peak_mbit_s, backward_mbit_s=backward, routes=rows, rings=rings)
    history = sweep_services(own, [alone], duration_s, links=own_links)[0]
    lost = three_ways(history, duration_s)[BOTH]
    return _by_kind(lost)


def _by_kind(lost: Lost) -> Floats:
    seconds = (lost.end_s - lost.start_s)[lost.kind == UNAVAILABLE]
    equipment = (lost.causes[lost.kind == UNAVAILABLE] & ~int(FADING)) != 0
    return np.bincount(equipment.astype(np.int64), weights=seconds, minlength=2).astype(np.float64)
