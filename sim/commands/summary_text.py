"""The end of a run in the terminal: the page's first answer, one table, what to do next, and where all is."""

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

from hopyears.sim.runs.results import Results
from hopyears.sim.wording.answer import first_answer, judged
from hopyears.sim.wording.caution import CAUTION
from hopyears.sim.wording.money_rows import cost_rows_of_run
from hopyears.sim.wording.names import for_readers
from hopyears.sim.wording.rows import main_groups, worst_first
from hopyears.sim.wording.terminal import plain_table, print_table, say, terminal
from hopyears.sim.wording.wording import (
    FIRST_ANSWER_LEVEL,
    MEETS,
    MISSES,
    NO_FIGURE,
    Row,
    bounded,
    duration,
    level_name,
    number,
    plural,
    records,
    service_availability,
    verdict,
)

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

ROWS_OF_ANSWER = 15
"""Services, or hops, in the table; the others are no worse."""

_VERDICTS = {MEETS: ("meets", "green"), MISSES: ("misses", "bold red")}
"""A verdict in a word, and how it is set off on a terminal in colour; what is open stands as it is."""


def print_summary(results: Results, folder: Path | str | None = None) -> None:
    """Print the first answer and a table of the worst services, or hops where a run has none.

    Parameters
    ----------
    results : Results
    folder : path, optional
        Of the run: what to do next is told with it.
    """
    console = terminal()
    manifest = results.manifest
    title = manifest.get("title") or "untitled network"
    say(console, f"{title}: {plural(manifest['years'], 'year')}, seed {manifest['seed']}\n")
    noun, ids, _ = judged(results.tables)
    noun, table, causes = judged(for_readers(results).tables)
    first, *others = first_answer(table, causes, float(manifest["years"]), noun=noun)
    say(console, f"{first}\n")
    if others:
        say(console, " ".join(others) + "\n")
    print_table(console, _answer_table(noun, worst_first(table).head(ROWS_OF_ANSWER), causes))
    if len(table) > ROWS_OF_ANSWER:
        say(console, f"... and {len(table) - ROWS_OF_ANSWER} more {noun}s that are less unavailable.")
    say(
        console,
        "95 % intervals in brackets; 'at most' where nothing was seen; 'open' where the years cannot tell.",
    )
    for sentence in cost_rows_of_run(results.network, results.tables["costs"]):
        say(console, sentence)
    if folder is not None:
        _print_next(console, shlex.quote(str(folder)), noun, str(worst_first(ids).iloc[0][noun]))
    say(console, f"\n{CAUTION}")


def _answer_table(noun: str, table: "pd.DataFrame", causes: "pd.DataFrame") -> "Table":
    """Name, unavailable minutes, verdict and main cause; then what a wider terminal has room for."""
    heads = (
        noun,
        "unavailable min/year",
        level_name(FIRST_ANSWER_LEVEL),
        "main cause",
        "outages/year",
        "availability",
        "mean outage",
        "longest",
        "severely errored s/year",
        "textbook min/year",
    )
    shown = plain_table("", heads, (noun, level_name(FIRST_ANSWER_LEVEL), "main cause"))
    shown.columns[heads.index("main cause")].no_wrap = True
    main = main_groups(causes, noun)
    for row in records(table):
        shown.add_row(
            str(row[noun]),
            bounded(row, "unavailable_min_per_year"),
            _verdict(row),
            main.get(str(row[noun]), NO_FIGURE),
            bounded(row, "outages_per_year"),
            service_availability(row),
            duration(row["mean_outage_s"]),
            duration(row["longest_outage_s"]),
            bounded(row, "severely_errored_s_per_year"),
            number(row["textbook_min_per_year"]),
        )
    return shown


def _verdict(row: Row) -> "Text":
    from rich.text import Text

    found = verdict(row, FIRST_ANSWER_LEVEL)
    return Text(*_VERDICTS.get(found, (found, "")))


def _print_next(console: "Console", folder: str, noun: str, worst: str) -> None:
    """What to do next, each command in a line of its own that can be copied."""
    explain = f"hopyears explain {folder} --service {shlex.quote(worst)}"
    lines = [("one page for everybody:", f"hopyears report {folder}")]
    if noun == "service":
        lines.append(("its worst outages:", explain))
    lines += [
        ("every table:", f"hopyears show {folder}"),
        ("what would help most:", f"hopyears importance {folder}"),
    ]
    say(console, "")
    for what, command in lines:
        console.print(f"{what:<24}{command}", highlight=False, markup=False, soft_wrap=True)
    console.print(f"{'results are in:':<24}{folder}", highlight=False, markup=False, soft_wrap=True)
