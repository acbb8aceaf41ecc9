"""``hopyears modulation``: adaptive against fixed modulation, on the same weather, nights and failures."""

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd
    from rich.console import Console
    from rich.table import Table

    from sim.inputs.network_file import NetworkSource
    from sim.runs.simulate import RunRequest


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK, which hops and modulations, and how to simulate."""
    from sim.commands.run_options import add_run_arguments

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
        help="fixed modulation by its number of states, may be given again; default every one in use",
    )
    parser.add_argument("--out", metavar="FOLDER", help="write all tables there, a new or empty folder")
    add_run_arguments(parser, years=100)


def run(options: argparse.Namespace) -> int:
    """Simulate, print the comparison, and store the tables."""
    from rich.console import Console

    from sim.blocks.prepared import prepare
    from sim.commands.progress import progress_bar
    from sim.commands.run_options import run_request
    from sim.inputs.network_file import read_network
    from sim.studies.modulation_study import modulation_study

    source = read_network(options.network)
    request = run_request(options)
    folder = None if options.out is None else _new_folder(Path(options.out))
    hops = None if options.hop is None or "all" in options.hop else options.hop
    with progress_bar("years") as bar:
        tables = modulation_study(
            prepare(source.network, request.options),
            request,
            hops=hops,
            states=options.states,
            progress=bar,
        )
    if folder is not None:
        _store(folder, tables, source, request)
    _print(Console(width=None if Console().is_terminal else 200), tables)
    return 0


def _new_folder(path: Path) -> Path:
    from sim.inputs.network_file import InputError

    if path.is_file():
        raise InputError(f"{path}: output folder is a file; must be a folder")
    held = sorted(item.name for item in path.iterdir()) if path.is_dir() else []
    if held:
        raise InputError(f'{path}: output folder is not empty (holds "{held[0]}"); must be new or empty')
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{path}: output folder is not writable ({error.strerror})") from None
    return path


def _store(
    folder: Path, tables: "Mapping[str, pd.DataFrame]", source: "NetworkSource", request: "RunRequest"
) -> None:
    import pyarrow as pa

    from sim.runs.simulate import manifest_of
    from sim.runs.store import MANIFEST, write_json, write_table

    for name, frame in tables.items():
        write_table(folder / f"{name}.parquet", pa.Table.from_pandas(frame, preserve_index=False))
    write_json(folder / MANIFEST, manifest_of(source, request))


def _print(console: "Console", tables: "Mapping[str, pd.DataFrame]") -> None:
    console.print(_cases("hops: capacity, fixed modulation against adaptive", tables["hops"]), markup=False)
    if len(tables["services"]):
        title = "services: rate, every hop fixed at so many states (or its next lower) against adaptive"
        console.print(_cases(title, tables["services"]), markup=False)
        console.print(_route_shares(tables["service_modulations"]), markup=False)
    console.print(
        "Same weather, nights and failures in all; 95 % intervals; differences are fixed less adaptive, "
        "paired. 'adaptive below' is the time in which adaptive modulation has less than the fixed one has "
        "at its best.",
        highlight=False,
        markup=False,
    )


def _plain_table(title: str, columns: tuple[str, ...], left: int) -> "Table":
    from rich.table import Table

    table = Table(title=title, title_justify="left", header_style="", show_edge=False, pad_edge=False)
    for number, column in enumerate(columns):
        table.add_column(column, justify="left" if number < left else "right")
    return table


def _cases(title: str, frame: "pd.DataFrame") -> "Table":
    from sim.commands.shown import interval_text

    kind = frame.columns[0]
    columns = (
        kind,
        "states",
        "best Mbit/s",
        "unavailable min/year",
        "difference min/year",
        "mean Mbit/s",
        "difference Mbit/s",
        "99.9 %",
        "99.99 %",
        "99.999 %",
    )
    against_best = "adaptive_below_min_per_year" in frame
    table = _plain_table(title, (*columns, "adaptive below min/year") if against_best else columns, 1)
    for _, row in frame.iterrows():
        fixed = bool(row["states"])
        table.add_row(
            row[kind],
            str(row["states"]) if fixed else "adaptive",
            f"{row['best_mbit_s']:.4g}",
            interval_text(row, "unavailable_min_per_year"),
            _signed(row, "difference_min_per_year") if fixed else "",
            f"{row['mean_mbit_s']:.5g}",
            _signed(row, "difference_mbit_s") if fixed else "",
            f"{row['mbit_s_99_9']:.4g}",
            f"{row['mbit_s_99_99']:.4g}",
            f"{row['mbit_s_99_999']:.4g}",
            *([f"{row['adaptive_below_min_per_year']:.3g}" if fixed else ""] if against_best else []),
        )
    return table


def _signed(row: "pd.Series", name: str) -> str:
    return f"{row[name]:+.3g} [{row[f'{name}_low']:+.3g} .. {row[f'{name}_high']:+.3g}]"


def _route_shares(frame: "pd.DataFrame") -> "Table":
    shares = frame.pivot_table(index="service", columns="states", values="share", fill_value=0.0, sort=False)
    shares = shares[sorted(shares.columns)]
    names = tuple(f"{states}" if states else "down" for states in shares.columns)
    title = "services: share of time at each lowest modulation along the working route, per cent"
    table = _plain_table(title, ("service", *names), 1)
    for service, own in shares.iterrows():
        table.add_row(str(service), *(f"{100 * share:.4f}" if share else "-" for share in own))
    return table
