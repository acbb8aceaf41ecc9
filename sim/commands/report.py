"""``hopyears report``: one web page, readable offline, from the results of a run."""

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN and where to write."""
    parser.add_argument("run", metavar="RUN", help="folder that 'hopyears simulate' wrote")
    parser.add_argument("--to", metavar="FILE", help="page to write; default RUN/report.html")


def run(options: argparse.Namespace) -> int:
    """Write the page and print where it is."""
    from hopyears.sim.report.page import report_page
    from hopyears.sim.runs.results import Results

    folder = Path(options.run)
    results = Results.load(folder)
    path = Path(options.to) if options.to else folder / "report.html"
    _replace(path, report_page(results))
    print(path)
    return 0


def _replace(path: Path, text: str) -> None:
    """Write under a temporary name, then rename: an old page stays until the new one is whole."""
    from hopyears.sim.inputs.network_file import InputError

    partial = path.with_name(f".{path.name}.partial")
    try:
        partial.write_text(text, encoding="utf-8")
        partial.replace(path)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise InputError(f"{path}: report cannot be written ({error.strerror})") from None
