"""``hopyears advise``: what to buy, in which order, within a budget or for a target."""

import argparse
import sys
from typing import TYPE_CHECKING

from hopyears.sim.wording.terminal import fill, plain_table, say, terminal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from hopyears.sim.advice.advise import Advice
    from hopyears.sim.advice.confirm import Goal

WIDTH = 80


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK, what is wanted, what may be bought, and how to simulate."""
    from hopyears.sim.commands.run_options import add_run_arguments

    parser.add_argument("network", help="network file (TOML) with prices")
    wanted = parser.add_mutually_exclusive_group(required=True)
    wanted.add_argument(
        "--budget",
        type=float,
        metavar="X",
        help="money for all payments of the stated life, later ones at the stated rate",
    )
    wanted.add_argument("--target", metavar="ID=99.99%", help="availability of a service, for least money")
    parser.add_argument(
        "--candidates",
        metavar="FILE",
        help="file (TOML) with [[candidates]], each an id and the entries of a plan, as a hop that closes a "
        "ring; made = false leaves out those that the network suggests",
    )
    parser.add_argument("--out", required=True, metavar="FOLDER", help="folder for the runs, which are kept")
    parser.add_argument("--page", metavar="FILE", help="write a page of it there")
    add_run_arguments(parser, years=100)


def goal_of(options: argparse.Namespace) -> "Goal":
    """What is wanted, from the command line."""
    from hopyears.sim.advice.confirm import Goal
    from hopyears.sim.inputs.input_errors import InputError

    if options.budget is not None:
        if not options.budget >= 0.0:
            raise InputError(f"--budget is {options.budget:g}; must be at least 0")
        return Goal(budget=options.budget)
    service, _, level = options.target.rpartition("=")
    try:
        share = float(level.removesuffix("%").strip()) / 100.0
    except ValueError:
        share = 0.0
    if not service or not 0.0 < share < 1.0:
        raise InputError(f'--target is "{options.target}"; must be ID=PERCENT, as mill-hub=99.99%')
    return Goal(service=service, availability=share)


def run(options: argparse.Namespace) -> int:
    """Search, simulate, store and print what to buy."""
    from dataclasses import replace
    from pathlib import Path

    from hopyears.sim.advice.advise import OPTIONS, Advice, advise
    from hopyears.sim.advice.candidates import read_candidates
    from hopyears.sim.commands.run_options import run_request
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.wording.names import id_of, labels_of, relabelled

    goal, source = goal_of(options), read_network(options.network)
    if options.replications is None:
        options.replications = OPTIONS.replications
    labels = labels_of(source.network)
    goal = replace(goal, service=id_of(goal.service, labels["services"]))
    named, made = read_candidates(Path(options.candidates)) if options.candidates else ([], True)
    try:
        found = advise(
            source,
            goal,
            run_request(options, source.network),
            Path(options.out),
            named=named,
            made=made,
            tell=lambda text: print(_in_short(text, labels), file=sys.stderr),
        )
    except KeyboardInterrupt:
        print(f"stopped; finished blocks are kept in {options.out}, the same again goes on", file=sys.stderr)
        return 1
    found = Advice(*(relabelled(frame, labels) for frame in found))
    goal = replace(goal, service=labels["services"].get(goal.service, goal.service))
    print_advice(found, goal, source.network.prices.currency)
    names = ", ".join(f"{name}.parquet" for name in found._fields)
    say(terminal(WIDTH), f"Every candidate and set: {names} in {options.out}.")
    if options.page:
        from hopyears.sim.inputs.input_text import write_text
        from hopyears.sim.report.advice_page import advice_page
        from hopyears.sim.storage.run_folder import RunFolder

        manifest = {**RunFolder(Path(options.out) / "base").manifest(), "years": options.years}
        page = advice_page(found, goal, manifest, source.network.prices.currency)
        print(write_text(Path(options.page), page))
    return 0


def _in_short(text: str, labels: "Mapping[str, Mapping[str, str]]") -> str:
    """One line of progress, with names in place of ids."""
    from textwrap import shorten

    from hopyears.sim.wording.names import TEXTS

    what, joint, things = text.partition(" with ")
    return shorten(f"simulating: {what}{joint}{TEXTS['bought'](things, labels)}", WIDTH, placeholder=" ...")


def print_advice(found: "Advice", goal: "Goal", currency: str) -> None:
    """What to buy, then each step with its next best."""
    from hopyears.sim.wording import advice_rows as rows

    console = terminal(WIDTH)
    for sentence in rows.answer(found.purchases, found.contenders, goal, currency):
        say(console, sentence)
    title = f"in this order ({currency} over the life; left: a year)"
    shown = plain_table(title, rows.HEADS, ("buy", "next best (left)"))
    console.print(fill(shown, rows.purchase_rows(found.purchases)), markup=False)
    say(console, rows.RIGHT)
    for sentence in rows.missing_sentences(found.candidates):
        say(console, sentence)
