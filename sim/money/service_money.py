"""What the outages of services cost: penalties, and the value of what was not delivered."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from hopyears.models.basics.arrays import Floats
from hopyears.models.money.penalties import Tier, owed
from hopyears.models.network.network import Network, Service
from hopyears.sim.counting.figures import UNSEEN_OUTAGE_S, put_interval
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.statistics import LEVEL, mean_interval
from hopyears.sim.counting.tallies import Tally
from hopyears.sim.rare.year_law import Measure, YearLaw
from hopyears.sim.rare.year_tables import YearsMet, YearTables

BAD_YEAR = 0.9
"""Share of the years that owe no more than the figure for a bad year."""


def tiers_of(service: Service) -> tuple[Tier, ...]:
    """Penalty tiers of a service."""
    return tuple(Tier(each.availability, each.amount, each.period == "year") for each in service.penalties)


def judged_in_money(service: Service) -> bool:
    """Whether outages of a service cost anything."""
    return bool(service.penalties) or service.undelivered_value_per_gbit is not None


@dataclass(frozen=True)
class Owed(Measure):
    """Penalties of a year, of all services together [money].

    Attributes
    ----------
    tiers : tuple of (tiers, cap a year)
        Of each service.
    """

    tiers: tuple[tuple[tuple[Tier, ...], float | None], ...] = ()

    def worst(self, periods: Floats) -> Floats:
        """Sum over services of what is owed for their months, the last axis."""
        found = [owed(periods[..., i, :], own, cap) for i, (own, cap) in enumerate(self.tiers)]
        return np.asarray(np.sum(found, axis=0))


def owed_law(met: YearsMet, services: Sequence[Service]) -> YearLaw:
    """Law of the penalties of a year, of these services together; planned work counts.

    Parameters
    ----------
    met : YearsMet
        What the years took from them.
    services : sequence of Service
    """
    tiers = tuple((tiers_of(service), service.penalty_cap_per_year) for service in services)
    return YearLaw(met, [Owed((("unavailable_s", 1.0),), monthly=True, tiers=tiers)])


def one_outage_costs(service: Service) -> float:
    """Penalty of one outage in one month, of the length assumed of what was not seen [money]."""
    lost = np.zeros(12)
    lost[0] = UNSEEN_OUTAGE_S
    return float(owed(lost, tiers_of(service), service.penalty_cap_per_year))


def undelivered_gbit(blocks: Sequence[Tally], n: int) -> Floats:
    """Gigabits a year asked for at peak rates and not delivered, both directions, (n_blocks, n_services)."""
    rows = []
    for tally in blocks:
        table = tally.tables["service_undelivered"]
        lost = np.bincount(table.key("entity"), table.value("undelivered_mbit"), minlength=n)
        rows.append(lost / 1000.0 / tally.years)
    return np.array(rows).reshape(len(blocks), n)


def service_money(network: Network, blocks: Sequence[Tally], years: YearTables) -> pd.DataFrame:
    """Table ``service_money``: services whose outages cost anything, each with what they cost a year.

    Penalties follow from the law of single years, which replications of failures take part in, planned work
    included; gigabits from the blocks as they were drawn.
    """
    services = network.services
    if not any(map(judged_in_money, services)):
        return table_of("service_money", ())
    lost = undelivered_gbit(blocks, len(services))
    rows = []
    for i, service in enumerate(services):
        if not judged_in_money(service):
            continue
        row: dict[str, object] = {"service": service.id}
        law = owed_law(years.of([i]), [service])
        unseen = max(one_outage_costs(service), 1e-9)
        put_interval(row, "penalty_per_year", law.mean_interval(0, level=LEVEL, largest=unseen))
        row["penalty_bad_year"] = law.quantile(0, BAD_YEAR)
        gbit = sum(service.full_ways_mbit_s) * UNSEEN_OUTAGE_S / 1000.0 / blocks[0].years
        found = mean_interval(lost[:, i], largest_unseen=gbit)
        put_interval(row, "undelivered_gbit_per_year", found)
        value = service.undelivered_value_per_gbit or 0.0
        for end, part in (("", found.best), ("_low", found.low), ("_high", found.high)):
            row[f"undelivered_value_per_year{end}"] = value * part
        rows.append(row)
    return table_of("service_money", rows)
