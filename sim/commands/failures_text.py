"""Failures in the terminal: how often, where the time goes, and their share of the services' outage."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from hopyears.sim.equipment.failure_log import PHASES
from hopyears.sim.runs.failure_rows import FAILURE_TABLES, PHASE_COLUMNS, FailureTable, failure_rows
from hopyears.sim.runs.results import Results
from hopyears.sim.wording.terminal import plain_table, shown_rows

if TYPE_CHECKING:
    from rich.table import Table

_MOST = "outage_min_per_year"


def failure_tables_text(results: Results, *, every_row: bool) -> "Iterator[Table]":
    """One table each by kind of part, by site and by crew; rows that met nothing are left out."""
    for table in FAILURE_TABLES:
        yield _table(results, table, every_row)


def _table(results: Results, failures: FailureTable, every_row: bool) -> "Table":
    met = failure_rows(results.tables, failures)
    shown = shown_rows(met, _MOST, every_row=every_row)
    left_out = f"; {len(met) - len(shown)} more with --all" if len(shown) < len(met) else ""
    phases = (phase.removeprefix("waiting ") for phase in PHASES)
    table = plain_table(
        f"{failures.caption} (a year; hours failed by what was waited for{left_out})",
        (failures.head, *failures.counts, *phases, "outage min", "share of outage"),
        (failures.head,),
    )
    for _, row in shown.iterrows():
        table.add_row(
            row["shown_name"],
            *(f"{row[column]:.3g}" for column in (*failures.counts.values(), *PHASE_COLUMNS, _MOST)),
            f"{100.0 * row['outage_share']:.3g} %",
        )
    return table
