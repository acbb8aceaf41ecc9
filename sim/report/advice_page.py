"""The page of advice: what to buy in which order, what each step leaves, and how sure that is."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from hopyears.models.basics.arrays import Floats
from hopyears.sim.advice.advise import Advice
from hopyears.sim.advice.confirm import Goal
from hopyears.sim.report.choice_figures import left_for_money
from hopyears.sim.report.drawing import inline_svg, look, new_axes
from hopyears.sim.report.scales import figure_of
from hopyears.sim.report.study_page import Section, TableOfPage, page_cells, study_page
from hopyears.sim.wording import advice_rows as words
from hopyears.sim.wording.money_rows import amount
from hopyears.sim.wording.wording import NO_FIGURE, confidence, number, records


def advice_page(found: Advice, goal: Goal, manifest: Mapping[str, Any], currency: str) -> str:
    """The page as HTML text.

    Parameters
    ----------
    found : Advice
    goal : Goal
    manifest : mapping
        Of the run of the network as it is.
    currency : str
        Of its prices.
    """
    unit = words.unit_of(found.purchases, currency)
    with look():
        sections = [_order(found, goal, currency, unit)]
    sections += [_others(found, goal, currency, unit), _candidates(found, currency, unit)]
    answer = [
        *words.answer(found.purchases, found.contenders, goal, currency),
        "Every set met the same weather, nights and failures.",
        *words.missing_sentences(found.candidates),
    ]
    title = f"{manifest.get('title') or 'untitled network'}: what to buy"
    wanted = f"for {goal.service}" if goal.budget is None else f"for at most {amount(goal.budget)} {currency}"
    first = _first(found.purchases, currency, unit)
    return study_page(title, f"Advice {wanted}", manifest, answer, sections, first=first)


def _first(purchases: pd.DataFrame, currency: str, unit: str) -> TableOfPage:
    """What to buy at a glance."""
    rows = [
        (cells[0], [cells[place] for place in (1, 2, 4, 6)])
        for cells in map(page_cells, words.purchase_rows(purchases))
    ]
    heads = (("Step", ""), ("Buy", ""), ("Cost", currency), ("Left", unit), ("Right", "how sure"))
    named = [(name, cells) for (name, _), cells in rows]
    return TableOfPage("At a glance", f"In this order. {words.RIGHT}", heads, named, texts=("Buy",))


def _order(found: Advice, goal: Goal, currency: str, unit: str) -> Section:
    """The curve of what is left against money, and each step with its next best."""
    purchases = found.purchases
    (axes,) = new_axes(4.2, head_in=0.35)
    axes.set_xlabel(f"spent, {currency} over the life")
    axes.set_ylabel(f"left, {unit}")
    left_for_money(purchases, axes, next_spent=_next_spent(found))
    if goal.budget is None:
        axes.axhline(goal.allowed_min, linewidth=1.0, linestyle=(0, (4, 2)), color="#22303a")
    figure_of(axes).set_layout_engine("none")
    last = records(purchases)[-1]
    picture = inline_svg(
        figure_of(axes),
        name="curve",
        description=f"What each of {len(purchases) - 1} steps leaves against the money spent; "
        f"{number(float(purchases['left'].dropna().iloc[-1]))} {unit} for {amount(last['spent'])} {currency}",
    )
    target = "; the dashed line is the target" if goal.budget is None else ""
    shows = f"Further left is cheaper, further down is better{target}."
    heads = (
        ("Step", ""), ("Buy", ""), ("Cost", currency), ("Spent", currency), ("Left", unit),
        ("Next best", "left"), ("Right", "how sure"),
    )  # fmt: skip
    rows = [(cells[0][0], cells[1:]) for cells in map(page_cells, words.purchase_rows(purchases))]
    table = TableOfPage("Table: steps", words.RIGHT, heads, rows, texts=("Buy", "Next best"))
    return Section("In which order", (), picture, shows, (table,))


def _next_spent(found: Advice) -> Floats:
    """Money spent by the end of each step, had its next best been bought; not a number without one."""
    present = found.candidates.set_index("candidate")["present"]
    before = np.concatenate(([np.nan], found.purchases["spent"].to_numpy(np.float64)[:-1]))
    cost = [
        sum(float(present.get(name, np.nan)) for name in words.names_in(text)) if text else np.nan
        for text in found.purchases["next_best"]
    ]
    return np.asarray(before + np.asarray(cost), dtype=np.float64)


def _others(found: Advice, goal: Goal, currency: str, unit: str) -> Section:
    """Sets that were simulated against each other."""
    heads = [
        ("Buy", ""), ("Cost", currency), ("Left", unit), ("Guessed before", unit), ("Blocks", ""),
        ("Is the best", "chance"),
    ]  # fmt: skip
    if goal.budget is None:
        heads.append(("Meets the target", "how sure"))
    rows = []
    for row in records(found.contenders):
        cells = [
            amount(row["present"]), number(row["simulated"]), number(row["guessed"]), f"{row['blocks']}",
            confidence(row["best_chance"]),
        ]  # fmt: skip
        if goal.budget is None:
            sure = row["target_chance"]
            cells.append(NO_FIGURE if np.isnan(sure) else confidence(sure))
        rows.append((str(row["bought"]), page_cells(cells)))
    text = (
        "The best sets of the search, simulated against each other; more blocks went where the choice was "
        "open."
    )
    table = TableOfPage("Table: sets", "What is bought together, and what it leaves.", heads, rows)
    return Section("Beside what", (text,), "", "", (table,))


def _candidates(found: Advice, currency: str, unit: str) -> Section:
    heads = (
        ("Candidate", ""), ("Saves by itself", f"guessed, {unit}"), ("When bought", currency),
        ("By the year", currency), ("Over the life", currency), ("Bought", ""),
    )  # fmt: skip
    rows = [
        (
            str(row["candidate"]),
            page_cells(
                [
                    number(row["guessed_saved"]),
                    *(amount(row[name]) for name in ("capital", "yearly", "present")),
                    "yes" if row["chosen"] else "no",
                ]
            ),
        )
        for row in records(found.candidates)
    ]
    caption = (
        "Most saved for its money first. Guesses come from one run, judged again without what each would "
        "mend; they choose what is simulated and decide nothing else."
    )
    table = TableOfPage("Table: candidates", caption, heads, rows)
    return Section("What was thought of", (), "", "", (table,))
