"""One side of a comparison: what every independent unit of a run met, and what the network costs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.money.costs import Cost, CostRow, Terms
from hopyears.models.network.network import Service
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.differences import PairedStratum, paired_strata_interval
from hopyears.sim.counting.figures import UNSEEN_OUTAGE_S, per_block
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.counting.tallies import Tally
from hopyears.sim.counting.tally_rows import BOTH
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.money.network_costs import cost_rows, run_rows
from hopyears.sim.money.service_money import one_outage_costs, owed_law, undelivered_gbit
from hopyears.sim.rare.service_figures import (
    OUTAGES,
    SEVERELY_ERRORED,
    UNAVAILABLE,
    UNSEEN_WEATHER_S,
    ServiceFigures,
)
from hopyears.sim.rare.year_tables import YearTables
from hopyears.sim.runs.summary import read_tallies
from hopyears.sim.storage.run_folder import RunFolder

Units = list[tuple[Floats, float]]
"""Values of the units of each stratum, and the largest of one that was not seen."""

MINUTES, SEVERE, COUNT, BELOW, LOST, PENALTY, COST = (
    "min_per_year",
    "ses_per_year",
    "outages_per_year",
    "below_committed_min_per_year",
    "undelivered_gbit_per_year",
    "penalty_per_year",
    "outage_cost_per_year",
)
"""Figures of a service that plans are compared by."""

FIGURES = (MINUTES, SEVERE, COUNT, BELOW, LOST, PENALTY, COST)
_COUNTED = {MINUTES: (UNAVAILABLE, 60.0), SEVERE: (SEVERELY_ERRORED, 1.0), COUNT: (OUTAGES, 1.0)}


class FirstBlocks(RunFolder):
    """A run's folder of which only the first blocks are looked at, so that sides have as many."""

    def __init__(self, path: Path, n_blocks: int) -> None:
        super().__init__(path)
        self._n_blocks = n_blocks

    def finished_blocks(self) -> list[int]:
        """Numbers of those blocks that are whole, in order."""
        return [block for block in super().finished_blocks() if block < self._n_blocks]


@dataclass(frozen=True)
class Side:
    """A network or plan with what its run met.

    Attributes
    ----------
    name : str
    figures : ServiceFigures
    blocks : sequence of Tally
    by_block : mapping of str to float array, shape (n_blocks, n_services)
        ``BELOW`` and ``LOST``.
    bill : sequence of CostRow
        With journeys and used spares as the run counted them.
    years : YearTables
        Single years, by which penalties are owed.
    """

    name: str
    figures: ServiceFigures
    blocks: Sequence[Tally]
    by_block: Mapping[str, Floats]
    bill: Sequence[CostRow]
    years: YearTables

    @classmethod
    def read(
        cls,
        name: str,
        source: NetworkSource,
        options: ModelOptions,
        folder: RunFolder,
        *,
        pairs_only: bool = False,
    ) -> "Side":
        """From the finished blocks of a run of the source.

        ``pairs_only`` is for differences of units alone: no bill, figures without the known mean of rain.
        """
        network, prepared = source.network, prepare(source.network, options)
        n, blocks = len(network.services), read_tallies(prepared, folder)
        below = per_block(blocks, "service_traffic", "below_committed_s", n, direction=BOTH)
        bill: list[CostRow] = []
        if not pairs_only:
            results = folder.read_results()
            counted = [results[name].to_pandas() for name in ("crew_visits", "part_failures")]
            bill = [*cost_rows(network), *run_rows(network, *counted)]
        return cls(
            name,
            ServiceFigures.read(prepared, folder, controlled=not pairs_only),
            blocks,
            {BELOW: below / 60.0 / blocks[0].years, LOST: undelivered_gbit(blocks, n)},
            bill,
            YearTables(folder),
        )

    @cached_property
    def services(self) -> dict[str, Service]:
        """Services by id, in the order of the network."""
        return {service.id: service for service in self.figures.prepared.network.services}

    @cached_property
    def numbers(self) -> dict[str, int]:
        """Number of each service."""
        return {service: number for number, service in enumerate(self.services)}

    def cost(self, terms: Terms) -> Cost:
        """Money of all that has a price."""
        return terms.cost_of(self.bill)

    def units(self, service: str, figure: str) -> Units:
        """What the units met of a figure (one of ``FIGURES``) of a service, a year."""
        number = self.numbers[service]
        if figure in _COUNTED:
            which, scale = _COUNTED[figure]
            return [(values / scale, most / scale) for values, most in self.figures.terms(number, which)]
        own, block_years = self.services[service], self.blocks[0].years
        if figure in (PENALTY, COST):
            (owed, most), *replicated = self._owed(number, own)
            if figure == COST and own.undelivered_value_per_gbit is not None:
                ((lost, unseen),) = self.units(service, LOST)
                owed = owed + own.undelivered_value_per_gbit * lost
                most += own.undelivered_value_per_gbit * unseen
            return [(owed, most), *replicated]
        hours = UNSEEN_OUTAGE_S / 3600.0
        unseen = 60.0 * hours if figure == BELOW else sum(own.full_ways_mbit_s) * 3.6 * hours
        return [(self.by_block[figure][:, number], unseen / block_years)]

    def _owed(self, number: int, own: Service) -> Units:
        """Penalties of the units; there are as many of each kind on every side of a comparison."""
        first, *others = owed_law(self.years.of([number]), [own]).units(0, largest=one_outage_costs(own))
        seen = self.figures.seen
        drawn = [len(part) for part in (seen.histories, seen.forced)]
        return [
            first,
            *(
                (units if units.size else np.zeros(n), most)
                for (units, most), n in zip(others, drawn, strict=False)
            ),
        ]

    def summed(self, weights: Mapping[str, float], figure: str) -> Units:
        """The sum of a figure over services; of times and counts by weight, of gigabits and money plain."""
        plain = figure in (LOST, PENALTY, COST)
        parts = [(1.0 if plain else w, self.units(service, figure)) for service, w in weights.items()]
        return [
            (
                np.sum([weight * units[k][0] for weight, units in parts], axis=0),
                sum(weight * units[k][1] for weight, units in parts),
            )
            for k in range(len(parts[0][1]) if parts else 0)
        ]

    def cause_minutes(self) -> dict[tuple[str, int], Floats]:
        """Unavailable minutes a year by service and exact set of causes, both ways, shape (n_blocks,)."""
        names, found = list(self.services), dict[tuple[str, int], Floats]()
        for b, tally in enumerate(self.blocks):
            table = tally.tables["service_cause"]
            here = table.key("direction") == BOTH
            rows = zip(table.key("entity")[here], table.key("causes")[here], strict=True)
            for (entity, causes), lost_s in zip(rows, table.value("unavailable_s")[here], strict=True):
                minutes = found.setdefault((names[entity], int(causes)), np.zeros(len(self.blocks)))
                minutes[b] += lost_s / 60.0 / tally.years
        return found


def paired(before: Units, after: Units) -> Interval:
    """After less before, from the pairs of units."""
    strata = [
        PairedStratum(plan - base, max(most_plan, most_base))
        for (base, most_base), (plan, most_plan) in zip(before, after, strict=True)
    ]
    return paired_strata_interval(strata)


def paired_causes(before: Floats, after: Floats, block_years: int) -> Interval:
    """After less before of minutes with one set of causes, from the pairs of blocks."""
    return paired_strata_interval([PairedStratum(after - before, UNSEEN_WEATHER_S / 60.0 / block_years)])
