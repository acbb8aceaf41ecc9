"""Tables of single years: what a share of them does not exceed, and how likely one breaks an availability."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from hopyears.models.basics.units import MINUTES_PER_YEAR, SECONDS_PER_YEAR
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.month_figures import YEAR_FIGURES
from hopyears.sim.counting.result_tables import table_of
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


def year_tables(services: Sequence[str], years: YearTables) -> dict[str, pd.DataFrame]:
    """The tables ``service_years`` and ``service_targets``, with 95 % intervals.

    Minutes that a share of the years do not exceed, from the simulated years alone; a limit is infinite when
    they are too few to tell. Chance that a given year breaks each availability of ``LEVELS``.
    """
    shares, targets = list[dict[str, object]](), list[dict[str, object]]()
    for number, service in enumerate(services):
        met = years.of([number])
        minutes, law = UNAVAILABLE.worst(UNAVAILABLE.periods(met.years)), YearLaw(met, [UNAVAILABLE])
        for share in QUANTILES:
            found = year_quantile(minutes, share)
            shares.append({"service": service, "share_of_years": share})
            put_interval(shares[-1], "unavailable_min", replace(found, low=max(found.low, 0.0)))
        for level in LEVELS:
            target_min = (1.0 - level) * MINUTES_PER_YEAR
            targets.append({"service": service, "availability": level, "target_min_per_year": target_min})
            put_interval(targets[-1], "year_break_chance", law.break_chance([target_min], level=0.95))
    return {
        name: table_of(name, rows) for name, rows in (("service_years", shares), ("service_targets", targets))
    }
