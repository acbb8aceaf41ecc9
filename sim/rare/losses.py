"""What services and hops lose in a history, or more in one than in another: figures, causes, months."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.calendar import month_edges_s
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.judging.outage_rule import SEVERE_SHARE
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.tally_rows import BOTH, CAUSE
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.hops.hop_history import HopHistory, side_by_side
from hopyears.sim.rare.loss_loops import count_losses
from hopyears.sim.rare.strata import FIGURES, MONTH_FIGURES, WAYS
from hopyears.sim.services.service_run import Outages


@dataclass(frozen=True)
class Losses:
    """What services and hops lose in a history, or in the difference of two.

    Attributes
    ----------
    figures : float array, shape (n_services, n_ways, n_figures)
    causes : KeyedTable
        Of columns ``CAUSE``, both ways together.
    months : float array, shape (n_sides, n_services, n_years, 12, n_month_figures)
        Figures by calendar month, both ways together: of the history, or of both (without and with).
    hops : float array, shape (n_hops, n_figures)
        Figures of hops, and of bundles after them, both ways together.
    """

    figures: Floats
    causes: KeyedTable
    months: Floats
    hops: Floats

    @classmethod
    def of_outages(cls, outages: Outages, hops: Floats) -> "Losses":
        """Of a history; without months where it has no spans."""
        n_services, n_spans = len(outages.severe_share), len(outages.below_s)
        n_years = round(outages.duration_s / SECONDS_PER_YEAR) if n_spans else 0
        figures, months, keys, values = count_losses(
            outages.first,
            outages.time_s,
            outages.down,
            outages.causes,
            outages.severe_share,
            outages.duration_s,
            month_edges_s(n_years),
        )
        by_month = np.concatenate([months, outages.below_s.T[:, :, None]], axis=2)
        return cls(
            figures,
            KeyedTable.collect(CAUSE, keys, values),
            by_month.reshape(1, n_services, n_years, 12, len(MONTH_FIGURES)),
            hops,
        )

    def scaled(self, factor: float) -> "Losses":
        """So many times as much, months as they are."""
        return Losses(self.figures * factor, self.causes.scaled(factor), self.months, self.hops * factor)

    def of(self, services: Ints, *, hops: bool) -> "Losses":
        """Of some services, and the hops or none of them; all others lose nothing."""
        figures, months = np.zeros_like(self.figures), np.zeros_like(self.months)
        figures[services], months[:, services] = self.figures[services], self.months[:, services]
        rows = np.isin(self.causes.key("entity"), services)
        causes = KeyedTable.collect(CAUSE, self.causes.keys[rows], self.causes.values[rows])
        return Losses(figures, causes, months, self.hops * hops)

    def months_alone(self) -> "Losses":
        """The same without figures and causes."""
        nothing = np.zeros_like(self.figures), KeyedTable.empty(CAUSE)
        return Losses(*nothing, self.months, np.zeros_like(self.hops))

    def less(self, other: "Losses") -> "Losses":
        """What these are more than others; months of both, of years in which they differ."""
        months = np.concatenate([other.months, self.months])
        same = (other.months == self.months).all(axis=(0, 1, 3, 4))
        months[:, :, same] = 0.0
        causes = self.causes + other.causes.scaled(-1.0)
        return Losses(self.figures - other.figures, causes, months, self.hops - other.hops)


def losses_each(
    simulator: BlockSimulator,
    hops: Sequence[Sequence[HopHistory]],
    logs: Sequence[FailureLog | None],
    duration_s: float,
    *,
    by_month: bool = False,
) -> Iterator[Losses]:
    """What is lost in each of several histories of the hops, with their failures; as ``outages_each``."""
    outages = simulator.outages_each(hops, logs, duration_s, by_month=by_month)
    for each, own in zip(outages, hops, strict=True):
        yield Losses.of_outages(each, hop_losses(simulator.prepared, own, duration_s))


def hop_losses(prepared: Prepared, hops: Sequence[HopHistory], duration_s: float) -> Floats:
    """Figures of hops by themselves, and of bundles after them, both ways together, as ``Losses.hops``."""
    bundles = [side_by_side([hops[hop] for hop in own]) for own in prepared.bundles.values()]
    found, down, n_seen = np.zeros((len(hops) + len(bundles), len(FIGURES))), list[Bools](), list[int]()
    time_s, hit = list[Floats](), list[int]()
    for number, hop in enumerate((*hops, *bundles)):
        none_gets_by = hop.capacity_mbit_s <= 0.0
        if none_gets_by.any():
            n = int(np.searchsorted(hop.time_s, duration_s))
            hit.append(number)
            n_seen.append(n)
            time_s.append(hop.time_s[:n])
            down.append(none_gets_by[hop.state[:n]])
    if hit:
        first, causes = np.cumsum([0, *n_seen]), np.zeros((sum(n_seen), 2), dtype=np.int64)
        severe = np.full(len(hit), SEVERE_SHARE)
        table = first, np.concatenate(time_s), np.concatenate(down), causes, severe, duration_s
        found[hit] = count_losses(*table, month_edges_s(0))[0][:, WAYS.index(BOTH)]
    return found
