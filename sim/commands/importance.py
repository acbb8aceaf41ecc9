"""``hopyears importance``: unavailable time saved had a hop, site, kind of part or cause never gone wrong."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from hopyears.sim.wording.terminal import fill, plain_table, print_table, say, terminal

if TYPE_CHECKING:
    import pandas as pd


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN, which services, how much to show, how many blocks."""
    from hopyears.sim.commands.run_options import add_workers_argument

    parser.add_argument("run", metavar="RUN", help="folder that 'hopyears simulate' wrote")
    parser.add_argument("--service", metavar="ID", help="this service only; default the sum of all")
    parser.add_argument(
        "--parts", action="store_true", help="every single part too, not only each kind; takes longer"
    )
    parser.add_argument("--top", type=int, default=15, metavar="N", help="rows to show (default 15)")
    parser.add_argument(
        "--blocks",
        type=int,
        default=10,
        metavar="N",
        help="blocks of the run to work through, more for narrower intervals (default 10)",
    )
    parser.add_argument("--csv", metavar="FILE", help="write the full table there too")
    add_workers_argument(parser)


def run(options: argparse.Namespace) -> int:
    """Judge blocks of the run again without each thing, and print what that saves."""
    from hopyears.sim.commands.progress import progress_bar
    from hopyears.sim.commands.run_options import at_least, workers_of
    from hopyears.sim.inputs.input_text import write_text
    from hopyears.sim.runs.rerun import open_run
    from hopyears.sim.studies.importance import ALL, importance
    from hopyears.sim.wording.names import id_of, labels_of, relabelled

    at_least(options, top=1, blocks=1, workers=1)
    opened = open_run(options.run)
    labels = labels_of(opened.prepared.network)
    if options.service is not None:
        options.service = id_of(options.service, labels["services"])
        opened.service_index(options.service)
    with progress_bar("blocks") as bar:
        table = importance(
            opened,
            service=options.service,
            n_blocks=options.blocks,
            single_parts=options.parts,
            workers=workers_of(options, opened.prepared.network),
            progress=bar,
        )
    if options.csv:
        write_text(Path(options.csv), table.to_csv(index=False))
    years = min(options.blocks, len(opened.folder.finished_blocks())) * opened.block_years
    chosen = table[table["service"] == (options.service or ALL)].head(options.top)
    _print(relabelled(chosen, labels), years)
    return 0


def _print(table: "pd.DataFrame", years: int) -> None:
    from hopyears.sim.wording.wording import difference, number, per_cent, plural, records

    console = terminal()
    if table.empty:
        say(console, "The run has no services, or nothing that can go wrong.")
        return
    first = table.iloc[0]
    minutes = float(first["unavailable_min_per_year"])
    lost = f"{number(minutes)} unavailable min/year" if minutes else "no unavailable time seen"
    title = (
        f"{first['service']}: {lost}, "
        f"{number(first['below_committed_min_per_year'])} below committed ({plural(years, 'year')}); "
        "saved had it never gone wrong"
    )
    shown = plain_table(
        title, ("kind", "what", "saved min/year", "share", "sure", "saved below committed"), ("kind", "what")
    )
    rows = (
        [
            row["kind"],
            row["target"],
            difference(row, "saved_min_per_year"),
            per_cent(row["share"]),
            "yes" if row["sure"] else "no",
            difference(row, "below_saved_min_per_year"),
        ]
        for row in records(table)
    )
    print_table(console, fill(shown, rows))
    say(
        console,
        "Same weather, nights and failures in both; 95 % intervals of the paired differences, sure where "
        "they leave out zero. Gains do not add up: where two things protect each other, or fail at once, "
        "both or neither are counted.",
    )
