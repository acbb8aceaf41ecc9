"""``hopyears predict``: each hop and service by the published standards alone."""

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd
    from rich.table import Table

    from hopyears.sim.inputs.network_file import NetworkSource


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK, a run to hold against it, and where to write the full table."""
    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument(
        "--against", metavar="RUN", help="folder of a run of this network: show its figures beside these"
    )
    parser.add_argument("--csv", metavar="FILE", help="write the full table there too")


def run(options: argparse.Namespace) -> int:
    """Print link budget and predicted outages of hops, then the textbook sum of services."""
    from rich.console import Console

    from hopyears.sim.blocks.prepared import ModelOptions, prepare
    from hopyears.sim.hops.hop_design import design_hops
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.runs.simulate import warnings_of
    from hopyears.sim.textbook.predict import predict_hops, predict_services

    source = read_network(options.network)
    if options.against:
        return _show_against(source, options)
    designs = design_hops(source.network)
    warnings = warnings_of(source, designs)
    prepared = prepare(source.network, ModelOptions(anchoring=False), designs)
    hops = predict_hops(prepared)
    services = predict_services(prepared, hops)
    console = Console(width=None if Console().is_terminal else 220)
    for title, columns, formats in _HOP_TABLES:
        console.print(_table(title, hops, columns, formats), markup=False)
    if len(services):
        console.print(
            _table("services: textbook sum along the working route", services, *_SERVICES), markup=False
        )
    for warning in warnings:
        console.print(f"warning: {warning}", highlight=False, markup=False)
    _write_csv(hops, options.csv)
    return 0


def _show_against(source: "NetworkSource", options: argparse.Namespace) -> int:
    """Print every predicted figure beside the simulated one, then how well each kind agrees."""
    import numpy as np
    from rich.console import Console

    from hopyears.sim.storage.run_folder import RunFolder
    from hopyears.sim.studies.against import NOTES, agreement, hold_against

    compared = hold_against(source, RunFolder(options.against))
    console = Console(width=None if Console().is_terminal else 140)
    shown = compared.assign(range=np.where(compared["in_range"], "", "outside"))
    console.print(_table("hops: by the standards and simulated", shown, *_AGAINST), markup=False)
    console.print(
        _table("agreement over hops and modulations", agreement(compared), *_AGREEMENT), markup=False
    )
    console.print(
        "Standard errors are of the ratio, from independent blocks; nan where too little was seen to tell. "
        "'outside' marks what lies beyond the range of its Recommendation.",
        highlight=False,
        markup=False,
    )
    for figure in (figure for figure in NOTES if (compared["figure"] == figure).any()):
        console.print(f"{figure}: {NOTES[figure]}", highlight=False, markup=False)
    _write_csv(compared, options.csv)
    return 0


def _write_csv(table: "pd.DataFrame", path: str | None) -> None:
    from pathlib import Path

    from hopyears.sim.inputs.network_file import InputError

    if path:
        try:
            table.to_csv(Path(path), index=False)
        except OSError as error:
            raise InputError(f"{path}: file is not writable ({error.strerror}); must be") from None


_AGAINST = (
    ("hop", "states", "figure", "unit", "predicted", "simulated", "ratio", "standard_error", "range"),
    ("", "d", "", "", ".3g", ".3g", ".3f", ".3f", ""),
)

_AGREEMENT = (
    ("figure", "cases", "median_ratio", "within_3_standard_errors", "none_seen", "out_of_range"),
    ("", "d", ".3f", ".0%", "d", "d"),
)


_HOP_TABLES = (
    (
        "hops: link budget, one row a modulation",
        (
            "hop",
            "scheme",
            "length_km",
            "frequency_ghz",
            "states",
            "capacity_mbit_s",
            "combining_loss_db",
            "gas_loss_db",
            "fixed_loss_db",
            "received_level_dbm",
            "threshold_dbm",
            "margin_db",
            "power_reduction_db",
            "rain_margin_db",
        ),
        ("", "", ".2f", "g", "d", ".0f", ".1f", ".2f", ".1f", ".1f", ".1f", ".1f", ".1f", ".1f"),
    ),
    (
        "hops: outage by the standards; worst-month figures are fractions of that month",
        (
            "hop",
            "states",
            "rain_attenuation_001_db",
            "with_wet_snow_001_db",
            "rain_min_per_year",
            "cross_polar_rain_min_per_year",
            "multipath_occurrence",
            "flat_worst_month",
            "dispersive_worst_month",
            "cross_polar_worst_month",
            "multipath_worst_month",
            "multipath_min_per_year",
            "equipment_min_per_year",
            "sites_min_per_year",
            "total_min_per_year",
        ),
        ("", "d", ".1f", ".1f", ".3g", ".3g", ".3g", ".2e", ".2e", ".2e", ".2e", ".3g", ".3g", ".3g", ".4g"),
    ),
)

_SERVICES = (
    (
        "service",
        "hops",
        "rain_min_per_year",
        "multipath_min_per_year",
        "equipment_min_per_year",
        "sites_min_per_year",
        "total_min_per_year",
    ),
    ("", "d", ".3g", ".3g", ".3g", ".3g", ".4g"),
)


def _table(title: str, frame: "pd.DataFrame", columns: Sequence[str], formats: Sequence[str]) -> "Table":
    from rich.table import Table

    table = Table(title=title, title_justify="left", header_style="", show_edge=False, pad_edge=False)
    for column, form in zip(columns, formats, strict=True):
        table.add_column(column.replace("_", " "), justify="right" if form else "left", overflow="fold")
    for _, row in frame.iterrows():
        table.add_row(*(format(row[column], form) for column, form in zip(columns, formats, strict=True)))
    return table
