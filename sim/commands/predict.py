"""``hopyears predict``: each hop and service by the published standards alone."""

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd
    from rich.table import Table


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK and where to write the full tables."""
    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument("--csv", metavar="FILE", help="write the full hop table there too")


def run(options: argparse.Namespace) -> int:
    """Print link budget and predicted outages of hops, then the textbook sum of services."""
    from pathlib import Path

    from rich.console import Console

    from sim.network_file import InputError, read_network
    from sim.predict import predict_hops, predict_services
    from sim.prepared import ModelOptions, prepare

    source = read_network(options.network)
    prepared = prepare(source.network, ModelOptions(anchoring=False))
    hops, services = predict_hops(prepared), predict_services(prepared)
    console = Console(width=None if Console().is_terminal else 220)
    for title, columns, formats in _HOP_TABLES:
        console.print(_table(title, hops, columns, formats), markup=False)
    if len(services):
        console.print(
            _table("services: textbook sum along the working route", services, *_SERVICES), markup=False
        )
    for warning in source.warnings:
        console.print(f"warning: {warning}", highlight=False, markup=False)
    if options.csv:
        try:
            hops.to_csv(Path(options.csv), index=False)
        except OSError as error:
            raise InputError(f"{options.csv}: file is not writable ({error.strerror}); must be") from None
    return 0


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
            "received_level_dbm",
            "threshold_dbm",
            "margin_db",
            "rain_margin_db",
        ),
        ("", "", ".2f", "g", "d", ".0f", ".1f", ".2f", ".1f", ".1f", ".1f", ".1f"),
    ),
    (
        "hops: outage by the standards; worst-month figures are fractions of that month",
        (
            "hop",
            "states",
            "rain_attenuation_001_db",
            "rain_min_per_year",
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
        ("", "d", ".1f", ".3g", ".3g", ".2e", ".2e", ".2e", ".2e", ".3g", ".3g", ".3g", ".4g"),
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
