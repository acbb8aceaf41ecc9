"""Figures in words: minutes with their interval, availabilities, durations, and the first answer.

A figure of which nothing was seen is an upper bound and is written "at most"; an availability is never
written as 100 %.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.wording.palette import cause_group

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

Row = Mapping[str, Any]


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
    figure, ends = figure_and_ends(row, name)
    return f"{figure} ({ends})" if ends else figure


def figure_and_ends(row: Row, name: str) -> tuple[str, str]:
    """The two parts of ``bounded``; the second is empty for a bound or where there is no interval."""
    value, low, high = interval(row, name)
    if value == 0.0 and high > 0.0:
        return f"at most {number(high)}", ""
    if not (math.isfinite(low) and math.isfinite(high)):
        return number(value), ""
    return number(value), f"{number(low)} to {number(high)}"


def interval(row: Row, name: str) -> tuple[float, float, float]:
    """Figure, lower and upper end; the ends are NaN where the table has none."""
    ends = (float(row.get(f"{name}_{end}", math.nan)) for end in ("low", "high"))
    return (float(row[name]), *ends)  # type: ignore[return-value]


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


def per_cent(share: float) -> str:
    """A share of a whole: ``61 %``, ``0.4 %``, ``under 0.1 %``."""
    if not math.isfinite(share):
        return NO_FIGURE
    if 0.0 < share < 0.001:
        return f"under 0.1{PER_CENT}"
    digits = 0 if share >= 0.01 or share == 0.0 else 1
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


def shares_by_group(causes: pd.DataFrame) -> list[tuple[str, float]]:
    """Groups of causes with their share of all unavailable minutes in a table, largest first."""
    minutes = (
        causes["unavailable_min_per_year"].groupby([cause_group(c).label for c in causes["cause"]]).sum()
    )
    total = float(minutes.sum())
    if not total > 0.0:
        return []
    ordered = minutes.sort_values(ascending=False, kind="stable")
    return [(str(label), float(value) / total) for label, value in ordered.items() if value > 0.0]


def listed(shares: Sequence[tuple[str, float]], *, most: int = 3) -> str:
    """``rain (61 %), power (20 %) and outdoor equipment (9 %)``."""
    words = [f"{label} ({per_cent(share)})" for label, share in shares[:most]]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def plural(count: int, noun: str) -> str:
    """``1 service``, ``3 services``."""
    return f"{count:,} {noun}" if count == 1 else f"{count:,} {noun}s"


def first_answer(services: pd.DataFrame, causes: pd.DataFrame, years: float) -> list[str]:
    """The first sentences a reader wants: the worst service, how many are good enough, what takes the time.

    Parameters
    ----------
    services, causes : DataFrame
        Tables ``services`` and ``service_causes``.
    years : float
        Years simulated.
    """
    if services.empty:
        return ["The network file has no services, so only its hops are judged, one by one, below."]
    worst = services.sort_values("unavailable_min_per_year", ascending=False, kind="stable").iloc[0]
    if not worst["unavailable_min_per_year"] > 0.0:
        return [
            f"No unavailable time was seen on any of {plural(len(services), 'service')} in "
            f"{given(years)} simulated years; every figure below is an upper bound.",
            _count_sentence(services),
        ]
    sentences = [_worst_sentence(worst, causes), _count_sentence(services)]
    overall = shares_by_group(causes)
    if overall:
        sentences.append(f"Over all services, unavailable time comes from {listed(overall)}.")
    quiet = int((services["unavailable_min_per_year"] == 0.0).sum())
    if quiet:
        bound = "its figure is an upper bound" if quiet == 1 else "their figures are upper bounds"
        sentences.append(
            f"On {plural(quiet, 'service')} nothing was seen in {given(years)} years, so {bound}."
        )
    return sentences


def textbook_sentence(services: pd.DataFrame) -> str:
    """Where the textbook sums lie against the simulated intervals; empty without services."""
    rows = [
        (row["textbook_min_per_year"], *interval(row, "unavailable_min_per_year"))
        for row in records(services)
    ]
    rows = [row for row in rows if all(map(math.isfinite, row))]
    if not rows:
        return ""
    below = sum(textbook < low for textbook, _, low, _ in rows)
    above = sum(textbook > high for textbook, _, _, high in rows)
    within = len(rows) - below - above
    return (
        f"The textbook sum lies within the simulated 95{PER_CENT} interval for {within} of "
        f"{plural(len(rows), 'service')}, below it for {below} and above it for {above}."
    )


def _worst_sentence(worst: "pd.Series[Any]", causes: pd.DataFrame) -> str:
    row = {str(name): value for name, value in worst.items()}
    value, low, high = interval(row, "unavailable_min_per_year")
    margin = f" (95{PER_CENT} interval {number(low)} to {number(high)})" if math.isfinite(low) else ""
    reasons = shares_by_group(causes[causes["service"] == row["service"]])
    because = f", from {listed(reasons)}" if reasons else ""
    return (
        f"The worst service is {row['service']}: {number(value)} unavailable minutes a year{margin}, "
        f"an availability of {service_availability(row)}{because}."
    )


def _count_sentence(services: pd.DataFrame) -> str:
    level = FIRST_ANSWER_LEVEL
    count = verdict_counts(services, level)
    allowed = number((1.0 - level) * MINUTES_PER_YEAR)
    text = (
        f"{count[MEETS]} of {plural(len(services), 'service')} "
        f"{'meets' if count[MEETS] == 1 else 'meet'} {level_name(level)} ({allowed} minutes a year) with the "
        f"whole interval, {count[MISSES]} {'misses' if count[MISSES] == 1 else 'miss'} it"
    )
    if count[OPEN]:
        text += f", and for {count[OPEN]} the simulated years cannot tell"
    return text + "."
