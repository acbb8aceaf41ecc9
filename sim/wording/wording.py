"""Figures in words: minutes with their interval, differences, availabilities, chances, durations, causes.

Terminal and page take them from here, so that both tell the same.

A figure of which nothing was seen is an upper bound and is written "at most"; an availability is never
written as 100 %.
"""

import math
from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.runs.results import worst_causes

NO_FIGURE = "–"
"""Where a figure does not exist, for instance the mean length of outages that never came."""

PER_CENT = "\N{NO-BREAK SPACE}%"
"""Never parted from its number at the end of a line."""

LEVELS = (0.999, 0.9999, 0.99999)
"""Availabilities against which services are counted."""

FIRST_ANSWER_LEVEL = 0.9999
"""Availability of which the first answer speaks."""

MEETS, MISSES, OPEN = "yes", "no", "open"
"""A service meets a level with its whole interval, misses it with its whole interval, or neither."""

_ALMOST = 1.0 - 1e-9
"""No limit of a chance is certainty."""

Row = Mapping[str, Any]

Cell = tuple[str, str]
"""A figure, and what belongs to it: its interval, or nothing."""


def records(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows of a table as mappings of column to value."""
    return [{str(name): value for name, value in row.items()} for row in table.to_dict("records")]


def number(value: float) -> str:
    """Three figures, or whole numbers from 100 on: ``0.0123``, ``4.56``, ``12.3``, ``1,234``."""
    if value is None or not math.isfinite(value):
        return NO_FIGURE
    if value == 0.0:
        return "0"
    if abs(value) >= 99.95:
        return f"{value:,.0f}"
    digits = max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{value:.{min(digits, 5)}f}" if abs(value) >= 5e-5 else f"{value:.1e}"


def given(value: float) -> str:
    """A number as people give it, without zeros at its end: ``40``, ``7.5``, ``1,418``."""
    return f"{value:,.4g}" if abs(value) < 1000.0 else f"{value:,.0f}"


def bounded(row: Row, name: str) -> str:
    """A figure with its interval: ``12.3 (9.8 to 15.1)``, or ``at most 0.42`` where nothing was seen.

    Parameters
    ----------
    row : mapping
        Has ``name`` and, for an interval, ``name_low`` and ``name_high``.
    name : str
        Column of the figure.
    """
    return joined(figure_and_ends(row, name))


def joined(cell: Cell) -> str:
    """Both parts of a cell in one line."""
    figure, ends = cell
    return f"{figure} ({ends})" if ends else figure


def figure_and_ends(row: Row, name: str, text: Callable[[float], str] = number) -> Cell:
    """The two parts of ``bounded``; the second is empty for a bound or where there is no interval."""
    value, low, high = interval(row, name)
    if value == 0.0 and high > 0.0:
        return (f"at most {text(high)}" if math.isfinite(high) else "none seen"), ""
    if math.isnan(low):
        return text(value), ""
    if not math.isfinite(value):
        return f"at least {text(low)}", ""
    return text(value), f"{text(low)} to {text(high)}" if math.isfinite(high) else f"at least {text(low)}"


def interval(row: Row, name: str) -> tuple[float, float, float]:
    """Figure, lower and upper end; the ends are NaN where the table has none."""
    ends = (float(row.get(f"{name}_{end}", math.nan)) for end in ("low", "high"))
    return (float(row[name]), *ends)  # type: ignore[return-value]


def signed(value: float, *, decimals: int = 5) -> str:
    """A difference with its sign: ``+1.20``, ``-12.3``; ``0`` where no decimal shows any."""
    if not math.isfinite(value):
        return NO_FIGURE
    digits = 2 - math.floor(math.log10(abs(value))) if value else 0
    text = f"{value:+,.{min(max(digits, 0), decimals)}f}"
    return text if text.strip("+-0.,") else "0"


def difference(row: Row, name: str, *, decimals: int = 5) -> Cell:
    """A difference with its sign, and its interval; without one where it never differed."""
    value, low, high = interval(row, name)
    if low == high or not (math.isfinite(low) or math.isfinite(high)):
        return signed(value, decimals=decimals), ""
    return signed(value, decimals=decimals), (
        f"{signed(low, decimals=decimals)} to {signed(high, decimals=decimals)}"
    )


def chance(row: Row, name: str) -> Cell:
    """A chance with its interval; of which every year, or none, was an instance, it is a bound."""
    value, low, high = interval(row, name)
    if value <= 0.0:
        return (f"at most {per_cent(high)}" if high >= 0.001 else per_cent(high)), ""
    if value >= 1.0:
        return f"at least {per_cent(low)}", ""
    return per_cent(value), f"{per_cent(low)} to {per_cent(min(high, _ALMOST))}"


def availability(unavailable_share: float, *, bound: bool = False) -> str:
    """Share of time available in per cent, with two figures of what lacks to 100: ``99.9962 %``.

    Parameters
    ----------
    unavailable_share : float
        0 to 1.
    bound : bool
        The share is an upper bound: it is rounded up, and ``at least`` stands before it.
    """
    if not math.isfinite(unavailable_share):
        return NO_FIGURE
    if unavailable_share <= 0.0:
        return NO_FIGURE if bound else "no outage seen"
    percent = 100.0 * unavailable_share
    digits = max(3, 1 - math.floor(math.log10(percent)))
    scale = 10.0**digits
    kept = math.ceil(percent * scale - 1e-9) if bound else round(percent * scale)
    text = f"{100.0 - kept / scale:.{digits}f}{PER_CENT}"
    return f"at least {text}" if bound else text


def service_availability(row: Row) -> str:
    """Availability of a row with ``unavailable_min_per_year`` and its interval."""
    value, _, high = interval(row, "unavailable_min_per_year")
    nothing_seen = value == 0.0
    return availability((high if nothing_seen else value) / MINUTES_PER_YEAR, bound=nothing_seen)


def duration(seconds: float) -> str:
    """Length of time in the unit that suits it: ``42 s``, ``12.5 min``, ``4.1 h``, ``3.2 days``."""
    if seconds is None or not math.isfinite(seconds) or seconds <= 0.0:
        return NO_FIGURE
    for limit, unit, length in ((120.0, "s", 1.0), (7200.0, "min", 60.0), (172_800.0, "h", 3600.0)):
        if seconds < limit:
            return f"{number(seconds / length)} {unit}"
    return f"{number(seconds / 86_400.0)} days"


def span(seconds: float) -> str:
    """Length of one thing that was seen: ``45 s``, ``12 min 5 s``, ``3 h 20 min``, ``2 d 4 h``."""
    whole = round(seconds)
    for unit, size, smaller, part in (("d", 86_400, "h", 3600), ("h", 3600, "min", 60), ("min", 60, "s", 1)):
        if whole >= size:
            rest = whole % size // part
            return f"{whole // size} {unit}" + (f" {rest} {smaller}" if rest else "")
    return f"{whole} s"


def time_share(share: float) -> str:
    """A share of all time, never rounded to none or all of it: ``99.9962 %``, ``0.0123 %``."""
    if share <= 0.0:
        return NO_FIGURE
    if share >= 1.0:
        return "all seen"
    return f"{number(100.0 * share)}{PER_CENT}" if share < 0.9 else availability(1.0 - share)


def main_causes(causes: pd.DataFrame, name: str) -> str:
    """The causes with most of a figure and their shares of it: ``rain 61 %, power 20 %``."""
    found = [f"{cause} {per_cent(share)}" for cause, share in worst_causes(causes, name, least_share=0.01)]
    return ", ".join(found) or NO_FIGURE


def per_cent(share: float) -> str:
    """A share of a whole, never rounded to none or all: ``61 %``, ``0.4 %``, ``over 99.9 %``."""
    if not math.isfinite(share):
        return NO_FIGURE
    if 0.0 < share < 0.001:
        return f"under 0.1{PER_CENT}"
    if 0.999 < share < 1.0:
        return f"over 99.9{PER_CENT}"
    digits = 1 if 0.0 < share < 0.01 or 0.99 < share < 1.0 else 0
    return f"{100.0 * share:.{digits}f}{PER_CENT}"


def confidence(share: float) -> str:
    """How sure something is, never rounded to certainty: ``97.7 %``, ``over 99.9 %``, ``under 0.1 %``."""
    if share > 0.999:
        return f"over 99.9{PER_CENT}"
    return f"under 0.1{PER_CENT}" if share < 0.001 else f"{100.0 * share:.3g}{PER_CENT}"


def level_name(level: float) -> str:
    """An availability level as people write it: ``99.99 %``."""
    return f"{100.0 * level:.10g}{PER_CENT}"


def verdict(row: Row, level: float) -> str:
    """``MEETS`` or ``MISSES`` a level with the whole 95 % interval, else ``OPEN``."""
    value, low, high = interval(row, "unavailable_min_per_year")
    allowed_min = (1.0 - level) * MINUTES_PER_YEAR
    low, high = (low if math.isfinite(low) else value), (high if math.isfinite(high) else value)
    if high <= allowed_min:
        return MEETS
    return MISSES if low > allowed_min else OPEN


def verdict_counts(services: pd.DataFrame, level: float) -> dict[str, int]:
    """How many services meet a level, miss it, or stay open."""
    found = [verdict(row, level) for row in records(services)]
    return {each: found.count(each) for each in (MEETS, MISSES, OPEN)}


def plural(count: int, noun: str) -> str:
    """``1 service``, ``3 services``."""
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"
