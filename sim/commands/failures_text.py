"""Failures in the terminal: how often, where the time goes, and their share of the services' outage."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from sim.commands.shown import plain_table, shown_rows
from sim.equipment.failure_log import PHASES
from sim.runs.results import Results

if TYPE_CHECKING:
    import pandas as pd
    from rich.table import Table

_MOST = "outage_min_per_year"

OUTAGE_SHARE_NOTE = (
    "Outage of all services together, while a job of the row (from failure to mended) was among the causes; "
    "several at once count in full each, rain and fading for none."
)
"""What the last columns mean."""


def failure_tables_text(results: Results, *, every_row: bool) -> "Iterator[Table]":
    """One table each by kind of part, by site and by crew; kinds and sites that met nothing are left out."""
    yield _table(
        results.tables["part_failures"], "kind", "parts by kind", {"failures": "failures_per_year"}, every_row
    )
    power = {
        "failures": "failures_per_year",
        "mains lost": "mains_lost_per_year",
        "dark h": "dark_h_per_year",
        "planned h": "maintenance_h_per_year",
    }
    yield _table(results.tables["site_failures"], "site", "sites", power, every_row)
    away = {
        "repairs": "visits_per_year",
        "planned": "planned_per_year",
        "away h": "planned_h_per_year",
    }
    yield _table(results.tables["crew_visits"], "crew", "crews", away, every_row)


def _table(frame: "pd.DataFrame", name: str, title: str, counts: dict[str, str], every_row: bool) -> "Table":
    phases = [f"{phase.replace(' ', '_')}_h_per_year" for phase in PHASES]
    short = [phase.removeprefix("waiting ") for phase in PHASES]
    columns = (name, *counts, *short, "outage min", "share of outage")
    met = frame if name == "crew" else frame[frame[[*counts.values(), *phases, _MOST]].any(axis=1)]
    if name != "crew":
        met = met.sort_values(_MOST, ascending=False, kind="stable")
    shown = shown_rows(met, _MOST, every_row=every_row)
    left_out = f"; {len(met) - len(shown)} more with --all" if len(shown) < len(met) else ""
    heading = f"{title} (a year; hours failed by what was waited for{left_out})"
    table = plain_table(heading, columns, (name,))
    for _, row in shown.iterrows():
        table.add_row(
            str(row[name]).replace("_", " ") if name == "kind" else str(row[name]),
            *(f"{row[column]:.3g}" for column in (*counts.values(), *phases, _MOST)),
            f"{100.0 * row['outage_share']:.3g} %",
        )
    return table
