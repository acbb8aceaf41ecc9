"""``hopyears compare``: plans laid over a network, on the same random numbers."""

import argparse
from typing import TYPE_CHECKING

from hopyears.sim.wording.terminal import fill, plain_table, say, terminal

if TYPE_CHECKING:
    from hopyears.sim.studies.plan_tables import Comparison

WIDTH = 80
SERVICES_SHOWN = 10

GOES_ON = "the same again goes on"
"""What a stopped run is told."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK, PLAN files, and how to simulate."""
    from hopyears.sim.commands.run_options import add_run_arguments

    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument(
        "plan", nargs="+", help="plan file (TOML): entries that change, add to or leave the network's"
    )
    parser.add_argument(
        "--out",
        required=True,
        metavar="FOLDER",
        help="folder for the runs; what it holds of them is kept, so a plan more costs one run",
    )
    parser.add_argument(
        "--base", metavar="RUN", help="folder of a run of NETWORK to compare with (default FOLDER/base)"
    )
    add_run_arguments(parser)


def run(options: argparse.Namespace) -> int:
    """Simulate base and plans, store and print what the plans change."""
    from pathlib import Path

    from hopyears.sim.commands.progress import progress_bar
    from hopyears.sim.commands.run_options import run_request
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.inputs.plan_file import read_plan
    from hopyears.sim.studies.compare import ComparedPlan, compare
    from hopyears.sim.studies.plan_tables import Comparison
    from hopyears.sim.wording.names import labels_of, relabelled

    base = read_network(options.network)
    plans = [ComparedPlan(Path(plan).stem, read_plan(plan, base)) for plan in options.plan]
    request, out = run_request(options, base.network), Path(options.out)
    with progress_bar("years") as bar:
        found = compare(
            base, plans, request, out, base_run=Path(options.base) if options.base else None, progress=bar
        )
    labels = labels_of(base.network)
    print_comparison(Comparison(*(relabelled(frame, labels) for frame in found)))
    names = ", ".join(f"{name}.parquet" for name in found._fields)
    say(
        terminal(WIDTH),
        f"By service, cause and row of the bill: {names} in {out}; a page: hopyears report {out}.",
    )
    return 0


def print_comparison(found: "Comparison") -> None:
    """The best plan first, then what each saves and costs; details stand in the tables."""
    from hopyears.sim.wording import plan_rows as rows

    plans, differences, _, bills = found
    console = terminal(WIDTH)
    say(console, rows.best_sentence(plans))
    heads, title = rows.PLAN_HEADS, "best first (sure of rank; beaten: as good for less)"
    if plans["cost_per_year"].isna().all():
        shown = plain_table(title, (*heads[:2], *heads[4:]), ("plan",))
    else:
        shown = plain_table(f"{title}; per 1,000 of money: min saved", heads, ("plan",))
    console.print(fill(shown, rows.plan_rows(plans)), markup=False)
    money = rows.money_rows(plans)
    if money:
        shown = plain_table(
            "penalties and undelivered Gbit saved, less what the plan costs", rows.MONEY_HEADS, ("plan",)
        )
        console.print(fill(shown, money), markup=False)
    for sentence in rows.bill_sentences(plans, bills):
        say(console, sentence)
    services = rows.service_rows(differences, SERVICES_SHOWN)
    if services:
        title = "services that change most (unavailable min/year)"
        shown = plain_table(title, ("plan", "service", "base", "plan's", "saved"), ("plan", "service"))
        console.print(fill(shown, services), markup=False)
    for sentence in rows.pairing_sentences(plans):
        say(console, sentence)
    say(console, "The same weather, nights and failures unless said; 95 % intervals of paired differences.")
