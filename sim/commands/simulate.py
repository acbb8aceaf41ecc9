"""``hopyears simulate``: many years of a network into a folder of results."""

import argparse
import os
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sim.runs.simulate import RunRequest
    from sim.runs.stopping import PrecisionGoal

MOST_HISTORIES = 1000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK, years, seed, folder, and which parts of the model run."""
    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument("--years", type=int, default=200, help="years to simulate (default 200)")
    parser.add_argument(
        "--until",
        metavar="GOAL",
        help="stop sooner, when a service is known well enough: 'service=ID halfwidth=10%%' stops when half "
        "the 95 %% interval of its unavailable minutes is 10 %% of them; --years is then the most",
    )
    parser.add_argument("--seed", type=int, default=1, help="seed of all random draws (default 1)")
    parser.add_argument("--out", required=True, help="folder for the results, new or empty")
    parser.add_argument("--resume", action="store_true", help="add what a stopped run in that folder lacks")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, help="worker processes")
    add_model_arguments(parser)


def add_model_arguments(parser: argparse.ArgumentParser) -> None:
    """Block length and parts of the model, shared by the verbs that simulate."""
    parser.add_argument(
        "--block-years", type=int, default=10, help="years of one independent block (default 10)"
    )
    parser.add_argument("--no-rain", action="store_true", help="leave rain out")
    parser.add_argument("--no-multipath", action="store_true", help="leave multipath out")
    parser.add_argument("--no-failures", action="store_true", help="leave failures and power cuts out")
    parser.add_argument(
        "--no-anchoring", action="store_true", help="take rain attenuation as the cell model gives it"
    )
    parser.add_argument(
        "--control",
        type=int,
        default=0,
        metavar="N",
        help="make rare outages surer: draw N more histories of failures beside each block's own, and hold "
        "its rain against the known law (default 0: off; 20 to 100 are of use)",
    )
    parser.add_argument("--no-queue", action="store_true", help="nobody waits for a crew or a spare")


def model_options(options: argparse.Namespace):  # type: ignore[no-untyped-def]
    """Options of the model from the command line."""
    from sim.blocks.prepared import ModelOptions
    from sim.inputs.network_file import InputError

    if not 0 <= options.control <= MOST_HISTORIES:
        raise InputError(f"--control is {options.control}; must be 0 to {MOST_HISTORIES}")
    return ModelOptions(
        rain=not options.no_rain,
        multipath=not options.no_multipath,
        failures=not options.no_failures,
        anchoring=not options.no_anchoring,
        queues=not options.no_queue,
        control=options.control,
    )


def run_request(options: argparse.Namespace, *, until: "PrecisionGoal | None" = None) -> "RunRequest":
    """How long, from which seed and with which model, from the command line."""
    from sim.runs.simulate import RunRequest

    return RunRequest(
        years=options.years,
        seed=options.seed,
        block_years=options.block_years,
        workers=options.workers,
        options=model_options(options),
        until=until,
    )


def run(options: argparse.Namespace) -> int:
    """Simulate, store, and print a summary."""
    from sim.commands.progress import progress_bar
    from sim.commands.summary_text import print_summary
    from sim.inputs.network_file import read_network
    from sim.runs.results import Results
    from sim.runs.simulate import simulate
    from sim.runs.stopping import parse_goal

    goal = None if options.until is None else parse_goal(options.until)
    source = read_network(options.network)
    for warning in source.warnings:
        print(f"warning: {warning}", file=sys.stderr)
    request = run_request(options, until=goal)
    with progress_bar("years") as progress:
        try:
            simulate(source, request, options.out, resume=options.resume, progress=progress)
        except KeyboardInterrupt:
            print(
                f"stopped; finished blocks are kept in {options.out}, --resume goes on from there",
                file=sys.stderr,
            )
            return 1
    print_summary(Results.load(options.out))
    return 0
