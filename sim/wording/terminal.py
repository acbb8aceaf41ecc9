"""How the verbs write tables and figures to the terminal."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console
    from rich.table import Table

    from hopyears.sim.wording.wording import Cell

ROWS_SHOWN = 40
"""Rows of a table that are printed unless all are asked for."""


def terminal(width: int) -> "Console":
    """Standard output, so many characters wide where it is no terminal."""
    from rich.console import Console

    return Console(width=None if Console().is_terminal else width)


def say(console: "Console", text: str) -> None:
    """Print a sentence as it stands."""
    console.print(text, highlight=False, markup=False)


def plain_table(title: str, columns: Sequence[str], left: Sequence[str]) -> "Table":
    """An empty table; columns named in ``left`` are text, the others are figures and never broken."""
    from rich.table import Table

    table = Table(title=title, title_justify="left", header_style="", show_edge=False, pad_edge=False)
    for column in columns:
        text = column in left
        table.add_column(column, justify="left" if text else "right", no_wrap=not text, overflow="fold")
    return table


def shown_rows(frame: "pd.DataFrame", by: str, *, every_row: bool) -> "pd.DataFrame":
    """All rows where they are few or all are wanted; else the ``ROWS_SHOWN`` with most of ``by``."""
    if every_row or len(frame) <= ROWS_SHOWN:
        return frame
    return frame.sort_values(by, ascending=False, kind="stable").head(ROWS_SHOWN)


def say_left_out(console: "Console", n_rows: int, what: str, *, every_row: bool) -> None:
    """Tell how many rows of so many were left out, if any, and what they have in common."""
    if not every_row and n_rows > ROWS_SHOWN:
        say(console, f"... and {n_rows - ROWS_SHOWN} more {what} (--all shows them)")


def fill(table: "Table", rows: "Iterable[Sequence[str | Cell]]") -> "Table":
    """The table with rows of cells: texts, and figures with their intervals."""
    from hopyears.sim.wording.wording import joined

    for row in rows:
        table.add_row(*(cell if isinstance(cell, str) else joined(cell) for cell in row))
    return table
