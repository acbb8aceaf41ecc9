"""How the verbs write tables and figures to the terminal."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console
    from rich.table import Table

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
        table.add_column(column, justify="left" if text else "right", no_wrap=not text)
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


def interval_text(row: "pd.Series", name: str) -> str:
    """``12.3 [10.1 .. 14.9]``, or ``< 0.4`` where nothing was seen."""
    if row[name] == 0:
        return f"< {row[f'{name}_high']:.3g}"
    return f"{row[name]:.3g} [{row[f'{name}_low']:.3g} .. {row[f'{name}_high']:.3g}]"


def signed_text(row: "pd.Series", name: str) -> str:
    """A difference with its interval: ``+1.2 [-0.3 .. +2.7]``; ``+0`` where it never differed."""
    low, high = row[f"{name}_low"], row[f"{name}_high"]
    return f"{row[name]:+.3g}" if low == high else f"{row[name]:+.3g} [{low:+.3g} .. {high:+.3g}]"


def main_causes(causes: "pd.DataFrame", name: str) -> str:
    """The causes with most of a figure and their shares of it: ``rain 61%, power 20%``; ``-`` for none."""
    from hopyears.sim.runs.results import worst_causes

    found = [f"{cause} {share:.0%}" for cause, share in worst_causes(causes, name, least_share=0.005)]
    return ", ".join(found) or "-"


def sure_text(confidence: float) -> str:
    """A confidence in per cent that is never rounded up to certainty: ``97.7%``, ``> 99.9%``, ``< 0.1%``."""
    if confidence > 0.999:
        return "> 99.9%"
    return "< 0.1%" if confidence < 0.001 else f"{confidence:.1%}"
