"""What of the failures of a run a reader sees, in the terminal and on the page alike."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from hopyears.sim.equipment.failure_log import PHASES

OUTAGE_NOTE = (
    "Outage is that of all services together while a job of the row, from failure to mended, was among the "
    "causes; several at once count in full each, rain and fading for none."
)
"""What the columns of outage mean."""


@dataclass(frozen=True)
class FailureTable:
    """One table of failures as it is shown.

    Attributes
    ----------
    table : str
        Its name among the tables of results.
    name : str
        Column of the names of its rows.
    head, caption : str
        Above the names; above the table.
    counts : mapping of str to str
        Head to column of the figures a year that come before the phases.
    """

    table: str
    name: str
    head: str
    caption: str
    counts: Mapping[str, str]


FAILURE_TABLES = (
    FailureTable("part_failures", "kind", "kind of part", "parts by kind", {"failures": "failures_per_year"}),
    FailureTable(
        "site_failures",
        "site",
        "site",
        "sites: what failed there, mains and planned work",
        {
            "failures": "failures_per_year",
            "mains lost": "mains_lost_per_year",
            "dark h": "dark_h_per_year",
            "planned h": "maintenance_h_per_year",
        },
    ),
    FailureTable(
        "crew_visits",
        "crew",
        "crew",
        "crews: the repairs they went to, and planned work",
        {
            "repairs": "visits_per_year",
            "planned visits": "planned_per_year",
            "planned h": "planned_h_per_year",
        },
    ),
)
"""By kind of part, by site and by crew."""


def phase_column(phase: str) -> str:
    """Column of a phase of repair in the tables of failures."""
    return f"{phase.replace(' ', '_')}_h_per_year"


PHASE_COLUMNS = tuple(phase_column(phase) for phase in PHASES)
"""Columns of all phases, in their order."""


def failure_rows(tables: Mapping[str, pd.DataFrame], shown: FailureTable) -> pd.DataFrame:
    """Rows of a table that met anything, most outage first, then most hours.

    Columns ``together_h_per_year``, the sum of the phases, and ``shown_name`` are added.
    """
    rows = tables[shown.table]
    figures = [*shown.counts.values(), *PHASE_COLUMNS, "outage_min_per_year"]
    met = rows[rows[figures].any(axis=1)]
    names = met[shown.name].astype(str)
    return met.assign(
        together_h_per_year=met[[*PHASE_COLUMNS]].sum(axis=1),
        shown_name=names.str.replace("_", " ") if shown.name == "kind" else names,
    ).sort_values(["outage_min_per_year", "together_h_per_year"], ascending=False, kind="stable")
