"""Figures that the tables of services and of hops have in common: outages with intervals, shares of time."""

from collections.abc import Sequence

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.counting.tallies import Tally
from hopyears.sim.counting.tally_rows import BOTH

SHARES = {"99": 0.99, "99_9": 0.999, "99_99": 0.9999, "99_999": 0.99999}
"""Shares of time for which a rate is exceeded, by the ending of the column."""

UNSEEN_OUTAGE_S = 4 * 3600.0
"""Length assumed of an outage where none was seen, for the upper bound (common practice, no source: the
time to restore an attended site). Of services the network's own laws tell (``sim.rare.service_figures``)."""

UNSEEN_SEVERELY_ERRORED_S = 10.0
"""Severely errored seconds assumed likewise: ten in a row would be unavailable time."""

UNSEEN_OUTAGES = 1.0
"""Outages assumed likewise: where there is less than one in ten years, they come in groups of 1.1 on the
average, in rain as in multipath (our own, seen in long runs of the demo; the largest mean was 1.9)."""

FORWARD, BACKWARD = 0, 1


def per_block(blocks: Sequence[Tally], table: str, value: str, n: int, **fixed: int) -> Floats:
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


def block_figures(blocks: Sequence[Tally], kind: str, n: int) -> tuple[Floats, Floats, Floats]:
    """Unavailable and severely errored seconds and outages a year, both ways, each (n_blocks, n_entities)."""
    found = [
        per_block(blocks, f"{kind}_total", value, n, direction=BOTH) / blocks[0].years
        for value in ("unavailable_s", "severely_errored_s", "outages")
    ]
    return found[0], found[1], found[2]


def outage_columns(intervals: Sequence[Interval], longest_s: float) -> dict[str, object]:
    """Unavailability, severely errored seconds and outages of a service or hop, both ways together.

    Parameters
    ----------
    intervals : sequence of three Interval
        Unavailable seconds, severely errored seconds and outages a year.
    longest_s : float
        Longest outage seen [s].
    """
    lost, severe, outages = intervals
    row: dict[str, object] = {}
    minutes = lost.scaled(1.0 / 60.0)
    put_interval(row, "unavailable_min_per_year", minutes)
    put_availability(row, "availability", minutes)
    put_interval(row, "severely_errored_s_per_year", severe)
    put_interval(row, "outages_per_year", outages)
    row["mean_outage_s"] = lost.best / outages.best if outages.best else 0.0
    row["longest_outage_s"] = longest_s
    return row


def longest_outages_s(total: Tally, kind: str, n: int) -> Floats:
    """Longest outage seen of each entity, both ways together [s], shape (n,)."""
    return total.tables[f"{kind}_total"].spread("longest_outage_s", (n,), direction=BOTH)


def exceeded_rate(rates: Floats, at_least: Floats, share: float) -> float:
    """Largest rate that is had for at least a share of the time."""
    return float(rates[np.searchsorted(at_least, share - 1e-12)])
