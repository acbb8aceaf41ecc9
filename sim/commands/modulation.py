"""``hopyears modulation``: adaptive against fixed modulation, on the same weather, nights and failures."""

import argparse
from collections.abc import Mapping
from typing import TYPE_CHECKING

from hopyears.sim.wording.terminal import ROWS_SHOWN, fill, plain_table, print_table, say, terminal

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console
    from rich.table import Table

    from hopyears.sim.wording.wording import Cell

GOES_ON = "--resume goes on from there"
"""What a stopped run is told."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK, which hops and modulations, and how to simulate."""
    from hopyears.sim.commands.run_options import add_run_arguments

    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument(
        "--hop",
        action="append",
        metavar="ID",
        help="hop to study, may be given again; 'all' (the default) studies services as well",
    )
    parser.add_argument(
        "--states",
        action="append",
        type=int,
        metavar="N",
        help="fixed modulation by its number of states (16 for 16-QAM), may be given again; default every "
        "one in use",
    )
    parser.add_argument(
        "--out", metavar="FOLDER", help="keep blocks, tables and figures there, a new or empty folder"
    )
    parser.add_argument(
        "--resume", action="store_true", help="add what a stopped study in that folder lacks, or more years"
    )
    parser.add_argument(
        "--all", action="store_true", help=f"print every row, not the first {ROWS_SHOWN} of each table"
    )
    add_run_arguments(parser, years=100, replicated=False)


def run(options: argparse.Namespace) -> int:
    """Simulate, store, and print the comparison."""
    from hopyears.sim.blocks.prepared import prepare
    from hopyears.sim.commands.progress import progress_bar
    from hopyears.sim.commands.run_options import run_request
    from hopyears.sim.inputs.input_errors import InputError
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.modulation.store import kept_study
    from hopyears.sim.modulation.study import modulation_study
    from hopyears.sim.wording.names import id_of, labels_of, relabelled

    if options.resume and options.out is None:
        raise InputError("--resume is given without --out; must be given with the folder of the study")
    source = read_network(options.network)
    request = run_request(options, source.network)
    labels = labels_of(source.network)
    hops = None
    if options.hop is not None and "all" not in options.hop:
        hops = [id_of(hop, labels["hops"]) for hop in options.hop]
    prepared = prepare(source.network, request.options)
    asked = {"hops": hops, "states": options.states}
    with progress_bar("years") as bar:
        if options.out is None:
            tables = modulation_study(prepared, request, **asked, progress=bar)
        else:
            tables = kept_study(
                source, prepared, request, options.out, **asked, resume=options.resume, progress=bar
            )
    console = terminal()
    shown = {name: relabelled(table, labels) for name, table in tables.items()}
    _print(console, shown, every_row=options.all)
    if options.out is not None:
        _draw(shown, options.out, f"{source.network.title}, seed {request.seed}")
    return 0


def _draw(tables: "Mapping[str, pd.DataFrame]", out: str, title: str) -> None:
    """Write the study's figures beside its tables, and say which."""
    from hopyears.sim.modulation.pictures import write_pictures
    from hopyears.sim.modulation.store import STUDY
    from hopyears.sim.storage.run_folder import RunFolder

    years = RunFolder(out, STUDY).results_rest_on()["years"]
    for picture in write_pictures(tables, out, note=f"{title}, {years} years"):
        print(f"{picture.path}: {picture.caption}")  # a path is never broken


def _print(console: "Console", tables: "Mapping[str, pd.DataFrame]", *, every_row: bool) -> None:
    for kind, every in (("hop", tables["hops"]), ("service", tables["services"])):
        if every.empty:
            continue
        names = list(dict.fromkeys(every[kind]))
        kept = names if every_row else names[:ROWS_SHOWN]
        own, shares = (frame[frame[kind].isin(kept)] for frame in (every, tables[f"{kind}_modulations"]))
        shown = [_cases(kind, own), _modulations(kind, shares)]
        if kind == "hop" and len(tables["hop_weather"]):
            beside = tables["hop_weather"]
            shown.insert(1, _weather(beside[beside["hop"].isin(kept)]))
        for table in shown:
            print_table(console, table)
        if len(kept) < len(names):
            say(console, f"... and {len(names) - len(kept)} more {kind}s (--all shows them)")
    if len(tables["undelivered"]):
        print_table(console, _undelivered(tables["undelivered"]))
    say(
        console,
        "Same weather, nights and failures in all; 95 % intervals; differences are fixed less adaptive, "
        "paired. 'Mbit/s 99.99 %' is had for that share of the time. 'adaptive below' is the time in which "
        "adaptive modulation has less than the fixed one has at its best.",
    )


TITLES = {
    "hop": "hops: capacity, fixed modulation against adaptive",
    "service": "services: rate, every hop fixed at so many states (or its next lower) against adaptive",
}
SHARES = {
    "hop": "hops: share of channel time in each modulation",
    "service": "services: share of time at each lowest modulation along the working route",
}


SHARE_OF = {"share": "", "busy_share": ", busy hours"}
"""Columns of shares of time, and what is said of them behind a name."""


def _cases(kind: str, frame: "pd.DataFrame") -> "Table":
    from hopyears.sim.wording.wording import difference, figure_and_ends, given, records

    columns = (
        *(kind, "states", "best Mbit/s", "unavailable min/year", "mean Mbit/s", "Mbit/s 99.99 %"),
        *("difference min/year", "difference Mbit/s", "Mbit/s 99.9 %", "Mbit/s 99.999 %"),
    )
    against_best = "adaptive_below_min_per_year" in frame
    more = ("adaptive below min/year",) if against_best else ("not delivered Gbit/year",)
    table = plain_table(TITLES[kind], (*columns, *more), (kind,))
    for row in records(frame):
        fixed = bool(row["states"])
        cells = [
            row[kind],
            f"{row['states']}" if fixed else "adaptive",
            given(row["best_mbit_s"]),
            figure_and_ends(row, "unavailable_min_per_year"),
            given(row["mean_mbit_s"]),
            given(row["mbit_s_99_99"]),
            difference(row, "difference_min_per_year") if fixed else "",
            difference(row, "difference_mbit_s") if fixed else "",
            *(given(row[f"mbit_s_{share}"]) for share in ("99_9", "99_999")),
        ]
        if against_best:
            cells += [figure_and_ends(row, "adaptive_below_min_per_year")[0] if fixed else ""]
        else:
            cells += [figure_and_ends(row, "undelivered_gbit_per_year")]
        fill(table, [cells])
    return table


def _weather(frame: "pd.DataFrame") -> "Table":
    """Hops as they are, beside weather alone: equipment hides what weather does."""
    from hopyears.sim.wording.wording import figure_and_ends, records

    heads = {
        "unavailable min/year": "unavailable_min_per_year",
        "by weather alone": "weather_unavailable_min_per_year",
        "below best min/year": "below_best_min_per_year",
        "below best by weather": "weather_below_best_min_per_year",
        "steps/year": "steps_per_year",
        "steps by weather": "weather_steps_per_year",
    }
    table = plain_table("hops as they are, beside weather alone", ("hop", *heads), ("hop",))
    for row in records(frame):
        cells: list[str | Cell] = [str(row["hop"])]
        fill(table, [[*cells, *(figure_and_ends(row, name) for name in heads.values())]])
    return table


def _modulations(kind: str, frame: "pd.DataFrame") -> "Table":
    """One row a hop or service, one column a modulation."""
    from hopyears.sim.wording.wording import time_share

    wide = {
        name: frame.pivot(index=kind, columns="states", values=name) for name in SHARE_OF if name in frame
    }
    shares = wide["share"]
    names = tuple(f"{states}" if states else "down" for states in shares.columns)
    table = plain_table(SHARES[kind], (kind, *names), (kind,))
    rows: list[list[str | Cell]] = []
    for name in dict.fromkeys(frame[kind]):
        for column, own in wide.items():
            if not own.loc[name].isna().all():
                cells = own.loc[name].fillna(0.0).tolist()
                rows.append([f"{name}{SHARE_OF[column]}", *map(time_share, cells)])
    return fill(table, rows)


def _undelivered(frame: "pd.DataFrame") -> "Table":
    """What is not delivered by priority, the sum over causes; the stored table has each cause."""
    from hopyears.sim.wording.wording import difference, figure_and_ends, main_causes, records

    columns = (
        "states",
        "priority",
        "of peak Gbit/year",
        "difference",
        "of committed Gbit/year",
        "difference",
        "causes of the latter",
    )
    title = "not delivered, both directions together, by priority; differences to adaptive"
    table = plain_table(title, columns, ("states", "priority", "causes of the latter"))
    peak, committed = (f"{name}_per_year" for name in ("undelivered_mbit", "undelivered_committed_mbit"))
    figures = [name for name in frame.columns if "_mbit_per_year" in name]
    gigabits = frame.assign(**{name: frame[name] / 1000.0 for name in figures})
    for (states, priority), own in gigabits.groupby(["states", "priority"], sort=False):
        (row,) = records(own[own["cause"] == "all"])
        cells: list[str | Cell] = [
            f"{states}" if states else "adaptive",
            f"{priority}",
            figure_and_ends(row, peak),
            difference(row, f"difference_{peak}") if states else "",
            figure_and_ends(row, committed),
            difference(row, f"difference_{committed}") if states else "",
            main_causes(own[own["cause"] != "all"], committed),
        ]
        fill(table, [cells])
    return table
