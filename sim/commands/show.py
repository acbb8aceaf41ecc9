"""``hopyears show``: any table of a run, on the terminal, as CSV or as JSON."""

import argparse
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hopyears.sim.wording.terminal import plain_table, print_table, say, terminal

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console

ROWS = 30
"""Rows that are printed unless more are asked for."""

STATED = frozenset(
    ("from", "to", "scheme", "length_km", "frequency_ghz", "portion", "hops", "protection")
) | {"committed_mbit_s", "committed_backward_mbit_s", "peak_mbit_s", "peak_backward_mbit_s", "priority"}
"""Columns that the network file says already: they come last."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN, which table, which rows and columns of it, and in which form."""
    parser.add_argument("run", metavar="RUN", help="folder that simulate, compare or modulation wrote")
    parser.add_argument("table", nargs="?", metavar="TABLE", help="name of a table; without one: all names")
    parser.add_argument(
        "--sort", metavar="COLUMN", help="order by it: figures from the largest down, names from A"
    )
    parser.add_argument(
        "--top", type=int, metavar="N", help=f"so many rows (default {ROWS}; all with --csv or --json)"
    )
    parser.add_argument("--columns", metavar="NAMES", help="these columns only, with commas between")
    parser.add_argument(
        "--only", action="append", default=[], metavar="COLUMN=VALUE", help="rows with this value only"
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--csv", nargs="?", const="-", metavar="FILE", help="as CSV, in full precision")
    form.add_argument("--json", nargs="?", const="-", metavar="FILE", help="as JSON, a list of rows")


def run(options: argparse.Namespace) -> int:
    """Print the names of the tables, or one of them."""
    from hopyears.sim.storage.stored_tables import stored_table
    from hopyears.sim.wording.names import relabelled, with_id

    folder = Path(options.run)
    if options.table is None:
        _print_names(folder)
        return 0
    labels = _labels(folder)
    options.only = [with_id(condition, labels) for condition in options.only]
    table = _chosen(stored_table(folder, options.table).to_pandas(), options)
    if options.csv:
        _write(table.to_csv(index=False), options.csv)
    elif options.json:
        _write(table.to_json(orient="records", indent=1, double_precision=15) + "\n", options.json)
    else:
        _print_table(terminal(), relabelled(table, labels), options.top or ROWS, options.sort)
    return 0


def _labels(folder: Path) -> dict[str, dict[str, str]]:
    """What readers call the entries of a run's network, or of the first run in the folder; else nothing."""
    from hopyears.sim.storage.run_folder import NETWORK, RunFolder
    from hopyears.sim.wording.names import labels_of

    held = next((each for each in (folder, folder / "base") if (each / NETWORK).is_file()), None)
    return labels_of(RunFolder(held).network()) if held else {}


def _write(text: str, path: str) -> None:
    from hopyears.sim.inputs.input_text import write_text

    if path == "-":
        sys.stdout.write(text)
    else:
        write_text(Path(path), text)


def _print_names(folder: Path) -> None:
    """The end of the run once more where there is one, then every table with what its rows are."""
    from hopyears.sim.commands.summary_text import print_summary
    from hopyears.sim.counting.result_tables import TABLES
    from hopyears.sim.runs.results import Results
    from hopyears.sim.storage.run_folder import MANIFEST
    from hopyears.sim.storage.stored_tables import table_files

    files = table_files(folder)
    if (folder / MANIFEST).is_file():
        print_summary(Results.load(folder))
    shown = plain_table("tables", ("table", "one row for"), ("table", "one row for"))
    for name in files:
        words = TABLES.get(name) or TABLES.get(f"modulation_{name}")
        shown.add_row(name, words.row if words else "")
    console = terminal()
    console.print()
    print_table(console, shown)
    say(console, f"hopyears show {folder} TABLE prints one.")


def _chosen(table: "pd.DataFrame", options: argparse.Namespace) -> "pd.DataFrame":
    """Rows and columns that were asked for."""
    from hopyears.sim.inputs.input_errors import InputError

    for condition in options.only:
        column, equals, value = condition.partition("=")
        _known(table, column, "--only")
        if not equals:
            raise InputError(f'--only is "{condition}"; must be COLUMN=VALUE')
        table = table[[_same(found, value) for found in table[column]]]
    if options.sort:
        _known(table, options.sort, "--sort")
        rising = table[options.sort].dtype.kind not in "fiu"
        table = table.sort_values(options.sort, ascending=rising, kind="stable")
    if options.top is not None:
        if options.top < 1:
            raise InputError(f"--top is {options.top}; must be at least 1")
        table = table.head(options.top)
    if options.columns:
        names = [name.strip() for name in options.columns.split(",")]
        for name in names:
            _known(table, name, "--columns")
        ends = [f"{name}{end}" for name in names for end in ("_low", "_high")]
        table = table[[*names, *(end for end in ends if end in table and end not in names)]]
    return table


def _same(found: Any, value: str) -> bool:
    try:
        return bool(float(found) == float(value))
    except (TypeError, ValueError):
        return str(found) == value


def _known(table: "pd.DataFrame", name: str, option: str) -> None:
    from hopyears.sim.inputs.input_errors import InputError

    if name not in table:
        raise InputError(f'{option} is "{name}"; must be a column of the table: {", ".join(map(str, table))}')


def _print_table(console: "Console", table: "pd.DataFrame", rows: int, order: str | None) -> None:
    """Rows of a table; the column that orders them comes first of the figures."""
    from hopyears.sim.wording.wording import records

    names = [str(name) for name in table]
    ends = {f"{name}{end}" for name in names for end in ("_low", "_high") if f"{name}_low" in names}
    kept = sorted((name for name in names if name not in ends), key=lambda name: name in STATED)
    text = [name for name in kept if table[name].dtype.kind not in "fiu"]
    if order in kept and order not in text:
        kept.remove(order)
        kept.insert(next((i for i, name in enumerate(kept) if name not in text), 0), order)
    shown = plain_table("", kept, text)
    for row in records(table.head(rows)):
        shown.add_row(*(_cell(row, name) for name in kept))
    print_table(console, shown, elsewhere="--columns NAME,NAME or --csv")
    if len(table) > rows:
        say(console, f"... and {len(table) - rows:,} more rows; --top {len(table)} shows all.")


def _cell(row: Any, name: str) -> str:
    """A value as it is written everywhere, with its interval if it has one."""
    from hopyears.sim.wording.wording import figure_and_ends, joined

    value = row[name]
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, int | float):
        return str(value)
    if isinstance(value, int):
        return f"{value}"
    if name.endswith("_deg"):
        return f"{value:.5f}"
    low = row.get(f"{name}_low", math.nan)
    if value == 1.0 and low < 1.0:
        return f"at least {_figure(low)}"
    return joined(figure_and_ends(row, name, _figure))


def _figure(value: float) -> str:
    """Three figures, and what lacks to 1 in two: an availability is never rounded to 1."""
    from hopyears.sim.wording.wording import number

    if 0.99 <= value < 1.0:
        return f"{value:.{1 - math.floor(math.log10(1.0 - value))}f}"
    return number(value)
