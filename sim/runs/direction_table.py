"""Availability in the words of G.826 and G.827, for each direction of a service and for both together."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from hopyears.models.basics.units import HOURS_PER_YEAR, SECONDS_PER_YEAR
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.figures import BACKWARD, FORWARD, per_block, put_availability, put_interval
from hopyears.sim.counting.result_tables import table_of
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.counting.tallies import Tally
from hopyears.sim.counting.tally_rows import BOTH
from hopyears.sim.rare.service_figures import ServiceFigures
from hopyears.sim.runs.summary_traffic import BELOW_COMMITTED, below_committed

WAYS = {"forward": FORWARD, "backward": BACKWARD, "both": BOTH}
"""Directions by name; ``both`` is lost when either is."""

_FIGURES = (
    "availability_ratio",
    "unavailable_min_per_year",
    "severely_errored_s_per_year",
    "outages_per_year",
    "mean_time_between_outages_h",
    "severely_errored_ratio",
)


def direction_table(prepared: Prepared, blocks: Sequence[Tally], figures: ServiceFigures) -> pd.DataFrame:
    """One row for each direction of each service, with 95 % intervals.

    Outages a year are the outage intensity; the mean time between outages is its
    inverse, from the start of one to the start of the next, infinite where none was seen. Severely errored
    and errored seconds are those in available time, the ratio is over available time. The mean time to
    restore is the mean length of an outage, not a number where none was seen. All but the errored seconds
    and the time below committed are the run's best figures (``sim.rare.service_figures``).

    References
    ----------
    ITU-T G.826 (12/2002), Annex A; ITU-T G.827 (09/2003), clause 6: from memory.
    """
    n, years = len(prepared.demands), blocks[0].years
    rows = []
    for name, way in WAYS.items():
        errored_s = per_block(blocks, "service_total", "errored_s", n, direction=way) / years
        below = below_committed(blocks, n, way)
        for number, demand in enumerate(prepared.demands):
            lost, severe, often = figures.intervals(number, way)
            minutes = lost.scaled(1.0 / 60.0)
            row: dict[str, object] = {
                "service": demand.id,
                "direction": name,
                "errored_s_per_year": float(errored_s[:, number].mean()),
                "mean_time_to_restore_s": lost.best / often.best if often.best else np.nan,
            }
            put_availability(row, "availability_ratio", minutes)
            put_interval(row, BELOW_COMMITTED, below[number])
            told = (minutes, severe, often, _between_h(often), severely_errored_ratio(severe, lost.best))
            for figure, interval in zip(_FIGURES[1:], told, strict=True):
                put_interval(row, figure, interval)
            rows.append((number, row))
    ordered = [row for _, row in sorted(rows, key=lambda pair: pair[0])]
    return table_of("service_directions", ordered)


def severely_errored_ratio(severe_s: Interval, unavailable_s: float) -> Interval:
    """Severely errored seconds over available time, from both a year; 0 where no time is available."""
    available_s = SECONDS_PER_YEAR - unavailable_s
    if not available_s > 0.0:
        return Interval(0.0, 0.0, 0.0)
    low, best, high = (each / available_s for each in (severe_s.low, severe_s.best, severe_s.high))
    return Interval(low, best, high, severe_s.level)


def _between_h(often: Interval) -> Interval:
    """Hours from outage to outage of an outage intensity a year."""
    low, best, high = (
        HOURS_PER_YEAR / each if each > 0.0 else np.inf for each in (often.high, often.best, often.low)
    )
    return Interval(low, best, high, often.level)
