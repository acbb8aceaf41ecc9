"""What each part, and each strike, takes from each service when it comes alone, and how long it may last."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, csr_array

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.equipment.lifetimes import NEVER, Law
from hopyears.models.equipment.part_kind import Repair
from hopyears.models.equipment.plant import Plant, PlantSite
from hopyears.models.equipment.working_time import HOUR_S
from hopyears.models.judging.outage_rule import Lost
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.counting.tally_rows import BOTH, lost_both_ways, three_ways
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.put_in import PutIn
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service_data import Route, ServiceHistory
from hopyears.sim.streams import Streams

UNSEEN_QUANTILE = 0.975
"""Share of repairs that are no longer than the one assumed where none was seen."""

SLOT_S = 100.0 * 86_400.0
"""Time between the failures of one part and of the next."""

_NO_STREAMS = Streams(0, 0)
_HARDLY = 1e-9
"""Spread of a duration that does not vary."""


@dataclass(frozen=True)
class Alone:
    """Losses to parts that fail one at a time, with nothing else wrong. Most parts touch few services.

    Attributes
    ----------
    lost_s : sparse float array, shape (n_parts, n_services)
        Unavailable time of each service, both ways, when the part fails once and its repair takes as long as
        it does on the average, with a crew and a spare at hand, and at full demand, beyond what it loses with
        nothing wrong, as where links are too small for it [s].
    restore_s : float array, shape (n_parts,)
        Time that few failures of the part outlast (``UNSEEN_QUANTILE``) [s]: repair, mean notice and travel,
        and the lead time of its spare where no depot ever has one.
    struck_s : sparse float array, shape (n_sites, n_services)
        As ``lost_s``, when lightning kills all outdoor radios of a site.
    weakens : sparse int array, shape (n_parts, n_services)
        Routes of the service on which the part alone takes a hop or a line card: bit r is route r.
    stops_hop : sparse bool array, shape (n_parts, n_hops)
        Whether the part alone takes a hop down, or a bundle, which come after the hops.
    works : bool array, shape (n_services,)
        Whether the service is up with nothing wrong.
    """

    lost_s: csr_array
    restore_s: Floats
    struck_s: csr_array
    weakens: csr_array
    stops_hop: csr_array
    works: Bools

    def longest_outage_s(self, among: Bools) -> Floats:
        """Longest outage of each service to expect of the parts that stop it alone, shape (n_services,) [s].

        Where none of these does, that of the slowest of them all, as two must be down at once.

        Parameters
        ----------
        among : bool array, shape (n_parts,)
            Parts that count.
        """
        return self._longest_s(self.lost_s, among)

    def longest_of_hops_s(self, among: Bools) -> Floats:
        """The same of hops and bundles, shape (n_hops,) [s]."""
        return self._longest_s(self.stops_hop, among)

    def _longest_s(self, stops: csr_array, among: Bools) -> Floats:
        restore_s = np.where(among, self.restore_s, 0.0)
        by_itself = largest_of(stops, restore_s)
        return np.asarray(np.where(by_itself > 0.0, by_itself, restore_s.max(initial=0.0)))


def largest_of(touches: csr_array, of_row: Floats) -> Floats:
    """Largest number of the rows that touch each column of a table, 0 where none does."""
    found = np.zeros(touches.shape[1])
    np.maximum.at(found, touches.indices, np.repeat(of_row, np.diff(touches.indptr)))
    return found


def alone(simulator: BlockSimulator) -> Alone:
    """Fail every part of a network by itself, then strike every site, one long after the other.

    Once for a network made ready.
    """
    return simulator.prepared.known.of(Alone, lambda: _each_alone(simulator))


def _each_alone(simulator: BlockSimulator) -> Alone:
    plant, demands = simulator.prepared.built.plant, simulator.prepared.demands
    n, n_sites = len(plant.parts), len(plant.sites)
    edges_s = SLOT_S * np.arange(n + n_sites + 2, dtype=np.float64)  # nothing fails in the last slot
    restore_s = _restore_each_h(plant) * HOUR_S
    members = [*((hop,) for hop in range(len(simulator.states))), *simulator.prepared.bundles.values()]
    if not n:
        by_service, by_hop = csr_array((0, len(demands))), csr_array((0, len(members)))
        works = np.ones(len(demands), dtype=np.bool_)
        return Alone(by_service, restore_s, csr_array((n_sites, len(demands))), by_service, by_hop, works)
    slots = {part: [part] for part in range(n)}
    for part in plant.outdoor_parts.tolist():
        slots[part].append(n + int(plant.part_site[part]))
    times_s = {part: tuple(float(edges_s[slot]) + HOUR_S for slot in own) for part, own in slots.items()}
    log = simulate_failures(
        _undisturbed(plant),
        _NO_STREAMS,
        float(edges_s[-1]),
        warm_up_s=0.0,
        unlimited=True,
        put_in=PutIn(times_s),
    )
    (hops,) = without_weather(simulator, [log])
    outages = simulator.outages_at_full_demand(hops, log)
    works = np.zeros(len(demands), dtype=np.bool_)

    def beyond_usual(service: int) -> _Column:
        slot, lost_s = _by_slot(lost_both_ways(outages, service))
        usual_s = lost_s[slot == n + n_sites].sum()
        works[service] = usual_s == 0.0
        return _where_any(slot, np.where(slot < n + n_sites, np.maximum(lost_s - usual_s, 0.0), 0.0))

    lost_s = _of_columns(n + n_sites, map(beyond_usual, range(len(demands))))
    links = simulator.links(hops, log)
    down = [
        slot[slot < n] for slot, _ in (_by_slot(three_ways(link, log.duration_s)[BOTH]) for link in links)
    ]

    def weakened(routes: Sequence[Route]) -> _Column:
        bits = np.zeros(n, dtype=np.int64)
        for number, route in enumerate(routes):
            for member in (member for link, _ in route for member in simulator.prepared.links[link]):
                bits[down[member]] |= 1 << number
        return _where_any(np.arange(n), bits)

    weakens = _of_columns(n, (weakened(demand.routes) for demand in demands))
    taken = (np.unique(np.concatenate([down[hop] for hop in own]), return_counts=True) for own in members)
    stops_hop = _of_columns(
        n, (_where_any(part, times == len(own)) for (part, times), own in zip(taken, members, strict=True))
    )
    return Alone(lost_s[:n], restore_s, lost_s[n:], weakens, stops_hop, works)


_Column = tuple[NDArray[np.int32], NDArray[Any]]
"""Rows of a column that are not nought, rising, and what stands there."""


def _where_any(row: Ints, value: NDArray[Any]) -> _Column:
    some = np.flatnonzero(value)
    return row[some].astype(np.int32), value[some]


def _of_columns(n_rows: int, columns: Iterable[_Column]) -> csr_array:
    """Table of some columns that are mostly nought."""
    rows = [np.zeros(0, dtype=np.int32)]
    values: list[NDArray[Any]] = [rows[0]]
    for row, value in columns:
        rows.append(row)
        values.append(value)
    first = np.cumsum([row.size for row in rows]).astype(np.int32)
    found = csc_array((_emptied(values), _emptied(rows), first), (n_rows, first.size - 1))
    return found.tocsr()


def _emptied(parts: list[NDArray[Any]]) -> NDArray[Any]:
    """Parts one after another; none is left in the list."""
    found = np.concatenate(parts)
    parts.clear()
    return found


def _by_slot(lost: Lost) -> tuple[Ints, Floats]:
    """Slots with unavailable time, rising, and how much of it each has [s]."""
    start_s, end_s, width_s = lost.unavailable_start_s, lost.unavailable_end_s, int(SLOT_S)
    first = start_s // width_s
    count = (end_s - 1) // width_s - first + 1
    piece = np.repeat(np.arange(count.size), count)
    slot = np.arange(piece.size) - (np.cumsum(count) - count - first)[piece]
    inside_s = np.minimum(end_s[piece], (slot + 1) * width_s) - np.maximum(start_s[piece], slot * width_s)
    begins = np.flatnonzero(np.append(True, slot[1:] != slot[:-1])[: slot.size])
    return slot[begins], np.add.reduceat(inside_s, begins) * 1.0 if begins.size else np.zeros(0)


def fail_each(simulator: BlockSimulator, parts: Sequence[int]) -> tuple[FailureLog, Floats]:
    """Log in which some parts fail, one in each slot of ``SLOT_S``, and when each does [s].

    Nothing else goes wrong, every failure stops its part and takes its mean time.
    """
    began_s = SLOT_S * np.arange(len(parts), dtype=np.float64) + HOUR_S
    log = simulate_failures(
        _undisturbed(simulator.prepared.built.plant),
        _NO_STREAMS,
        SLOT_S * len(parts),
        warm_up_s=0.0,
        unlimited=True,
        put_in=PutIn({part: (time_s,) for part, time_s in zip(parts, began_s.tolist(), strict=True)}),
    )
    return log, began_s


def on_equipment_alone(
    simulator: BlockSimulator, log: FailureLog, *, record_rates: bool = False, full_demand: bool = False
) -> tuple[ServiceHistory, ...]:
    """Services of a network on which no rain falls and no beam bends, with these failures.

    Options are as for ``BlockSimulator.services``.
    """
    (hops,) = without_weather(simulator, [log])
    return simulator.services(hops, log, log.duration_s, record_rates=record_rates, full_demand=full_demand)


def without_weather(simulator: BlockSimulator, logs: Sequence[FailureLog]) -> list[tuple[HopHistory, ...]]:
    """Histories of the hops on a network on which no rain falls and no beam bends, in each log."""
    cut, n_hops = simulator.cutter.cut(logs), len(simulator.states)
    met = np.unique(cut.number)
    hop = np.array([simulator.cutter.states[number][0] for number in met.tolist()])
    met = met[np.argsort(hop, kind="stable")]
    of_number = (simulator.cutter.states[number] for number in met.tolist())
    alone = [simulator.fade_free[hop].alone(state) for hop, state in of_number]
    capacity, causes = (np.concatenate(column) for column in zip(*alone, strict=True))
    first = np.cumsum([0, *np.bincount(hop, minlength=n_hops)])
    tables = [(capacity[begin:end], causes[begin:end]) for begin, end in pairwise(first.tolist())]
    of_hop = np.empty(met.max() + 1, dtype=np.int32)
    of_hop[met] = np.arange(len(met)) - np.repeat(first[:-1], np.diff(first))
    state = of_hop[cut.number]
    found = [
        HopHistory(cut.start_s[begin:end], state[begin:end], *tables[place % n_hops])
        for place, (begin, end) in enumerate(pairwise(cut.first.tolist()))
    ]
    return [tuple(found[begin : begin + n_hops]) for begin in range(0, len(found), n_hops)]


def _undisturbed(plant: Plant) -> Plant:
    """The plant in which nothing fails by itself, every failure stops its part and takes its mean time."""
    groups = tuple(replace(group, switch_failure=0.0, test=None, cold=False) for group in plant.groups)
    return replace(
        plant,
        switches=tuple(replace(switch, switch_failure=0.0) for switch in plant.switches),
        sites=tuple(_steady(site) for site in plant.sites),
        parts=tuple(
            replace(part, life=NEVER, mend=None if part.mend is None else _fixed(part.mend))
            for part in plant.parts
        ),
        groups=groups,
        kinds={
            name: replace(kind, affecting_share=1.0, latent_share=0.0, mend=_fixed(kind.mend))
            for name, kind in plant.kinds.items()
        },
        repair=plant.repair.model_copy(update={"duration_ln_sd": _HARDLY}),
        lightning=None,
    )


def _fixed(law: Law) -> Law:
    return Law.fixed(law.mean_h)


def _steady(site: PlantSite) -> PlantSite:
    """A site with alarms and without planned work, whose mains never fail; its battery bridges its supply."""
    power = site.power
    if power is not None:
        power = None if power.solar is not None else replace(power, mains_outages_per_year=0.0)
    return replace(site, power=power, planned=(), alarms=True)


def _restore_each_h(plant: Plant) -> Floats:
    """Time that few failures of each part outlast, shape (n_parts,) [h]."""

    @cache
    def lead_h(fitting: tuple[str, ...]) -> float:
        return _lead_h(plant, fitting)

    found = np.empty(len(plant.parts))
    for number, part in enumerate(plant.parts):
        kind = plant.kinds[part.kind]
        found[number] = plant.dispatch.mean_h + (part.mend or kind.mend).quantile_h(UNSEEN_QUANTILE)
        if kind.repair is not Repair.REMOTE:
            found[number] += plant.bases_near(part.site, None)[0][0]
            found[number] += lead_h(tuple(part.fitting or ((kind.spare,) if kind.spare else ())))
    return found


def _lead_h(plant: Plant, fitting: Sequence[str]) -> float:
    """Time to wait for a spare of which no depot keeps any [h]."""
    if not plant.depots or not fitting:
        return 0.0
    if any(depot.stock.get(item, 0) > 0 for depot in plant.depots for item in fitting):
        return 0.0
    leads_h = [depot.lead_time.quantile_h(UNSEEN_QUANTILE) for depot in plant.depots]
    express_h = [depot.express_h for depot in plant.depots if depot.express_h is not None]
    return min([*leads_h, *express_h])
