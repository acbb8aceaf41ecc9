"""The page of promises: which contracts are kept, and what can be promised of every service."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.report import choice_figures
from hopyears.sim.report.drawing import inline_svg, look, new_axes
from hopyears.sim.report.illustrations import MOST_ROWS, height_in
from hopyears.sim.report.scales import figure_of
from hopyears.sim.report.study_page import Section, TableOfPage, page_cells, study_page
from hopyears.sim.runs.promise import NO, OPEN, YES
from hopyears.sim.runs.promise_terms import AVAILABILITY, MINUTES
from hopyears.sim.wording import promises as words
from hopyears.sim.wording.promises import Promised
from hopyears.sim.wording.wording import plural

ORDER = {NO: 0, OPEN: 1, YES: 2, "": 3}
"""What is not kept comes first."""


def promise_page(found: Promised, manifest: Mapping[str, Any]) -> str:
    """The page as HTML text; ``manifest`` is that of the run."""
    ordered = found.table.assign(order=_places(found.table)).sort_values("order", kind="stable")
    whole = words.whole_contracts(ordered)
    asked = whole[whole["kept"] != ""]
    with look():
        sections = [_what_can_be(ordered, found)]
        if len(asked):
            sections.append(_how_likely_broken(asked, found))
    sections += _penalties(found) + _levers(found)
    answer = [*words.promise_answer(found.table), *words.meaning(found.table, found.terms), found.note]
    title = f"{manifest.get('title') or 'untitled network'}: what can be promised"
    run = {**manifest, "years": found.years}
    return study_page(title, "Contracts and promises", run, answer, sections, first=_first(ordered))


def _places(table: pd.DataFrame) -> list[int]:
    """Order of the rows: contracts that are not kept first, those without one last."""
    kept = words.whole_contracts(table).set_index("contract")["kept"]
    return [ORDER[kept[name]] for name in table["contract"]]


def _first(table: pd.DataFrame) -> TableOfPage:
    """Each term at a glance."""
    cells = {name: words.HEADS.index(name) for name in ("asked", "kept", "can be promised")}
    rows = []
    for every in map(page_cells, words.promise_rows(table)):
        rows.append((every[0][0], [every[place] for place in cells.values()]))
    heads = (("Contract", "or service"), ("Asked", ""), ("Kept", ""), ("Can be promised", ""))
    caption = "What is asked, and what can be promised"
    return TableOfPage("At a glance", caption, heads, rows, texts=("Asked",), verdicts=("Kept",))


def _what_can_be(table: pd.DataFrame, found: Promised) -> Section:
    cells = [page_cells(row) for row in words.promise_rows(table)]
    shown = words.HEADS if any(row[-1][0] for row in cells) else words.HEADS[:-1]
    rows = [(row[0][0], row[1 : len(shown)]) for row in cells]
    units = {"broken": "chance", "worst seen": "of a year or month", "mean": "of a year or month"}
    heads = [(name.capitalize(), units.get(name, "")) for name in shown]
    caption = (
        f"By {plural(found.years, 'simulated year')}, each figure in the unit that was asked; "
        "contracts that are not kept come first."
    )
    every = TableOfPage(
        "Table: promises", caption, heads, rows, texts=("Asked", "Services"), verdicts=("Kept",)
    )
    shares = _shares(table)
    if shares.empty:
        return Section("What can be promised", (), "", "", (every,))
    drawn = shares.head(MOST_ROWS)
    (axes,) = new_axes(height_in(len(drawn)), head_in=0.35)
    choice_figures.promised_shares(drawn, axes)
    picture = inline_svg(
        figure_of(axes),
        name="promised",
        description="Availability that can be promised of each contract or service, that it asks for, "
        "and that the mean and the worst period had",
    )
    left_out = f"; {MOST_ROWS} of {len(shares)}" if len(shares) > MOST_ROWS else ""
    shows = (
        "Further right is better. A dot right of the upright stroke promises more than is asked. Where no "
        f"dot stands the years are too few{left_out}."
    )
    return Section("What can be promised", (), picture, shows, (every,))


def _shares(table: pd.DataFrame) -> pd.DataFrame:
    """Rows that speak of unavailable time, their figures as availabilities of the period that counts."""
    own = table[table["figure"].isin((AVAILABILITY, MINUTES))]
    period_min = np.where(own["period"] == "month", MINUTES_PER_YEAR / 12.0, MINUTES_PER_YEAR)
    minutes = (own["figure"] == MINUTES).to_numpy()
    names = ("asked", "can_be_promised", "mean", "worst")
    figures = {name: own[name].to_numpy(np.float64) for name in names}
    shares = {
        name: np.where(minutes, 1.0 - np.where(np.isfinite(each), each, np.nan) / period_min, each)
        for name, each in figures.items()
    }
    return pd.DataFrame({"contract": own["contract"].to_numpy(), **shares})


def _how_likely_broken(asked: pd.DataFrame, found: Promised) -> Section:
    shown = asked.head(MOST_ROWS)
    (axes,) = new_axes(height_in(len(shown)), head_in=0.35)
    allowed = 1.0 - found.terms.chance
    choice_figures.break_chances(shown, axes, allowed=allowed, names=list(shown["contract"]))
    picture = inline_svg(
        figure_of(axes),
        name="broken",
        description="Chance that each contract is broken, with its interval, beside what is allowed",
    )
    left_out = f" {MOST_ROWS} of {len(asked)} contracts." if len(asked) > MOST_ROWS else ""
    shows = (
        "All terms and years of a contract together. Kept: the whole interval lies left of the dashed line; "
        f"not kept: right of it; open: across it.{left_out}"
    )
    return Section("How likely contracts are broken", (), picture, shows, ())


def _penalties(found: Promised) -> list[Section]:
    if not found.penalties:
        return []
    units = ("", f"{found.currency} a year", found.currency)
    heads = [(name.capitalize(), unit) for name, unit in zip(words.PENALTY_HEADS, units, strict=True)]
    rows = [(str(row[0]), page_cells(row[1:])) for row in found.penalties]
    caption = "Penalties of a year by what the services state, with the same chance and confidence."
    return [Section("Penalties", (), "", "", (TableOfPage("Table: penalties", caption, heads, rows),))]


def _levers(found: Promised) -> list[Section]:
    """What keeps each contract from more; nothing where it was not asked for."""
    if found.levers is None:
        return []
    sentences, tables = [], []
    heads = [(name.capitalize(), "") for name in ("what", "kind", *words.LEVER_HEADS[2:])]
    for name in dict.fromkeys(found.table["contract"]):
        own = found.levers[found.levers["contract"] == name]
        rows = [(str(row[1] or row[0]), page_cells([row[0], *row[2:]])) for row in words.lever_cells(own)]
        caption = (
            "Had it never gone wrong: how likely the contract would be broken, and what could be promised."
        )
        tables.append(TableOfPage(f"Table: {name}", caption, heads, rows, texts=("Kind",)))
        sentences.append(f"{name}: {words.lever_sentence(own)}")
    return [Section("What keeps them from more", (*sentences, words.LEVER_NOTE), "", "", tables)]
