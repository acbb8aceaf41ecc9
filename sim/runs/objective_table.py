"""Objectives of the Recommendations beside what each service got: met or not, and how surely."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from models.objectives import (
    Grade,
    availability_objective,
    grade_for,
    severely_errored_objective,
    unavailable_min_per_year,
)
from models.units import HOURS_PER_YEAR, SECONDS_PER_YEAR
from sim.blocks.prepared import Prepared
from sim.counting.tallies import Tally
from sim.counting.tally_rows import BOTH
from sim.counting.years import met_confidence
from sim.runs.summary_figures import UNSEEN_OUTAGE_S, per_block

COLUMNS = (
    "service",
    "length_km",
    "portion",
    "availability_objective",
    "allowed_min_per_year",
    "unavailable_min_per_year",
    "availability_met",
    "availability_met_confidence",
    "severely_errored_ratio_objective",
    "severely_errored_ratio",
    "severely_errored_met",
    "severely_errored_met_confidence",
    "mean_time_between_outages_h",
    "source",
)

SEVERELY_ERRORED_SOURCE = "ITU-R F.1668 (2004), from memory, unverified"


def objective_table(prepared: Prepared, blocks: Sequence[Tally]) -> pd.DataFrame:
    """One row a service: its objectives by F.1703 and F.1668 for its length and grade, and what it got.

    Columns as ``COLUMNS``. The length is that of the working route. ``..._met`` tells whether the simulated
    figure keeps the objective, ``..._met_confidence`` how sure it is that the long-run figure does (0.5:
    nothing is known either way). The severely errored ratio is over available time; the mean time between
    outages runs from the start of one to that of the next, infinite where none was seen.

    References
    ----------
    ITU-R F.1703 (2005), ITU-R F.1668 (2004), ITU-T G.827 (2003): coefficients from memory, unverified
    (``models.objectives``).
    """
    n, years = len(prepared.demands), blocks[0].years
    lost, severe, outages = (
        per_block(blocks, "service_total", value, n, direction=BOTH) / years
        for value in ("unavailable_s", "severely_errored_s", "outages")
    )
    rows = [
        (
            *_objectives(prepared, number, lost[:, number], severe[:, number], years),
            _between_h(outages[:, number]),
            f"{_portion(prepared, number).value.source}; {SEVERELY_ERRORED_SOURCE}",
        )
        for number in range(n)
    ]
    return pd.DataFrame(rows, columns=[*COLUMNS])


def _length_km(prepared: Prepared, number: int) -> float:
    route = prepared.demands[number].routes[0]
    return sum(prepared.designs[link].length_km for link, _ in route if link < len(prepared.designs))


def _portion(prepared: Prepared, number: int) -> Grade:
    grade = prepared.network.services[number].grade
    if grade == "access":
        return Grade.ACCESS
    return grade_for(_length_km(prepared, number), long_haul=grade == "long haul")


def _objectives(
    prepared: Prepared,
    number: int,
    lost_s: NDArray[np.float64],
    severe_s: NDArray[np.float64],
    block_years: int,
) -> tuple[object, ...]:
    """Columns from ``service`` to ``severely_errored_met_confidence``; times in seconds a year, by block."""
    service, length_km = prepared.network.services[number], _length_km(prepared, number)
    portion = _portion(prepared, number).value
    ratio = float(
        availability_objective(
            length_km,
            length_coefficient=portion.length_coefficient,
            fixed_part=portion.fixed_part,
            shortest_km=portion.shortest_km,
        )
    )
    allowed_s = float(unavailable_min_per_year(ratio)) * 60.0
    severe_ratio = float(severely_errored_objective(length_km, long_haul=service.grade == "long haul"))
    available_s = SECONDS_PER_YEAR - float(lost_s.mean())
    return (
        service.id,
        length_km,
        portion.name,
        ratio,
        allowed_s / 60.0,
        float(lost_s.mean()) / 60.0,
        bool(lost_s.mean() <= allowed_s),
        met_confidence(lost_s, allowed_s, largest_unseen=UNSEEN_OUTAGE_S / block_years),
        severe_ratio,
        float(severe_s.mean()) / available_s if available_s > 0.0 else 0.0,
        bool(severe_s.mean() <= severe_ratio * available_s),
        met_confidence(severe_s, severe_ratio * available_s, largest_unseen=10.0 / block_years),
    )


def _between_h(outages_per_year: NDArray[np.float64]) -> float:
    often = float(outages_per_year.mean())
    return HOURS_PER_YEAR / often if often else np.inf
