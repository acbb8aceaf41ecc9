"""Pages of what is no run, as a comparison of plans, in the style of the report."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
from markupsafe import Markup

from hopyears.sim.report import figures
from hopyears.sim.report.drawing import inline_svg, look, new_axes
from hopyears.sim.report.illustrations import MOST_ROWS, height_in
from hopyears.sim.report.scales import figure_of
from hopyears.sim.report.written import page_template, write_page
from hopyears.sim.wording.caution import CAUTION
from hopyears.sim.wording.wording import Cell, difference, figure_and_ends, plural, records, signed


@dataclass(frozen=True)
class TableOfPage:
    """A table: its name, the heads of its columns with their units, and rows of a name and cells."""

    name: str
    caption: str
    heads: Sequence[tuple[str, str]]
    rows: Sequence[tuple[str, Sequence[Cell]]]


@dataclass(frozen=True)
class Section:
    """A part of a page: heading, a sentence, a figure as SVG, what it shows, and tables."""

    heading: str
    text: str
    picture: str
    caption: str
    tables: Sequence[TableOfPage]


def study_page(
    title: str, kicker: str, manifest: Mapping[str, Any], answer: Sequence[str], sections: Sequence[Section]
) -> str:
    """A page as HTML text; the first sentence of the answer is the largest."""
    page: str = page_template("study.html").render(
        title=title,
        kicker=kicker,
        run=manifest,
        answer=answer,
        sections=sections,
        caution=manifest.get("caution") or CAUTION,
        safe=Markup,
    )
    return page


def compare_page(differences: pd.DataFrame, manifest: Mapping[str, Any]) -> str:
    """The page of a comparison: one section a plan.

    Parameters
    ----------
    differences : DataFrame
        Table ``differences`` of ``compare``.
    manifest : mapping
        Of the run of the base.
    """
    plans = list(dict.fromkeys(differences["plan"]))
    own = [differences[differences["plan"] == plan] for plan in plans]
    with look():
        sections = [
            _plan_section(plan, table, i) for i, (plan, table) in enumerate(zip(plans, own, strict=True))
        ]
    answer = [_plan_sentence(plan, table) for plan, table in zip(plans, own, strict=True)]
    answer.append(
        "Base and plans saw the same weather, nights and failures, so differences are surer than the figures "
        "themselves. A difference is sure when its whole 95 % interval lies on one side of none."
    )
    title = f"{manifest.get('title') or 'untitled network'}: {plural(len(plans), 'plan')} against the base"
    return study_page(title, "Plans compared on the same random numbers", manifest, answer, sections)


def write_compare(differences: pd.DataFrame, manifest: Mapping[str, Any], path: Path) -> Path:
    """Write the page of a comparison; raises as ``write_page``."""
    return write_page(compare_page(differences, manifest), path)


def _plan_sentence(plan: str, table: pd.DataFrame) -> str:
    change = table["difference_min_per_year"]
    total = float(change.sum())
    sure = table[table["sure"]]["difference_min_per_year"]
    better, worse = int((sure < 0.0).sum()), int((sure > 0.0).sum())
    what = "saves" if total < 0.0 else "costs"
    return (
        f"Plan {plan} {what} {signed(abs(total)).lstrip('+')} unavailable minutes a year over "
        f"{plural(len(table), 'service')}; {better} are surely better with it, {worse} surely worse."
    )


def _plan_section(plan: str, table: pd.DataFrame, number: int) -> Section:
    order = table.sort_values("difference_min_per_year", kind="stable")
    shown = order.head(MOST_ROWS)
    (axes,) = new_axes(height_in(len(shown)))
    figures.differences(shown, axes)
    first = records(order)[0]
    picture = inline_svg(
        figure_of(axes),
        name=f"differences-{number}",
        description=f"Difference in unavailable minutes a year of each service; the largest gain is "
        f"{first['service']} with {signed(float(first['difference_min_per_year']))}",
    )
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
    tables = [TableOfPage(f"Table: {plan}", caption, heads, rows)]
    left_out = f"; {MOST_ROWS} of {len(order)} services" if len(order) > MOST_ROWS else ""
    shows = f"Left of the line the plan is better; hollow where the difference is not sure{left_out}."
    return Section(f"Plan {plan}", _plan_sentence(plan, table), picture, shows, tables)
