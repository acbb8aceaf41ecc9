"""Figures that the tables of services and of hops have in common: outages with intervals, shares of time."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.counting.statistics import Interval, mean_interval
from hopyears.sim.counting.tallies import Tally
from hopyears.sim.counting.tally_rows import BOTH

SHARES = {"99": 0.99, "99_9": 0.999, "99_99": 0.9999, "99_999": 0.99999}
"""Shares of time for which a rate is exceeded, by the ending of the column."""

UNSEEN_OUTAGE_S = 4 * 3600.0
"""Length assumed of an outage where none was seen, for the upper bound (common practice, no source: the
time to restore an attended site)."""

UNSEEN_SEVERELY_ERRORED_S = 10.0
"""Severely errored seconds assumed likewise: ten in a row would be unavailable time."""

UNSEEN_OUTAGES = 1.0
"""Outages assumed likewise: where there is less than one in ten years, they come in groups of 1.1 on the
average, in rain as in multipath (our own, seen in long runs of the demo; the largest mean was 1.9)."""

FORWARD, BACKWARD = 0, 1


def per_block(blocks: Sequence[Tally], table: str, value: str, n: int, **fixed: int) -> NDArray[np.float64]:
    """One value of every entity in every block, shape (n_blocks, n_entities)."""
    return np.array([tally.tables[table].spread(value, (n,), **fixed) for tally in blocks])


def put_interval(row: dict[str, object], name: str, interval: Interval) -> None:
    """Write a figure and its limits into the columns ``name``, ``name_low`` and ``name_high``."""
    row[name], row[f"{name}_low"], row[f"{name}_high"] = interval.best, interval.low, interval.high


def put_availability(row: dict[str, object], name: str, minutes_per_year: Interval) -> None:
    """Write the share of time available, with its limits, that unavailable minutes a year leave."""
    lost = (minutes_per_year.high, minutes_per_year.best, minutes_per_year.low)
    low, best, high = (1.0 - each / MINUTES_PER_YEAR for each in lost)
    put_interval(row, name, Interval(max(low, 0.0), best, high, minutes_per_year.level))


def outage_columns(blocks: Sequence[Tally], total: Tally, kind: str, n: int) -> list[dict[str, object]]:
    """Unavailability, severely errored seconds and outages of each entity, both ways together."""
    table, years = f"{kind}_total", blocks[0].years
    seconds = per_block(blocks, table, "unavailable_s", n, direction=BOTH)
    severe = per_block(blocks, table, "severely_errored_s", n, direction=BOTH)
    counts = per_block(blocks, table, "outages", n, direction=BOTH)
    outages = counts.sum(axis=0)
    longest = _largest(total, table, n)
    summed = seconds.sum(axis=0)
    rows: list[dict[str, object]] = []
    for i in range(n):
        row: dict[str, object] = {}
        minutes = mean_interval(seconds[:, i] / 60.0 / years, largest_unseen=UNSEEN_OUTAGE_S / 60.0 / years)
        put_interval(row, "unavailable_min_per_year", minutes)
        put_availability(row, "availability", minutes)
        errored = mean_interval(severe[:, i] / years, largest_unseen=UNSEEN_SEVERELY_ERRORED_S / years)
        put_interval(row, "severely_errored_s_per_year", errored)
        # Outages gather in storms, so blocks are the independent units, not outages.
        often = mean_interval(counts[:, i] / years, largest_unseen=UNSEEN_OUTAGES / years)
        put_interval(row, "outages_per_year", often)
        row["mean_outage_s"] = float(summed[i] / outages[i]) if outages[i] else 0.0
        row["longest_outage_s"] = float(longest[i])
        rows.append(row)
    return rows


def _largest(total: Tally, table: str, n: int) -> NDArray[np.float64]:
    return total.tables[table].spread("longest_outage_s", (n,), direction=BOTH)


def exceeded_rate(rates: NDArray[np.float64], at_least: NDArray[np.float64], share: float) -> float:
    """Largest rate that is had for at least a share of the time."""
    return float(rates[np.searchsorted(at_least, share - 1e-12)])
