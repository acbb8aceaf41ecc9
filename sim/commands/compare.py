"""``hopyears compare``: plans laid over a network, on the same random numbers."""

import argparse
import os
import sys


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK, PLAN files, and how to simulate."""
    from sim.commands.simulate import add_model_arguments

    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument(
        "plan", nargs="+", help="plan file (TOML): entries that change or add to the network's"
    )
    parser.add_argument("--years", type=int, default=200, help="years to simulate (default 200)")
    parser.add_argument("--seed", type=int, default=1, help="seed of all random draws (default 1)")
    parser.add_argument("--out", required=True, help="folder for the runs, new or empty")
    parser.add_argument("--resume", action="store_true", help="add what a stopped comparison lacks")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, help="worker processes")
    add_model_arguments(parser)


def run(options: argparse.Namespace) -> int:
    """Simulate base and plans, store and print the differences."""
    from pathlib import Path

    import pyarrow as pa

    from sim.commands.progress import progress_bar
    from sim.commands.simulate import run_request
    from sim.inputs.network_file import read_network, read_plan
    from sim.runs.store import write_table
    from sim.studies.compare import ComparedPlan, compare

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


def _print(table) -> None:  # type: ignore[no-untyped-def]
    from rich.console import Console
    from rich.table import Table

    from sim.commands.summary_text import interval_text

    console = Console(width=None if Console().is_terminal else 160)
    shown = Table(
        title="plan less base", title_justify="left", header_style="", show_edge=False, pad_edge=False
    )
    for column in (
        "plan",
        "service",
        "base min/year",
        "plan min/year",
        "difference min/year",
        "SES/year",
        "sure",
    ):
        shown.add_column(column, justify="left" if column in ("plan", "service") else "right")
    for _, row in table.iterrows():
        shown.add_row(
            row["plan"],
            row["service"],
            interval_text(row, "base_min_per_year"),
            interval_text(row, "plan_min_per_year"),
            _signed(row, "difference_min_per_year"),
            _signed(row, "difference_ses_per_year"),
            "yes" if row["sure"] else "no",
        )
    console.print(shown, markup=False)
    console.print(
        "Same weather, nights and failures in base and plan; 95 % intervals of the paired differences.",
        highlight=False,
        markup=False,
    )


def _signed(row, name: str) -> str:  # type: ignore[no-untyped-def]
    return f"{row[name]:+.3g} [{row[f'{name}_low']:+.3g} .. {row[f'{name}_high']:+.3g}]"
