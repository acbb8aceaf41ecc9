"""The page of a comparison of plans: which is best, what each saves, costs and buys."""

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from hopyears.sim.report import choice_figures, figures
from hopyears.sim.report.drawing import inline_svg, look, new_axes
from hopyears.sim.report.illustrations import MOST_ROWS, height_in
from hopyears.sim.report.scales import figure_of
from hopyears.sim.report.study_page import Section, TableOfPage, page_cells, study_page
from hopyears.sim.studies.compare import BASE
from hopyears.sim.studies.plan_tables import ALL, Comparison
from hopyears.sim.wording import plan_rows as words
from hopyears.sim.wording.money_rows import amount
from hopyears.sim.wording.wording import (
    Cell,
    difference,
    figure_and_ends,
    given,
    number,
    plural,
    records,
    signed,
)

CAUSES_SHOWN = 20
"""Rows of the table of causes of a plan, the largest differences first."""


def compare_page(found: Comparison, manifest: Mapping[str, Any], currency: str) -> str:
    """The page as HTML text.

    Parameters
    ----------
    found : Comparison
    manifest : mapping
        Of the run of the base.
    currency : str
        Of its prices.
    """
    plans, every = found.plans, found.differences
    names = [name for name in plans["plan"] if name != BASE]
    bills = dict(zip(names, words.bill_sentences(plans, found.bill_differences), strict=True))
    answer = [words.best_sentence(plans)]
    answer += [_plan_sentence(name, every[every["plan"] == name]) for name in names[:3]]
    answer += words.pairing_sentences(plans)
    with look():
        sections = [_side_by_side(plans, currency)]
        for i, name in enumerate(names):
            sections.append(_plan_section(name, found, bills[name], i))
    title = f"{manifest.get('title') or 'untitled network'}: {plural(len(names), 'plan')} against the base"
    kicker = "Plans compared on the same random numbers"
    return study_page(title, kicker, manifest, answer, sections, first=_first(plans, currency))


def _priced(plans: pd.DataFrame) -> bool:
    return bool(plans["cost_per_year"].notna().any())


def _first(plans: pd.DataFrame, currency: str) -> TableOfPage:
    """The ranking at a glance."""
    heads = [
        ("Plan", ""),
        ("Saved", "min a year"),
        ("Cost", f"{currency} a year"),
        ("Rank is right", "chance"),
    ]
    rows = [
        (
            str(row["plan"]),
            [
                words.saved(row, "difference_min_per_year"),
                (signed(row["cost_per_year"], decimals=0), ""),
                (words.shortly(row["rank_chance"]), ""),
            ],
        )
        for row in records(plans)
    ]
    if not _priced(plans):
        heads, rows = [heads[0], heads[1], heads[3]], [(name, [cells[0], cells[2]]) for name, cells in rows]
    return TableOfPage("Ranking", f"The best first, by {plans['ranked_by'].iloc[0]}", heads, rows)


def _side_by_side(plans: pd.DataFrame, currency: str) -> Section:
    """All plans: what they save against what they cost, and the tables of that."""
    priced = _priced(plans)
    (axes,) = new_axes(4.2 if priced else height_in(len(plans)), head_in=0.35)
    if priced:
        axes.set_xlabel(f"cost, {currency} a year")
        choice_figures.saved_for_money(plans, axes)
        caption = (
            "Further up saves more, further left costs less; bars are 95 % intervals. The line joins "
            "the plans of which no other saves as much for less."
        )
    else:
        sure = (plans["difference_min_per_year_high"] < 0.0) | (plans["difference_min_per_year_low"] > 0.0)
        figures.differences(plans.assign(sure=sure), axes, name="plan")
        caption = "All services together. Left of the line a plan is better; hollow where that is not sure."
    figure_of(axes).set_layout_engine("none")
    best = records(plans)[0]
    picture = inline_svg(
        figure_of(axes),
        name="plans",
        description=f"Minutes a year that each of {plural(len(plans) - 1, 'plan')} saves"
        f"{' against its cost' if priced else ''}; the best is {best['plan']}",
    )
    return Section("Side by side", (), picture, caption, [*_plan_tables(plans, currency)])


def _plan_tables(plans: pd.DataFrame, currency: str) -> Iterator[TableOfPage]:
    priced = _priced(plans)
    heads = [
        ("Plan", ""), ("Saved", "min a year"), ("Outages saved", "a year"),
        ("Below committed", "min a year, saved"),
    ]  # fmt: skip
    if priced:
        heads += [
            ("At once", currency), ("By the year", currency), ("Cost", f"{currency} a year"),
            ("Saved for 1,000", f"min, {currency}"), ("Beaten", "as good for less"),
        ]  # fmt: skip
    heads += [("Rank is right", "chance"), ("Is the best", "chance")]
    rows: list[tuple[str, list[Cell]]] = []
    for row in records(plans):
        cells: list[str | Cell] = [
            words.saved(row, f"difference_{name}")
            for name in ("min_per_year", "outages_per_year", "below_committed_min_per_year")
        ]
        if priced:
            cells += [amount(row["capital"]), amount(row["yearly"]), signed(row["cost_per_year"], decimals=0)]
            cells += [number(1000.0 * row["min_saved_per_cost"]), "no" if row["undominated"] else "yes"]
        cells += [words.shortly(row["rank_chance"]), words.shortly(row["best_chance"])]
        rows.append((str(row["plan"]), page_cells(cells)))
    caption = (
        "All services by their weights, with 95 % intervals of the paired differences; the ranking's chances "
        f"by {words.METHOD}."
    )
    yield TableOfPage("Table: plans", caption, heads, rows)
    money = words.money_rows(plans)
    if money:
        heads = [
            ("Plan", ""),
            ("Penalties and gigabits", f"{currency} a year, saved"),
            ("Cost", "a year"),
            ("Gain", "a year"),
        ]
        caption = "What outages cost less with each plan, and what is left of that after the plan's own cost."
        rows = [(str(row[0]), page_cells(row[1:])) for row in money]
        yield TableOfPage("Table: money", caption, heads, rows)


def _plan_sentence(plan: str, table: pd.DataFrame) -> str:
    own = table[table["service"] != ALL]
    total = float(own["difference_min_per_year"].sum())
    sure = own[own["sure"]]["difference_min_per_year"]
    better, worse = int((sure < 0.0).sum()), int((sure > 0.0).sum())
    what = "saves" if total < 0.0 else "costs"
    surely = f"{better} are surely better with it, {worse} surely worse"
    return (
        f"Plan {plan} {what} {signed(abs(total)).lstrip('+')} unavailable minutes a year over "
        f"{plural(len(own), 'service')}; {surely if better or worse else 'none is surely better or worse'}."
    )


def _plan_section(plan: str, found: Comparison, bill: str, number_: int) -> Section:
    every = found.differences
    table = every[(every["plan"] == plan) & (every["service"] != ALL)]
    order = table.sort_values("difference_min_per_year", kind="stable")
    shown = order.head(MOST_ROWS)
    (axes,) = new_axes(height_in(len(shown)))
    figures.differences(shown, axes)
    first = records(order)[0]
    picture = inline_svg(
        figure_of(axes),
        name=f"differences-{number_}",
        description=f"Difference in unavailable minutes a year of each service; the largest gain is "
        f"{first['service']} with {signed(float(first['difference_min_per_year']))}",
    )
    left_out = f"; {MOST_ROWS} of {len(order)} services" if len(order) > MOST_ROWS else ""
    shows = f"Left of the line the plan is better; hollow where the difference is not sure{left_out}."
    text = (_plan_sentence(plan, table), bill)
    tables = [_service_table(plan, order), *_cause_table(plan, found), *_bill_table(plan, found)]
    return Section(f"Plan {plan}", text, picture, shows, tables)


def _service_table(plan: str, order: pd.DataFrame) -> TableOfPage:
    heads = (
        ("Service", ""), ("Base", "min a year"), ("Plan", "min a year"), ("Difference", "min a year"),
        ("Severely errored", "s a year, difference"), ("Sure", ""),
    )  # fmt: skip
    rows = [
        (
            str(row["service"]),
            [
                figure_and_ends(row, "base_min_per_year"),
                figure_and_ends(row, "plan_min_per_year"),
                difference(row, "difference_min_per_year"),
                difference(row, "difference_ses_per_year"),
                ("yes" if row["sure"] else "no", ""),
            ],
        )
        for row in records(order)
    ]
    caption = "Plan less base, the largest gain first; 95 % intervals of the paired differences."
    return TableOfPage(f"Table: services, {plan}", caption, heads, rows)


def _cause_table(plan: str, found: Comparison) -> Iterator[TableOfPage]:
    """The largest differences by service and cause; none without any."""
    causes = found.difference_causes
    own = causes[(causes["plan"] == plan) & (causes["difference_min_per_year"] != 0.0)]
    own = own.sort_values("difference_min_per_year", key=abs, ascending=False, kind="stable").head(
        CAUSES_SHOWN
    )
    if own.empty:
        return
    rows = [
        (str(row["service"]), [(str(row["cause"]), ""), difference(row, "difference_min_per_year")])
        for row in records(own)
    ]
    caption = "Plan less base by exact set of causes, the largest first, from the blocks as drawn."
    heads = (("Service", ""), ("Cause", ""), ("Difference", "min a year"))
    yield TableOfPage(f"Table: causes, {plan}", caption, heads, rows, texts=("Cause",))


def _bill_table(plan: str, found: Comparison) -> Iterator[TableOfPage]:
    """Rows of the bill that a plan changes; none where it changes none."""
    own = found.bill_differences[found.bill_differences["plan"] == plan]
    if own.empty:
        return
    rows = [
        (
            str(row["place"]),
            page_cells(
                [
                    " ".join(filter(None, (str(row["item"]).replace("_", " "), str(row["type"])))),
                    given(row["base_count"]),
                    given(row["plan_count"]),
                    *(amount(row[name]) for name in ("capital", "yearly", "present")),
                ]
            ),
        )
        for row in records(own)
    ]
    heads = (
        ("Place", ""), ("Item", ""), ("Base", "how many"), ("Plan", "how many"),
        ("When bought", "difference"), ("By the year", "difference"), ("Over the life", "difference"),
    )  # fmt: skip
    caption = "What the plan buys and gives up."
    yield TableOfPage(f"Table: bill, {plan}", caption, heads, rows, texts=("Item",))
