"""How the verbs write tables and figures to the terminal, whatever its width.

A terminal says how wide it is; everything else gets 80 columns, or as many as the variable COLUMNS says. A
table whose columns do not fit keeps the first of them and names the others: figures are never broken.
"""

import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Column, Table

    from hopyears.sim.wording.wording import Cell

ROWS_SHOWN = 40
"""Rows of a table that are printed unless all are asked for."""

SEPARATOR = 3
"""Characters between two columns."""

NARROWEST_TEXT = 10
"""A column of text is broken between words, but not below this, or its longest word."""

NAMES_LEFT_OUT = 8
"""Columns that did not fit are named up to so many."""


_WORDS = re.compile(r"[^ _]+[ _]*")
"""Pieces of the head of a column, each with the blank or underscore after it."""


def terminal(width: int | None = None) -> "Console":
    """Standard output, of its own width; where it is no terminal of that one, by default COLUMNS or 80."""
    from rich.console import Console

    return Console(width=None if width is None or Console().is_terminal else width)


def say(console: "Console", text: str) -> None:
    """Print a sentence as it stands, broken between words; what a hard blank joins stays together."""
    lines = [textwrap.wrap(line, console.width, break_long_words=False) or [""] for line in text.split("\n")]
    broken = "\n".join(part for line in lines for part in line)
    console.print(broken, highlight=False, markup=False, soft_wrap=True)


def plain_table(title: str, columns: Sequence[str], left: Sequence[str]) -> "Table":
    """An empty table; columns named in ``left`` are text, the others are figures and never broken.

    Heads may be broken at blanks.
    """
    from rich.table import Table
    from rich.text import Text

    table = Table(
        title=Text(title) if title else None,  # brackets in a text are no mark-up
        title_justify="left",
        title_style="bold",
        header_style="",
        show_edge=False,
        pad_edge=False,
    )
    for column in columns:
        text = column in left
        table.add_column(column, justify="left" if text else "right", no_wrap=not text, overflow="fold")
    return table


def print_table(console: "Console", table: "Table", *, elsewhere: str = "a wider terminal") -> None:
    """Print the columns of a table that fit, the first ones, and name the others.

    Parameters
    ----------
    console : Console
    table : Table
        The most important columns first.
    elsewhere : str
        Where the columns left out can be read.
    """
    spare = console.width + SEPARATOR
    wanted = []
    for place, column in enumerate(table.columns):
        least, most = _widths(column)
        if spare < least + SEPARATOR and place > 0:
            break
        spare -= least + SEPARATOR
        column.width = least
        wanted.append(most - least)
    for column, more in zip(table.columns, wanted, strict=False):  # what is left over goes to texts
        given = min(more, max(spare, 0))
        column.width = (column.width or 0) + given
        spare -= given
    dropped = [
        str(each.header).replace("_\n", "_").replace("\n", " ") for each in table.columns[len(wanted) :]
    ]
    del table.columns[len(wanted) :]
    console.print(table, markup=False)
    if dropped:
        others = f" and {len(dropped) - NAMES_LEFT_OUT} more" if len(dropped) > NAMES_LEFT_OUT else ""
        say(console, f"Left out: {', '.join(dropped[:NAMES_LEFT_OUT])}{others}; see {elsewhere}.")


def _widths(column: "Column") -> tuple[int, int]:
    """Least and best width of a column; the head of a column of figures is broken to suit it."""
    from rich.cells import cell_len

    head = [_WORDS.findall(line) for line in str(column.header).splitlines()]
    lines = [line for cell in column.cells for line in str(cell).splitlines()]
    longest = max((cell_len(word.strip()) for line in head for word in line), default=1)
    widest = max(map(cell_len, lines), default=0)
    if column.no_wrap:
        width = max(widest, longest)
        column.header = "\n".join(part for line in head for part in _packed(line, width))
        return width, width
    word = max((cell_len(word) for line in lines for word in line.split()), default=0)
    least = max(min(widest, max(word, NARROWEST_TEXT)), longest)
    return least, max(widest, *(cell_len(line) for line in str(column.header).splitlines()), least)


def _packed(words: Sequence[str], width: int) -> list[str]:
    """Words of a head in lines of at most that width, with the blank or underscore that ends each."""
    lines = [""]
    for word in words:
        if lines[-1] and len(lines[-1] + word.rstrip()) > width:
            lines.append("")
        lines[-1] += word
    return [line.rstrip() for line in lines]


def fill(table: "Table", rows: "Iterable[Sequence[str | Cell]]") -> "Table":
    """The table with rows of cells: texts, and figures with their intervals."""
    from hopyears.sim.wording.wording import joined

    for row in rows:
        table.add_row(*(cell if isinstance(cell, str) else joined(cell) for cell in row))
    return table
