"""The first answer in sentences: the worst service, how many are good enough, what takes the time."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.wording.palette import cause_group
from hopyears.sim.wording.wording import (
    FIRST_ANSWER_LEVEL,
    MEETS,
    MISSES,
    OPEN,
    PER_CENT,
    given,
    interval,
    level_name,
    number,
    per_cent,
    plural,
    records,
    service_availability,
    verdict,
    verdict_counts,
)

WEAK_SPOTS_NAMED = 3
"""Services that miss the level of the first answer are named up to so many, the worst first."""


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


def judged(tables: Mapping[str, pd.DataFrame]) -> tuple[str, pd.DataFrame, pd.DataFrame]:
    """What a run's first answer is about, and its figures and causes: services, or hops where it has none."""
    noun = "service" if len(tables["services"]) else "hop"
    return noun, tables[f"{noun}s"], tables[f"{noun}_causes"]


def first_answer(
    services: pd.DataFrame, causes: pd.DataFrame, years: float, *, noun: str = "service"
) -> list[str]:
    """The first sentences a reader wants: the worst service, how many are good enough, what takes the time.

    Parameters
    ----------
    services, causes : DataFrame
        Tables ``services`` and ``service_causes``, or ``hops`` and ``hop_causes``.
    years : float
        Years simulated.
    noun : str
        ``service`` or ``hop``: what the tables are about, and the name of their first column.
    """
    alone = ["The network file has no services, so each hop is judged by itself."] if noun == "hop" else []
    if services.empty:
        return alone
    worst = services.sort_values("unavailable_min_per_year", ascending=False, kind="stable").iloc[0]
    if not worst["unavailable_min_per_year"] > 0.0:
        return [
            f"No unavailable time was seen on any of {plural(len(services), noun)} in "
            f"{given(years)} simulated years; every figure below is an upper bound.",
            _count_sentence(services, noun),
            *alone,
        ]
    sentences = [_worst_sentence(worst, causes, noun), _count_sentence(services, noun), *alone]
    sentences += _missing_sentence(services, causes, noun)
    overall = shares_by_group(causes)
    if overall and len(services) > 1:
        sentences.append(f"Over all {noun}s, unavailable time comes from {listed(overall)}.")
    quiet = int((services["unavailable_min_per_year"] == 0.0).sum())
    if quiet:
        bound = "its figure is an upper bound" if quiet == 1 else "their figures are upper bounds"
        sentences.append(f"On {plural(quiet, noun)} nothing was seen in {given(years)} years, so {bound}.")
    return sentences + _below_sentences(services, noun)


def _below_sentences(services: pd.DataFrame, noun: str) -> list[str]:
    """How long services that are not down get less than their committed rate; nothing where none does."""
    name = "below_committed_min_per_year"
    if name not in services or not (services[name] > 0.0).any():
        return []
    most = services.sort_values(name, ascending=False, kind="stable").iloc[0]
    n = int((services[name] > 0.0).sum())
    count = f"{plural(n, noun)} {'gets' if n == 1 else 'get'}"
    return [
        f"Beside that, though not down, {count} less than the committed rate at times, {most[noun]} "
        f"longest: {number(float(most[name]))} minutes a year."
    ]


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


def _worst_sentence(worst: "pd.Series[Any]", causes: pd.DataFrame, noun: str) -> str:
    row = {str(name): value for name, value in worst.items()}
    value, low, high = interval(row, "unavailable_min_per_year")
    margin = f" (95{PER_CENT} interval {number(low)} to {number(high)})" if math.isfinite(low) else ""
    reasons = shares_by_group(causes[causes[noun] == row[noun]])
    because = f", from {listed(reasons)}" if reasons else ""
    return (
        f"The worst {noun} is {row[noun]}: {number(value)} unavailable minutes a year{margin}, "
        f"an availability of {service_availability(row)}{because}."
    )


def _missing_sentence(services: pd.DataFrame, causes: pd.DataFrame, noun: str) -> list[str]:
    """The weak spots: the worst few that miss the level, each with its main cause; empty below two."""
    table = services.sort_values("unavailable_min_per_year", ascending=False, kind="stable")
    missing = [str(row[noun]) for row in records(table) if verdict(row, FIRST_ANSWER_LEVEL) == MISSES]
    if len(missing) < 2:
        return []
    named = [(name, shares_by_group(causes[causes[noun] == name])) for name in missing[:WEAK_SPOTS_NAMED]]
    words = [f"{name} ({shares[0][0]} {per_cent(shares[0][1])})" for name, shares in named if shares]
    if len(missing) > WEAK_SPOTS_NAMED:
        return [f"The weakest spots, with what takes most of their time: {', '.join(words)}."]
    return [f"The weak spots, with what takes most of their time: {', '.join(words[:-1])} and {words[-1]}."]


def _count_sentence(services: pd.DataFrame, noun: str) -> str:
    level = FIRST_ANSWER_LEVEL
    count = verdict_counts(services, level)
    allowed = number((1.0 - level) * MINUTES_PER_YEAR)
    met, missed = count[MEETS], count[MISSES]
    text = (
        f"{met} of {plural(len(services), noun)} {'meets' if 1 in (met, len(services)) else 'meet'} "
        f"{level_name(level)} ({allowed} minutes a year) with the whole interval, "
        f"{missed} {'misses' if missed == 1 else 'miss'} it"
    )
    if count[OPEN]:
        text += f", and for {count[OPEN]} the simulated years cannot tell"
    return text + "."
