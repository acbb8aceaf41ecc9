"""Cells of the table of promises: what is asked, whether it is kept, and the figure in the unit asked for."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.runs.promise import (
    ALL_TERMS,
    NO,
    OPEN,
    PLAIN,
    YES,
    PromisedPenalty,
    class_of,
    next_class,
    years_wanted,
)
from hopyears.sim.runs.promise_terms import AVAILABILITY, MINUTES, OUTAGES, PromiseTerms
from hopyears.sim.studies.targets import HOP, SITE
from hopyears.sim.wording.wording import (
    LEVELS,
    NO_FIGURE,
    Cell,
    availability,
    chance,
    figure_and_ends,
    given,
    level_name,
    number,
    per_cent,
    plural,
    records,
)


@dataclass(frozen=True)
class Promised:
    """All that ``hopyears promise`` tells.

    Attributes
    ----------
    table : DataFrame
        Table ``promise``, with the names that readers see.
    terms : PromiseTerms
    years : int
        Simulated.
    penalties : sequence of rows of cells
        Under ``PENALTY_HEADS``; empty without penalties.
    currency : str
        Of the penalties.
    levers : DataFrame or None
        Table ``levers``, where it was asked for.
    note : str
        Which weather is meant.
    """

    table: pd.DataFrame
    terms: PromiseTerms
    years: int
    penalties: Sequence[Sequence[str | Cell]]
    currency: str
    levers: pd.DataFrame | None
    note: str


TOO_FEW = "?"
"""Where the simulated years are too few to promise anything."""

HEADS = ("contract", "asked", "kept", "broken", "can be promised", "mean", "worst seen", "services")
"""The most important first: a narrow terminal shows no more."""


def promise_rows(table: pd.DataFrame) -> list[list[str | Cell]]:
    """Cells under ``HEADS`` of the table ``promise``, with a mark where some rest on the years alone."""
    rows = records(table)
    marked = len({row["rests_on"] == PLAIN for row in rows}) > 1
    return [_cells(row, " *" if marked and row["rests_on"] == PLAIN else "") for row in rows]


def _cells(row: Mapping[str, Any], mark: str) -> list[str | Cell]:
    name, services = str(row["contract"]), str(row["services"])
    cells: list[str | Cell] = [name, _asked(row)]
    if not row["kept"]:
        cells += [NO_FIGURE, NO_FIGURE]
    else:
        cells += [str(row["kept"]), chance(row, "contract_break_chance")]
    others = "" if name == services else services
    if row["figure"] == ALL_TERMS:
        return [*cells, NO_FIGURE, NO_FIGURE, NO_FIGURE, others]
    figures = [figure(row, "can_be_promised") + mark, figure(row, "mean") + mark, figure(row, "worst")]
    return [*cells, *figures, others]


def figure(row: Mapping[str, Any], name: str) -> str:
    """A figure of a row in the unit of its term."""
    value = float(row[name])
    if not math.isfinite(value):
        return TOO_FEW
    if row["figure"] == AVAILABILITY:
        return availability(1.0 - value) if value < 1.0 else "no outage"
    if row["figure"] == MINUTES:
        return f"{number(value)} min"
    if row["figure"] == OUTAGES:
        return (
            plural(math.floor(value + 1e-6), "outage")
            if name == "can_be_promised"
            else f"{number(value)} outages"
        )
    return f"{given(value)} Mbit/s"


def _asked(row: Mapping[str, Any]) -> str:
    """``99.95 % of each month of 3 years``; the plain unit without a contract."""
    years = int(row["contract_years"])
    each = f"each {row['period']}" if years > 1 or row["period"] == "month" else "the year"
    when = f"{each} of {plural(years, 'year')}" if years > 1 else each
    if row["figure"] == ALL_TERMS:
        return f"{ALL_TERMS}, {when}"
    value = float(row["asked"])
    if not math.isfinite(value):
        return "nothing" if when == "the year" else f"nothing, {when}"
    if row["figure"] == AVAILABILITY:
        return f"{level_name(value)} of {when}"
    if row["figure"] == MINUTES:
        return f"at most {given(value)} min in {when}"
    if row["figure"] == OUTAGES:
        return f"at most {given(value)} outages in {when}"
    return f"at least {given(value)} Mbit/s in {when}"


WORST_NAMED = 3
"""Contracts that are not kept, or open, are named up to so many."""


def whole_contracts(table: pd.DataFrame) -> pd.DataFrame:
    """Of the table ``promise`` one row a contract: that of all its terms where it has several."""
    return table.groupby("contract", sort=False).tail(1)


def promise_answer(table: pd.DataFrame) -> list[str]:
    """What can be promised in a few sentences: contracts that are kept or not, and services without one."""
    whole = whole_contracts(table)
    asked, free = whole[whole["kept"] != ""], whole[whole["kept"] == ""]
    return [*_kept_sentences(table, asked), *_class_sentences(free)]


def _kept_sentences(table: pd.DataFrame, asked: pd.DataFrame) -> list[str]:
    if asked.empty:
        return []
    counts = [int((asked["kept"] == verdict).sum()) for verdict in (YES, NO, OPEN)]
    verb = "is" if 1 in (counts[0], len(asked)) else "are"
    text = f"{counts[0]} of {plural(len(asked), 'contract')} {verb} kept"
    if counts[1]:
        text += f", {counts[1]} {'is' if counts[1] == 1 else 'are'} not"
    if counts[2]:
        text += f"; for {counts[2]} the simulated years cannot tell"
    found = [f"{text}."]
    for verdict, words in ((NO, "Not kept"), (OPEN, "Open")):
        named = [_shortfall(table, name) for name in asked[asked["kept"] == verdict]["contract"]]
        if named:
            more = f"; and {len(named) - WORST_NAMED} more" if len(named) > WORST_NAMED else ""
            found.append(f"{words}: {'; '.join(named[:WORST_NAMED])}{more}.")
    return found


def _shortfall(table: pd.DataFrame, contract: str) -> str:
    """A contract with what it asks for and what could be promised, of its term that is broken most."""
    own = table[(table["contract"] == contract) & (table["figure"] != ALL_TERMS)]
    (row,) = records(own.sort_values("contract_break_chance", ascending=False, kind="stable").head(1))
    could = figure(row, "can_be_promised")
    rest = "nothing can be promised from so few years" if could == TOO_FEW else f"{could} can be promised"
    return f"{contract} asks for {_asked(row)}, {rest}"


def _class_sentences(free: pd.DataFrame) -> list[str]:
    """For how many services without a contract each usual availability can be promised."""
    if free.empty:
        return []
    shares = [_lost_share(row) for row in records(free)]
    held = {level: sum(share <= 1.0 - level + 1e-12 for share in shares) for level in LEVELS[::-1]}
    words = [f"{level_name(level)} for {count}" for level, count in held.items() if count]
    n = plural(len(free), "service")
    if all(map(math.isnan, shares)):
        return [f"The simulated years are too few to promise anything of {n} without a contract."]
    if not words:
        return [f"Of {n} without a contract, {level_name(LEVELS[0])} of a year can be promised for none."]
    return [f"Of {n} without a contract, so many can be promised at least: {', '.join(words)}."]


def meaning(table: pd.DataFrame, terms: PromiseTerms) -> list[str]:
    """What a promise means, and what the marks in a table of promises say."""
    found = [
        f"What is promised, or kept, holds with a chance of {per_cent(terms.chance)}, at a confidence of "
        f"{per_cent(terms.confidence)}; so sure is each end in brackets. 'open': more years would tell."
    ]
    rows = records(table)
    plain = [row["rests_on"] == PLAIN for row in rows]
    if any(plain) and not all(plain):
        found.append("*: by the simulated years alone; the others by replications of failures too.")
    if any(row["figure"] != ALL_TERMS and figure(row, "can_be_promised") == TOO_FEW for row in rows):
        most = max(int(row["contract_years"]) for row in rows)
        wanted = years_wanted(terms.chance ** (1.0 / most), terms.confidence)
        found.append(
            f"'{TOO_FEW}': so few years promise nothing; a promise of {plural(most, 'year')} takes about "
            f"{wanted} simulated years or more. 'hopyears simulate --resume' adds years."
        )
    return found


PENALTY_HEADS = ("service", "expected", "what a year keeps within")


def penalty_cells(found: PromisedPenalty, labels: Mapping[str, str]) -> list[str | Cell]:
    """Cells under ``PENALTY_HEADS``."""
    mean = found.mean
    row = {"mean": mean.best, "mean_low": mean.low, "mean_high": mean.high}
    within = number(found.within) if math.isfinite(found.within) else TOO_FEW
    return [labels.get(found.service, found.service), figure_and_ends(row, "mean"), within]


LEVERS_SHOWN = 6
"""Rows of a contract: as it is, and what helps most."""

LEVER_NOTE = (
    "By simulated years alone. Sparing one of two things that fail at once saves nothing; of two that "
    "protect each other, either saves all."
)

LEVER_HEADS = ("kind", "what", "broken", "mean", "can be promised")


def lever_cells(own: pd.DataFrame) -> list[list[str | Cell]]:
    """Cells under ``LEVER_HEADS`` of the first rows of one contract in the table ``levers``."""
    return [
        [
            str(row["kind"]),
            str(row["target"]),
            NO_FIGURE if math.isnan(row["contract_break_chance"]) else chance(row, "contract_break_chance"),
            figure(row, "mean"),
            figure(row, "can_be_promised"),
        ]
        for row in records(own.head(LEVERS_SHOWN))
    ]


def lever_sentence(own: pd.DataFrame) -> str:
    """The weakest link, and what would have to change to promise one class of availability more."""
    rows = records(own)
    links = [row for row in rows if row["kind"] in (HOP, SITE)]
    text = f"The weakest link is {links[0]['kind']} {links[0]['target']}." if links else ""
    shares = [_lost_share(row) for row in rows]
    if math.isnan(shares[0]):
        return text
    wanted = next_class(class_of(shares[0]))
    if wanted is None:
        return text
    able = [
        f"{row['kind']} {row['target']}"
        for row, share in zip(rows[1:], shares[1:], strict=True)
        if share <= 1.0 - wanted
    ]
    if able:
        return f"{text} {level_name(wanted)} could be promised without outages by {', or '.join(able)}."
    return f"{text} {level_name(wanted)} could not be promised by sparing any one of these."


def _lost_share(row: Mapping[str, Any]) -> float:
    """Share of the time that is promised to be lost at most; not a number for other figures."""
    if row["figure"] == AVAILABILITY:
        return 1.0 - float(row["can_be_promised"])
    minutes = float(row["can_be_promised"]) if row["figure"] == MINUTES else math.nan
    return minutes / MINUTES_PER_YEAR if math.isfinite(minutes) else math.nan
