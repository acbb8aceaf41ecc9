"""``hopyears simulate``: many years of a network into a folder of results."""

import argparse
import sys

GOES_ON = "--resume goes on from there"
"""What a stopped run is told."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK, years, seed, folder, and which parts of the model run."""
    from hopyears.sim.commands.run_options import add_run_arguments

    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument(
        "--until",
        metavar="GOAL",
        help="stop sooner, when a service is known well enough: 'service=ID halfwidth=10%%' stops when half "
        "the 95 %% interval of its unavailable minutes is 10 %% of them; --years is then the most",
    )
    parser.add_argument("--out", required=True, metavar="FOLDER", help="folder for the results, new or empty")
    parser.add_argument("--resume", action="store_true", help="add what a stopped run in that folder lacks")
    parser.add_argument("--quiet", action="store_true", help="no progress and no summary, only warnings")
    add_run_arguments(parser)


def run(options: argparse.Namespace) -> int:
    """Simulate, store, and print a summary."""
    from hopyears.sim.commands.progress import progress_bar
    from hopyears.sim.commands.run_options import run_request
    from hopyears.sim.commands.summary_text import print_summary
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.runs.results import Results
    from hopyears.sim.runs.simulate import simulate
    from hopyears.sim.runs.stopping import parse_goal

    goal = None if options.until is None else parse_goal(options.until)
    source = read_network(options.network)
    request = run_request(options, source.network, until=goal)
    with progress_bar("years", quiet=options.quiet) as progress:
        simulate(source, request, options.out, resume=options.resume, progress=progress, warn=_warn)
    if not options.quiet:
        print_summary(Results.load(options.out), options.out)
    return 0


def _warn(warning: str) -> None:
    print(f"warning: {warning}", file=sys.stderr)
