"""What the outages of services cost: penalties and the value of what was not delivered, by block."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hopyears.models.money.penalties import Tier, owed
from hopyears.models.network.network import Network, Service
from hopyears.sim.counting.figures import UNSEEN_OUTAGE_S, put_interval
from hopyears.sim.counting.statistics import mean_interval
from hopyears.sim.counting.tallies import Tally, add_tallies, by_month
from hopyears.sim.counting.tally_rows import BOTH

_Floats = NDArray[np.float64]

BAD_YEAR = 0.9
"""Share of the years that owe no more than the figure for a bad year."""

_ENDS = ("", "_low", "_high")
MONEY_COLUMNS = (
    "service",
    *(f"penalty_per_year{end}" for end in _ENDS),
    "penalty_bad_year",
    *(f"undelivered_gbit_per_year{end}" for end in _ENDS),
    *(f"undelivered_value_per_year{end}" for end in _ENDS),
)


def tiers_of(service: Service) -> tuple[Tier, ...]:
    """Penalty tiers of a service."""
    return tuple(Tier(each.availability, each.amount, each.period == "year") for each in service.penalties)


def judged_in_money(service: Service) -> bool:
    """Whether outages of a service cost anything."""
    return bool(service.penalties) or service.undelivered_value_per_gbit is not None


def penalties_of_years(services: Sequence[Service], unavailable_s: _Floats) -> _Floats:
    """Penalty of each service in each year [money].

    Parameters
    ----------
    services : sequence of Service
    unavailable_s : float array, shape (n_services, n_blocks, n_years, 12)
        Unavailable time of each month, planned work included [s].

    Returns
    -------
    float array, shape (n_services, n_blocks, n_years)
    """
    found = [
        owed(lost, tiers_of(service), service.penalty_cap_per_year)
        for service, lost in zip(services, unavailable_s, strict=True)
    ]
    return np.array(found).reshape(unavailable_s.shape[:3])


def one_outage_costs(service: Service) -> float:
    """Penalty of one outage in one month, of the length assumed of what was not seen [money]."""
    lost = np.zeros(12)
    lost[0] = UNSEEN_OUTAGE_S
    return float(owed(lost, tiers_of(service), service.penalty_cap_per_year))


def penalties_by_block(services: Sequence[Service], blocks: Sequence[Tally]) -> _Floats:
    """Mean penalty a year of each service in each block [money], shape (n_blocks, n_services)."""
    months = by_month(add_tallies(blocks), "service_month", "unavailable_s", direction=BOTH)
    found: _Floats = penalties_of_years(services, months).mean(axis=2).T
    return found


def undelivered_gbit(blocks: Sequence[Tally], n: int) -> _Floats:
    """Gigabits a year asked for at peak rates and not delivered, both directions, (n_blocks, n_services)."""
    rows = []
    for tally in blocks:
        table = tally.tables["service_undelivered"]
        lost = np.bincount(table.key("entity"), table.value("undelivered_mbit"), minlength=n)
        rows.append(lost / 1000.0 / tally.years)
    return np.array(rows).reshape(len(blocks), n)


def service_money(network: Network, blocks: Sequence[Tally]) -> pd.DataFrame:
    """Table ``service_money``: services whose outages cost anything, each with what they cost a year.

    Penalties follow from the unavailable time of single months and years, planned work included, of the
    blocks as they were drawn.
    """
    services, years = network.services, blocks[0].years
    if not any(map(judged_in_money, services)):
        return pd.DataFrame(columns=[*MONEY_COLUMNS])
    months = by_month(add_tallies(blocks), "service_month", "unavailable_s", direction=BOTH)
    penalties = penalties_of_years(services, months)
    lost = undelivered_gbit(blocks, len(services))
    rows = []
    for i, service in enumerate(services):
        if not judged_in_money(service):
            continue
        row: dict[str, object] = {"service": service.id}
        unseen = max(one_outage_costs(service), 1e-9) / years
        put_interval(row, "penalty_per_year", mean_interval(penalties[i].mean(axis=1), largest_unseen=unseen))
        row["penalty_bad_year"] = float(np.quantile(penalties[i], BAD_YEAR, method="inverted_cdf"))
        gbit = sum(service.full_ways_mbit_s) * UNSEEN_OUTAGE_S / 1000.0 / years
        found = mean_interval(lost[:, i], largest_unseen=gbit)
        put_interval(row, "undelivered_gbit_per_year", found)
        value = service.undelivered_value_per_gbit or 0.0
        for end, part in (("", found.best), ("_low", found.low), ("_high", found.high)):
            row[f"undelivered_value_per_year{end}"] = value * part
        rows.append(row)
    return pd.DataFrame(rows, columns=[*MONEY_COLUMNS])
