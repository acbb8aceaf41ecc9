"""``hopyears report``: one web page from the results of a run, and pages that replay its outages."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hopyears.sim.runs.results import Results

DEFAULT_REPLAYS = 3


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN and where to write."""
    parser.add_argument("run", metavar="RUN", help="folder that simulate, compare or modulation wrote")
    parser.add_argument("--to", metavar="FILE", help="page to write; default RUN/report.html")
    parser.add_argument(
        "--replays",
        type=int,
        default=DEFAULT_REPLAYS,
        metavar="N",
        help="pages beside it on which the N longest outages are played again, whose blocks are drawn anew "
        f"(default {DEFAULT_REPLAYS})",
    )
    parser.add_argument(
        "--brief",
        action="store_true",
        help="instead a page for those who decide: one sheet of A4, default RUN/brief.html",
    )


def run(options: argparse.Namespace) -> int:
    """Write the page and print where it is."""
    from hopyears.sim.inputs.input_errors import InputError
    from hopyears.sim.inputs.input_text import write_text
    from hopyears.sim.modulation.store import STUDY
    from hopyears.sim.report.brief import brief_page
    from hopyears.sim.report.page import report_page
    from hopyears.sim.runs.results import Results

    if options.replays < 0:
        raise InputError(f"--replays is {options.replays}; must be at least 0")
    folder = Path(options.run)
    page = Path(options.to) if options.to else folder / ("brief.html" if options.brief else "report.html")
    if (folder / "differences.parquet").is_file():
        text = _compared(folder)
    elif (folder / STUDY).is_file():
        text = _studied(folder)
    else:
        results = Results.load(folder)
        if options.brief:
            text = brief_page(results)
        else:
            replays = _replays(results, folder, page, options.replays)
            text = report_page(results, run=str(folder), replays=replays)
    print(write_text(page, text))
    return 0


def _compared(folder: Path) -> str:
    """The page of a comparison; years, seed and names are those of any run in its folder."""
    from hopyears.sim.report.compare_page import compare_page
    from hopyears.sim.runs.results import Results
    from hopyears.sim.storage.run_folder import MANIFEST
    from hopyears.sim.storage.stored_tables import stored_table
    from hopyears.sim.studies.plan_tables import Comparison
    from hopyears.sim.wording.names import labels_of, relabelled

    runs = sorted(folder.glob(f"*/{MANIFEST}"), key=lambda path: path.parent.name != "base")
    base = Results.load(runs[0].parent if runs else folder / "base")
    labels = labels_of(base.network)
    tables = (relabelled(stored_table(folder, name).to_pandas(), labels) for name in Comparison._fields)
    return compare_page(Comparison(*tables), base.manifest, str(base.network["prices"]["currency"]))


def _studied(folder: Path) -> str:
    """The page of a study of modulation."""
    from hopyears.sim.modulation.page import modulation_page
    from hopyears.sim.modulation.store import STUDY
    from hopyears.sim.storage.run_folder import RunFolder

    study = RunFolder(folder, STUDY)
    tables = {name: table.to_pandas() for name, table in study.read_results().items()}
    return modulation_page(tables, {**study.manifest(), **study.results_rest_on()})


def _replays(results: "Results", folder: Path, page: Path, n: int) -> dict[tuple[str, int], str]:
    """Write the replays of the longest outages beside the page; none where the run cannot be drawn again."""
    from hopyears.sim.inputs.input_errors import InputError
    from hopyears.sim.inputs.input_text import write_text
    from hopyears.sim.report.page_rows import longest_rows
    from hopyears.sim.report.replay_page import replay_page
    from hopyears.sim.runs.rerun import open_run
    from hopyears.sim.studies.explain import reopen, worst_outages
    from hopyears.sim.wording.names import labels_of

    longest = longest_rows(results.tables["longest_outages"])[:n]
    if not longest:
        return {}
    written, labels = {}, labels_of(results.network)["services"]
    try:
        opened = open_run(folder)
        for place, row in enumerate(longest, start=1):
            outage = worst_outages(opened, row["service"], row["number"])[row["number"] - 1]
            path = page.with_name(f"{page.stem}-outage-{place}.html")
            print(write_text(path, replay_page(reopen(opened, row["service"], outage))))
            written[labels[row["service"]], row["number"]] = path.name
    except InputError as error:
        print(f"warning: no replays: {error}", file=sys.stderr)
    return written
