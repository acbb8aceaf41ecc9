"""Objectives beside what each service got: met or not, and how surely."""

from collections.abc import Callable
from functools import partial

import numpy as np
import pandas as pd

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.judging.objectives import (
    AVAILABILITY_SOURCE,
    SEVERELY_ERRORED_SOURCE,
    STATED,
    Portion,
    portion_of,
    severely_errored_objective,
    unavailable_min_per_year,
)
from hopyears.models.network.network import Service
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.figures import put_interval
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.counting.years import met_confidence
from hopyears.sim.rare.service_figures import OUTAGES, SEVERELY_ERRORED, UNAVAILABLE, ServiceFigures
from hopyears.sim.runs.direction_table import severely_errored_ratio

SHOWN_BESIDE = tuple(
    f"{name}{end}"
    for name in ("unavailable_min_per_year", "below_committed_min_per_year", "outages_per_year")
    for end in ("", "_low", "_high")
)
"""Figures of the table ``services`` that objectives are compared with, or that a contract may count too."""


def objective_table(prepared: Prepared, services: pd.DataFrame, figures: ServiceFigures) -> pd.DataFrame:
    """One row a service: its objectives, and what it got.

    Objectives are those that the network file states for the service, else those of F.1703 and F.1668 for
    its length and grade; outages a year (the outage intensity, both ways together) have one only where it is
    stated.

    Parameters
    ----------
    prepared : Prepared
    services : DataFrame
        The table ``services`` of the same run, whose figures ``SHOWN_BESIDE`` stand here too.
    figures : ServiceFigures
        Of the same run.

    Returns
    -------
    DataFrame
        The length is that of the working route. ``..._met`` tells whether the
        simulated figure keeps the objective, ``..._met_confidence`` how sure it is that the long-run figure
        does (0.5: nothing is known either way), ``..._source`` where the objective comes from; empty where
        there is no objective. The severely errored ratio is over available time.

    References
    ----------
    ITU-R F.1703 (2005), ITU-R F.1668 (2004), ITU-T G.827 (2003): coefficients from memory, unverified
    (``models.judging.objectives``).
    """
    rows = []
    for i, (service, found) in enumerate(
        zip(prepared.network.services, services.to_dict("records"), strict=True)
    ):
        links = prepared.hops_along(prepared.demands[i].routes[0])
        length_km = sum(prepared.designs[hops[0]].path.length_km for hops in links)
        portion = portion_of(service.grade, length_km)
        rows.append(
            {
                "service": service.id,
                "length_km": length_km,
                "portion": portion.name,
                **_availability(service, portion, length_km, partial(figures.interval, i, UNAVAILABLE)),
                **_severely_errored(service, length_km, figures, i),
                **{name: found[name] for name in SHOWN_BESIDE},
                **_outages(service, partial(figures.interval, i, OUTAGES)),
            }
        )
    # A column that is empty in every row has no type of its own.
    return table_of("service_objectives", rows).astype({"outages_met": "boolean"})


def _availability(
    service: Service, portion: Portion, length_km: float, lost_s: Callable[..., Interval]
) -> dict[str, object]:
    ratio, source = service.availability_objective, STATED
    if ratio is None:
        ratio, source = float(portion.availability(length_km)), AVAILABILITY_SOURCE
    allowed_min = float(unavailable_min_per_year(ratio))
    return {
        "availability_objective": ratio,
        "allowed_min_per_year": allowed_min,
        **_judged("availability", lost_s, allowed_min * 60.0),
        "availability_source": source,
    }


def _severely_errored(
    service: Service, length_km: float, figures: ServiceFigures, number: int
) -> dict[str, object]:
    ratio, source = service.severely_errored_ratio_objective, STATED
    if ratio is None:
        long_haul = service.grade == "long haul"
        ratio = float(severely_errored_objective(length_km, long_haul=long_haul))
        source = SEVERELY_ERRORED_SOURCE
    severe_s = partial(figures.interval, number, SEVERELY_ERRORED)
    lost_s = figures.interval(number, UNAVAILABLE).best
    row: dict[str, object] = {
        "severely_errored_ratio_objective": ratio,
        **_judged("severely_errored", severe_s, ratio * (SECONDS_PER_YEAR - lost_s)),
        "severely_errored_source": source,
    }
    put_interval(row, "severely_errored_ratio", severely_errored_ratio(severe_s(), lost_s))
    return row


def _outages(service: Service, outages: Callable[..., Interval]) -> dict[str, object]:
    allowed = service.outages_per_year_objective
    judged: dict[str, object] = {"outages_met": None, "outages_met_confidence": np.nan}
    if allowed is not None:
        judged = _judged("outages", outages, allowed)
    return {
        "outages_per_year_objective": np.nan if allowed is None else allowed,
        **judged,
        "outages_source": "" if allowed is None else STATED,
    }


def _judged(name: str, per_year: Callable[..., Interval], allowed: float) -> dict[str, object]:
    """Whether a figure keeps what is allowed, and how surely the long-run mean does."""
    return {
        f"{name}_met": bool(per_year().best <= allowed),
        f"{name}_met_confidence": met_confidence(lambda level: per_year(level=level), allowed),
    }
