"""Options that several verbs share: how long to simulate, from which seed, with which parts of the model."""

import argparse
import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hopyears.sim.blocks.prepared import ModelOptions
    from hopyears.sim.runs.simulate import RunRequest
    from hopyears.sim.runs.stopping import PrecisionGoal

MOST_HISTORIES = 1000
LARGEST_FACTOR = 100


def add_run_arguments(parser: argparse.ArgumentParser, *, years: int = 200) -> None:
    """Years, seed, workers and parts of the model, for the verbs that simulate; ``years`` is the default."""
    parser.add_argument(
        "--years", type=int, default=years, metavar="N", help=f"years to simulate (default {years})"
    )
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="seed of all random draws (default 1)"
    )
    add_workers_argument(parser)
    _add_model_arguments(parser)


def add_workers_argument(parser: argparse.ArgumentParser) -> None:
    """How many processes; they change nothing but the time taken."""
    parser.add_argument(
        "--workers",
        type=int,
        default=os.cpu_count() or 1,
        metavar="N",
        help="worker processes (default one for each processor)",
    )


def _add_model_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--block-years", type=int, default=10, metavar="N", help="years of one independent block (default 10)"
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
        help="narrow the interval of rare outages by N weighted replications of each block: histories of "
        "failures and heavier storms (default 0: off; 20 to 100 are of use)",
    )
    parser.add_argument(
        "--raise",
        type=float,
        default=1.0,
        dest="raised",
        metavar="K",
        help="with --control: in those replications rare parts that take long to mend fail K times as often, "
        "and each is weighted by its likelihood ratio (default 1: off; 3 to 10 are of use)",
    )
    parser.add_argument("--no-queue", action="store_true", help="nobody waits for a crew or a spare")


def model_options(options: argparse.Namespace) -> "ModelOptions":
    """Options of the model from the command line."""
    from hopyears.sim.blocks.prepared import ModelOptions
    from hopyears.sim.inputs.network_file import InputError

    if not 0 <= options.control <= MOST_HISTORIES:
        raise InputError(f"--control is {options.control}; must be 0 to {MOST_HISTORIES}")
    if not 1.0 <= options.raised <= LARGEST_FACTOR:
        raise InputError(f"--raise is {options.raised:g}; must be 1 to {LARGEST_FACTOR}")
    if options.raised > 1.0 and not options.control:
        raise InputError("--raise is given without --control; must be given with it")
    return ModelOptions(
        rain=not options.no_rain,
        multipath=not options.no_multipath,
        failures=not options.no_failures,
        anchoring=not options.no_anchoring,
        queues=not options.no_queue,
        control=options.control,
        raised=options.raised,
    )


def run_request(options: argparse.Namespace, *, until: "PrecisionGoal | None" = None) -> "RunRequest":
    """How long, from which seed and with which model, from the command line."""
    from hopyears.sim.runs.simulate import RunRequest

    return RunRequest(
        years=options.years,
        seed=options.seed,
        block_years=options.block_years,
        workers=options.workers,
        options=model_options(options),
        until=until,
    )
