"""Tables of single years: what a share of them does not exceed, and how likely one breaks an availability."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from hopyears.models.basics.units import MINUTES_PER_YEAR, SECONDS_PER_YEAR
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.month_figures import YEAR_FIGURES
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.counting.years import year_quantile
from hopyears.sim.rare.year_law import Measure, YearLaw
from hopyears.sim.rare.year_tables import YearTables

QUANTILES = (0.5, 0.8, 0.9, 0.95, 0.99)
"""Shares of years for which the table ``service_years`` tells what they do not exceed."""

LEVELS = (0.999, 0.9999, 0.99999)
"""Availabilities for which the table ``service_targets`` tells how likely a year breaks them."""

UNAVAILABLE = Measure((("unavailable_s", 1.0 / 60.0),))
"""Unavailable minutes of a year."""


def slower_peak_mbit_s(service: Mapping[str, Any]) -> float:
    """Peak rate of the direction that asks for less, of a service as plain data [Mbit/s]."""
    forward = service["peak_mbit_s"] or service["committed_mbit_s"]
    backward = service.get("peak_backward_mbit_s") or service.get("committed_backward_mbit_s") or forward
    return float(min(forward, backward))


def single_years(years: YearTables, network: Mapping[str, Any]) -> pd.DataFrame:
    """One row for each service and simulated year, both ways together: what contracts speak of."""
    frames = []
    for number, service in enumerate(network["services"]):
        found = years.of([number]).years[:, 0].sum(axis=1)
        sums = dict(zip(YEAR_FIGURES, found.T, strict=True))
        peak = slower_peak_mbit_s(service)
        frames.append(
            pd.DataFrame(
                {
                    "service": str(service["id"]),
                    "year": np.arange(1, years.n_years + 1),
                    "unavailable_min": sums["unavailable_s"] / 60.0,
                    "planned_min": sums["planned_s"] / 60.0,
                    "outages": sums["outages"].astype(np.int64),
                    "planned_outages": sums["planned_outages"].astype(np.int64),
                    "below_committed_min": sums["below_committed_s"] / 60.0,
                    "mean_throughput_mbit_s": peak - sums["undelivered_mbit"] / SECONDS_PER_YEAR,
                }
            )
        )
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()


def year_table(services: Sequence[str], years: YearTables) -> pd.DataFrame:
    """Quantiles over years: minutes that a share of the years do not exceed, with 95 % intervals.

    From the simulated years alone. Columns: service, share_of_years, unavailable_min (with ``_low`` and
    ``_high``; a limit is infinite when the years are too few to tell).
    """
    rows = []
    for number, service in enumerate(services):
        minutes = UNAVAILABLE.worst(UNAVAILABLE.periods(years.simulated([number])))
        for share in QUANTILES:
            found = year_quantile(minutes, share)
            row: dict[str, object] = {"service": service, "share_of_years": share}
            put_interval(row, "unavailable_min", Interval(max(found.low, 0.0), found.best, found.high))
            rows.append(row)
    return table_of("service_years", rows)


def target_table(services: Sequence[str], years: YearTables) -> pd.DataFrame:
    """Chance that a given year breaks each availability of ``LEVELS``, with 95 % intervals.

    Columns: service, availability, target_min_per_year, year_break_chance (with ``_low`` and ``_high``).
    """
    rows = []
    for number, service in enumerate(services):
        law = YearLaw(years.of([number]), [UNAVAILABLE])
        for level in LEVELS:
            target_min = (1.0 - level) * MINUTES_PER_YEAR
            row: dict[str, object] = {
                "service": service,
                "availability": level,
                "target_min_per_year": target_min,
            }
            put_interval(row, "year_break_chance", law.break_chance([target_min], level=0.95))
            rows.append(row)
    return table_of("service_targets", rows)
