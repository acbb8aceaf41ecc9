"""``hopyears compare``: plans laid over a network, on the same random numbers."""

import argparse
import sys
from typing import TYPE_CHECKING

from hopyears.sim.wording.terminal import fill, plain_table, say, terminal

if TYPE_CHECKING:
    import pandas as pd


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK, PLAN files, and how to simulate."""
    from hopyears.sim.commands.run_options import add_run_arguments

    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument(
        "plan", nargs="+", help="plan file (TOML): entries that change or add to the network's"
    )
    parser.add_argument("--out", required=True, help="folder for the runs, new or empty")
    parser.add_argument("--resume", action="store_true", help="add what a stopped comparison lacks")
    add_run_arguments(parser)


def run(options: argparse.Namespace) -> int:
    """Simulate base and plans, store and print the differences."""
    from pathlib import Path

    import pyarrow as pa

    from hopyears.sim.commands.progress import progress_bar
    from hopyears.sim.commands.run_options import run_request
    from hopyears.sim.inputs.network_file import read_network, read_plan
    from hopyears.sim.storage.run_folder import write_table
    from hopyears.sim.studies.compare import ComparedPlan, compare

    base = read_network(options.network)
    plans = [ComparedPlan(Path(plan).stem, read_plan(plan, base)) for plan in options.plan]
    request = run_request(options)
    out = Path(options.out)
    with progress_bar("years") as bar:
        try:
            table = compare(
                base,
                plans,
                request,
                out,
                resume=options.resume,
                progress=lambda name, done, of_all: bar(done, of_all),
            )
        except KeyboardInterrupt:
            print(f"stopped; finished blocks are kept in {out}, --resume goes on from there", file=sys.stderr)
            return 1
    write_table(out / "differences.parquet", pa.Table.from_pandas(table, preserve_index=False))
    _print(table)
    return 0


def _print(table: "pd.DataFrame") -> None:
    from hopyears.sim.wording.wording import difference, figure_and_ends, records

    columns = ("plan", "service", "base min/year", "plan min/year", "difference min/year", "SES/year", "sure")
    shown = plain_table("plan less base", columns, ("plan", "service"))
    rows = (
        [
            row["plan"],
            row["service"],
            figure_and_ends(row, "base_min_per_year"),
            figure_and_ends(row, "plan_min_per_year"),
            difference(row, "difference_min_per_year"),
            difference(row, "difference_ses_per_year"),
            "yes" if row["sure"] else "no",
        ]
        for row in records(table)
    )
    console = terminal(160)
    console.print(fill(shown, rows), markup=False)
    say(
        console,
        "Same weather, nights and failures in base and plan; 95 % intervals of the paired differences.",
    )
