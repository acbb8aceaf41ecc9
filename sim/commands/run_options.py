"""Options that several verbs share: how long to simulate, from which seed, with which parts of the model."""

import argparse
import logging
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hopyears.models.network.network import Network
    from hopyears.sim.blocks.prepared import ModelOptions
    from hopyears.sim.runs.block_pool import Workers
    from hopyears.sim.runs.simulate import RunRequest
    from hopyears.sim.runs.stopping import PrecisionGoal

LOG = logging.getLogger("hopyears")

MOST_REPLICATIONS = 1000


def add_run_arguments(parser: argparse.ArgumentParser, *, years: int = 200, replicated: bool = True) -> None:
    """Years, seed, workers and parts of the model, for the verbs that simulate; ``years`` is the default.

    ``replicated`` for verbs whose figures rest on replications; the others have none.
    """
    parser.add_argument(
        "--years", type=int, default=years, metavar="N", help=f"years to simulate (default {years})"
    )
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="seed of all random draws (default 1)"
    )
    add_workers_argument(parser)
    _add_model_arguments(parser)
    if replicated:
        _add_replications(parser)
    else:
        parser.set_defaults(replications=0)


def add_workers_argument(parser: argparse.ArgumentParser) -> None:
    """How many processes, or which cluster; they change nothing but the time taken."""
    parser.add_argument(
        "--workers",
        type=int,
        metavar="N",
        help="processes at the same time (default one for each processor, fewer where memory is short)",
    )
    parser.add_argument(
        "--cluster",
        metavar="tcp://HOST:PORT",
        help="work on the workers of the dask.distributed scheduler at this address instead",
    )


def workers_of(options: argparse.Namespace, network: "Network") -> "Workers":
    """Who works on the blocks of a network, from the command line; says so if that is not every processor."""
    asked: Workers | None = options.workers if options.cluster is None else options.cluster
    if asked is not None:
        return asked
    if not wants_workers(options):
        return 1
    from hopyears.sim.runs.machine import processes_that_fit

    sizes = len(network.hops), len(network.services)
    number, why_fewer = processes_that_fit(*sizes, getattr(options, "block_years", 10))
    if why_fewer:
        LOG.warning("note: %s", why_fewer)
    return number


def wants_workers(options: argparse.Namespace) -> bool:
    """Whether a verb may have blocks for more than one worker."""
    from hopyears.sim.runs.machine import processors

    if "workers" not in options or options.cluster is not None:
        return False
    if (processors() if options.workers is None else options.workers) < 2:
        return False
    several: bool = options.blocks > 1 if "blocks" in options else options.years > options.block_years
    return several


def at_least(options: argparse.Namespace, **least: int) -> None:
    """Refuse an option below the least that it may be, by name.

    Raises
    ------
    InputError
    """
    from hopyears.sim.inputs.input_errors import InputError

    for name, value in least.items():
        found = getattr(options, name)
        if found is not None and found < value:
            raise InputError(f"--{name} is {found}; must be at least {value}")


def _add_model_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--block-years",
        type=int,
        default=10,
        metavar="N",
        help="years of one independent block; intervals come from how blocks differ (default 10)",
    )
    parser.add_argument("--no-rain", action="store_true", help="leave rain out")
    parser.add_argument("--no-multipath", action="store_true", help="leave multipath out")
    parser.add_argument(
        "--no-failures", action="store_true", help="leave out equipment failures, power cuts and planned work"
    )
    parser.add_argument(
        "--no-anchoring",
        action="store_true",
        help="rain attenuation as the rain model gives it, not fitted to P.530 or to measured percentiles",
    )
    parser.add_argument(
        "--no-queue", action="store_true", help="crews and spares without limit: nobody waits for either"
    )


def _add_replications(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--replications",
        type=int,
        metavar="N",
        help="for experts: histories of failures beside each block's own, a third as many with a rare one "
        "(default 48, of advise 16; fewer widen the intervals)",
    )


def model_options(options: argparse.Namespace) -> "ModelOptions":
    """Options of the model from the command line."""
    from hopyears.sim.blocks.prepared import ModelOptions
    from hopyears.sim.inputs.input_errors import InputError
    from hopyears.sim.runs.simulate import DEFAULT_REPLICATIONS

    replications = DEFAULT_REPLICATIONS if options.replications is None else options.replications
    if not 0 <= replications <= MOST_REPLICATIONS:
        raise InputError(f"--replications is {replications}; must be 0 to {MOST_REPLICATIONS}")
    return ModelOptions(
        rain=not options.no_rain,
        multipath=not options.no_multipath,
        failures=not options.no_failures,
        anchoring=not options.no_anchoring,
        queues=not options.no_queue,
        replications=replications,
    )


def run_request(
    options: argparse.Namespace, network: "Network", *, until: "PrecisionGoal | None" = None
) -> "RunRequest":
    """How long a network is simulated, from which seed and with which model, from the command line."""
    from hopyears.sim.runs.simulate import RunRequest

    return RunRequest(
        years=options.years,
        seed=options.seed,
        block_years=options.block_years,
        workers=workers_of(options, network),
        options=model_options(options),
        until=until,
    )
