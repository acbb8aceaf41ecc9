"""``hopyears predict``: each hop and service by the published standards alone."""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hopyears.sim.wording.terminal import ROWS_SHOWN, fill, plain_table, print_table, say, terminal

if TYPE_CHECKING:
    import pandas as pd
    from rich.table import Table

    from hopyears.sim.inputs.network_file import NetworkSource


HOPS_SHOWN = 12
"""Hops that are printed, those with most outage at their lowest modulation."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """NETWORK, a run to hold against it, and where to write the full table."""
    parser.add_argument("network", help="network file (TOML)")
    parser.add_argument(
        "--against", metavar="RUN", help="folder of a run of this network: show its figures beside these"
    )
    parser.add_argument("--csv", metavar="FILE", help="write the full table there too")


def run(options: argparse.Namespace) -> int:
    """Print the textbook sum of services, then predicted outages and link budget of hops."""
    from hopyears.sim.blocks.prepared import ModelOptions, prepare
    from hopyears.sim.hops.hop_design import design_hops
    from hopyears.sim.inputs.input_text import write_text
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.runs.simulate import warnings_of
    from hopyears.sim.textbook.predict import predict_hops, predict_services
    from hopyears.sim.wording.names import labels_of, relabelled

    source = read_network(options.network)
    if options.against:
        return _show_against(source, options)
    designs = design_hops(source.network)
    warnings = warnings_of(source, designs)
    prepared = prepare(source.network, ModelOptions(anchoring=False), designs)
    hops = predict_hops(prepared)
    services = predict_services(prepared, hops)
    console = terminal()
    labels = labels_of(source.network)
    if len(services):
        print_table(
            console,
            _table(
                "services: textbook sum along the working route", relabelled(services, labels), *_SERVICES
            ),
            elsewhere=_ELSEWHERE,
        )
    worst = hops.groupby("hop", sort=False)["total_min_per_year"].min().nlargest(HOPS_SHOWN)
    shown = relabelled(hops[hops["hop"].isin(worst.index)], labels)
    for title, columns, formats in _HOP_TABLES:
        print_table(console, _table(title, shown, columns, formats), elsewhere=_ELSEWHERE)
    if len(designs) > len(worst):
        say(console, f"... and {len(designs) - len(worst):,} hops that lose less; --csv FILE has all.")
    for warning in warnings:
        say(console, f"warning: {warning}")
    if options.csv:
        write_text(Path(options.csv), hops.to_csv(index=False))
    return 0


def _show_against(source: "NetworkSource", options: argparse.Namespace) -> int:
    """Print every predicted figure beside the simulated one, then how well each kind agrees."""
    import numpy as np

    from hopyears.sim.inputs.input_text import write_text
    from hopyears.sim.storage.run_folder import RunFolder
    from hopyears.sim.studies.against import NOTES, agreement, hold_against
    from hopyears.sim.wording.names import labels_of, relabelled

    compared = hold_against(source, RunFolder(options.against))
    labels = labels_of(source.network)
    console = terminal()
    shown = relabelled(compared, labels).assign(range=np.where(compared["in_range"], "", "outside"))
    print_table(
        console,
        _table("agreement over hops and modulations", agreement(compared), *_AGREEMENT),
        elsewhere=_ELSEWHERE,
    )
    title = "hops: by the standards and simulated"
    print_table(console, _table(title, shown.head(ROWS_SHOWN), *_AGAINST), elsewhere=_ELSEWHERE)
    if len(shown) > ROWS_SHOWN:
        say(console, f"... and {len(shown) - ROWS_SHOWN:,} more rows; --csv FILE has all.")
    say(
        console,
        "Standard errors are of the ratio, from independent blocks; a dash where too little was seen. "
        "'outside' marks what lies beyond the range of its Recommendation.",
    )
    for figure in (figure for figure in NOTES if (compared["figure"] == figure).any()):
        say(console, f"{figure}: {NOTES[figure]}")
    if options.csv:
        write_text(Path(options.csv), compared.to_csv(index=False))
    return 0


_ELSEWHERE = "--csv FILE or a wider terminal"

FIGURE, SHARE = "figure", "share"
"""Formats of columns of figures, and of shares of a whole."""

_AGAINST = (
    ("hop", "states", "figure", "unit", "predicted", "simulated", "ratio", "standard_error", "range"),
    ("", "d", "", "", FIGURE, FIGURE, ".3f", FIGURE, ""),
)

_AGREEMENT = (
    ("figure", "cases", "median_ratio", "within_3_standard_errors", "none_seen", "out_of_range"),
    ("", "d", ".3f", SHARE, "d", "d"),
)


_HOP_TABLES = (
    (
        "hops: link budget; one row a modulation, by its number of states",
        (
            *("hop", "states", "margin_db", "rain_margin_db", "received_level_dbm", "threshold_dbm"),
            *("capacity_mbit_s", "length_km", "frequency_ghz", "scheme", "combining_loss_db", "gas_loss_db"),
            *("fixed_loss_db", "power_reduction_db"),
        ),
        ("", "d", ".1f", ".1f", ".1f", ".1f", ".0f", ".2f", "g", "", ".1f", ".2f", ".1f", ".1f"),
    ),
    (
        "hops: outage by the standards; worst-month figures are fractions of that month",
        (
            *("hop", "states", "total_min_per_year", "rain_min_per_year", "multipath_min_per_year"),
            *("equipment_min_per_year", "sites_min_per_year", "cross_polar_rain_min_per_year"),
            *("rain_attenuation_001_db", "with_wet_snow_001_db", "multipath_occurrence", "flat_worst_month"),
            *("dispersive_worst_month", "cross_polar_worst_month", "multipath_worst_month"),
        ),
        ("", "d", *[FIGURE] * 6, ".1f", ".1f", FIGURE, *[".2e"] * 4),
    ),
)
_SERVICES = (
    (
        *("service", "hops", "total_min_per_year", "rain_min_per_year", "multipath_min_per_year"),
        *("equipment_min_per_year", "sites_min_per_year"),
    ),
    ("", "d", FIGURE, FIGURE, FIGURE, FIGURE, FIGURE),
)


def _table(title: str, frame: "pd.DataFrame", columns: Sequence[str], formats: Sequence[str]) -> "Table":
    """Columns of a frame as cells: figures as they are written everywhere, or with so many decimals."""
    from hopyears.sim.wording.columns import head_of
    from hopyears.sim.wording.wording import NO_FIGURE, number, per_cent, records

    def cell(value: Any, form: str) -> str:
        if form and value != value:
            return NO_FIGURE
        written = {FIGURE: number, SHARE: per_cent}.get(form)
        return written(value) if written else format(value, form)

    heads = {column: head_of(column) for column in columns}
    left = [head for head, form in zip(heads.values(), formats, strict=True) if not form]
    forms = dict(zip(columns, formats, strict=True))
    rows = ([cell(row[name], form) for name, form in forms.items()] for row in records(frame))
    return fill(plain_table(title, [*heads.values()], left), rows)
