"""``hopyears textbook``: from the textbook sum of a service to its simulated outage, step by step."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from hopyears.sim.wording.terminal import fill, plain_table, print_table, say, terminal

if TYPE_CHECKING:
    import pandas as pd


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """RUN, which service, how many blocks to simulate again without queues."""
    from hopyears.sim.commands.run_options import add_workers_argument

    parser.add_argument("run", metavar="RUN", help="folder that 'hopyears simulate' wrote")
    parser.add_argument("--service", metavar="ID", help="this service only; default every service")
    parser.add_argument(
        "--blocks",
        type=int,
        default=0,
        metavar="N",
        help="simulate N blocks again in which nobody waits for a crew or a spare, and tell what waiting "
        "costs (default 0: leave that out)",
    )
    add_workers_argument(parser)
    parser.add_argument("--csv", metavar="FILE", help="write the table there too")


def run(options: argparse.Namespace) -> int:
    """Print the steps of each service."""
    import pandas as pd

    from hopyears.sim.commands.progress import progress_bar
    from hopyears.sim.commands.run_options import at_least, workers_of
    from hopyears.sim.inputs.input_text import write_text
    from hopyears.sim.runs.rerun import open_run
    from hopyears.sim.runs.textbook_distance import distance_table, queue_table
    from hopyears.sim.wording.names import id_of, labels_of, relabelled

    at_least(options, blocks=0, workers=1)
    opened = open_run(options.run)
    labels = labels_of(opened.prepared.network)
    if options.service is not None:
        options.service = id_of(options.service, labels["services"])
        opened.service_index(options.service)
    table = distance_table(opened.prepared, opened.folder)
    if options.blocks and opened.prepared.options.queues and opened.prepared.options.failures:
        with progress_bar("blocks") as bar:
            waiting = queue_table(
                opened,
                n_blocks=options.blocks,
                workers=workers_of(options, opened.prepared.network),
                progress=bar,
            )
        table = pd.concat([table, waiting], ignore_index=True)
    if options.service is not None:
        table = table[table["service"] == options.service]
    _print(relabelled(table, labels))
    if options.csv:
        write_text(Path(options.csv), table.to_csv(index=False))
    return 0


def _print(table: "pd.DataFrame") -> None:
    from hopyears.sim.wording.details import step_cell
    from hopyears.sim.wording.wording import records

    console = terminal()
    if table.empty:
        say(console, "The run has no services.")
        return
    shown = plain_table(
        "from the textbook sum to the simulated outage",
        ("service", "step", "min/year", "95 % interval"),
        ("service", "step"),
    )
    for service, steps in table.groupby("service", sort=False):
        fill(
            shown,
            (
                [str(service) if place == 0 else "", row["step"], *step_cell(row)]
                for place, row in enumerate(records(steps))
            ),
        ).add_section()
    print_table(console, shown)
    say(console, "Steps with a sign lead from the textbook sum to the simulated figure and add up to it.")
