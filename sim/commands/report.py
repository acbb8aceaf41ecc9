"""``hopyears report``: one web page, readable offline, from the results of a run."""

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN and where to write."""
    parser.add_argument("run", metavar="RUN", help="folder that 'hopyears simulate' wrote")
    parser.add_argument("--to", metavar="FILE", help="page to write; default RUN/report.html")


def run(options: argparse.Namespace) -> int:
    """Write the page and print where it is."""
    from hopyears.sim.report.page import write_report
    from hopyears.sim.runs.results import Results

    folder = Path(options.run)
    results = Results.load(folder)
    print(write_report(results, Path(options.to) if options.to else folder / "report.html"))
    return 0
