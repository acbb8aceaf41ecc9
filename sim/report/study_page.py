"""Pages of what is no run, as a comparison of plans or a promise, in the style of the report."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup

from hopyears.sim.report.written import page_template
from hopyears.sim.wording.caution import CAUTION
from hopyears.sim.wording.wording import Cell

MOST_FIRST = 8
"""Rows of the table on the first screen."""


@dataclass(frozen=True)
class TableOfPage:
    """A table: its name, the heads of its columns with their units, and rows of a name and cells.

    Columns whose heads are among ``texts`` hold words, among ``verdicts`` yes, no or open, the others
    figures.
    """

    name: str
    caption: str
    heads: Sequence[tuple[str, str]]
    rows: Sequence[tuple[str, Sequence[Cell]]]
    texts: Sequence[str] = ()
    verdicts: Sequence[str] = ()


@dataclass(frozen=True)
class Section:
    """A part of a page: heading, sentences, a figure as SVG or none, what it shows, and tables."""

    heading: str
    text: Sequence[str]
    picture: str
    caption: str
    tables: Sequence[TableOfPage]


def study_page(
    title: str,
    kicker: str,
    manifest: Mapping[str, Any],
    answer: Sequence[str],
    sections: Sequence[Section],
    *,
    first: TableOfPage | None = None,
) -> str:
    """A page as HTML text; the first sentence of the answer is the largest, ``first`` stands beside it."""
    more = len(first.rows) - MOST_FIRST if first else 0
    page: str = page_template("study.html").render(
        title=title,
        kicker=kicker,
        run=manifest,
        answer=answer,
        first=replace(first, rows=first.rows[:MOST_FIRST]) if first else None,
        more=f"{more} more in the tables below." if more > 0 else "",
        sections=sections,
        caution=manifest.get("caution") or CAUTION,
        safe=Markup,
    )
    return page


def page_cells(cells: Sequence[str | Cell]) -> list[Cell]:
    """Cells as a terminal shows them, for a page."""
    return [(cell, "") if isinstance(cell, str) else cell for cell in cells]
