"""Rows of the tables of terminal and page: every cell as the text that the reader sees."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from hopyears.models.judging.objectives import STATED
from hopyears.sim.runs.failure_rows import FAILURE_TABLES, PHASE_COLUMNS, failure_rows
from hopyears.sim.runs.objective_counts import least_sure_first
from hopyears.sim.wording import wording
from hopyears.sim.wording.palette import CAUSE_GROUPS, cause_group
from hopyears.sim.wording.wording import duration, figure_and_ends, given, number, per_cent, records

Row = Mapping[str, Any]

CAUSES_LISTED = 25
"""Exact sets of causes listed at most; the rest is summed up in one line."""

RATE_LEVELS = ("99", "99_9", "99_99", "99_999")
"""Percentages of time in the names of the columns of rates."""


def worst_first(table: pd.DataFrame) -> pd.DataFrame:
    """Rows by unavailable minutes, then by upper bound, the worst first."""
    if table.empty:
        return table
    order = ["unavailable_min_per_year", "unavailable_min_per_year_high"]
    return table.sort_values([name for name in order if name in table], ascending=False, kind="stable")


def service_rows(row: Row) -> dict[str, Any]:
    """Cells of the availability table of one service."""
    return {
        "service": str(row["service"]),
        "ends": f"{row['from']} – {row['to']}, {wording.plural(int(row['hops']), 'hop')}",
        "committed": _both_ways(row, "committed"),
        "unavailable": figure_and_ends(row, "unavailable_min_per_year"),
        "availability": wording.service_availability(row),
        "verdict": wording.verdict(row, wording.FIRST_ANSWER_LEVEL),
        "planned": number(row["planned_min_per_year"]),
        "below": figure_and_ends(row, "below_committed_min_per_year"),
        "severe": figure_and_ends(row, "severely_errored_s_per_year"),
        "outages": figure_and_ends(row, "outages_per_year"),
        "mean": duration(row["mean_outage_s"]),
        "longest": duration(row["longest_outage_s"]),
        "worst_month": figure_and_ends(row, "worst_month_unavailable_min")[0],
        "textbook": number(row["textbook_min_per_year"]),
    }


def _both_ways(row: Row, rate: str) -> str:
    """A rate of a service, forward and backward where these differ: ``40``, or ``40 / 10``."""
    ways = dict.fromkeys((given(row[f"{rate}_mbit_s"]), given(row[f"{rate}_backward_mbit_s"])))
    return " / ".join(ways)


def objective_rows(objectives: pd.DataFrame) -> list[dict[str, Any]]:
    """Cells of the table of objectives, the least surely met first; empty where a run has none."""
    return [
        {
            "service": str(row["service"]),
            "portion": f"{row['portion'].removeprefix('national ')}, {number(row['length_km'])} km",
            "judged": [
                _judged(row, "availability", "allowed_min_per_year", "unavailable_min_per_year"),
                _judged(
                    row, "severely_errored", "severely_errored_ratio_objective", "severely_errored_ratio"
                ),
                _judged(row, "outages", "outages_per_year_objective", "outages_per_year"),
            ],
        }
        for row in records(least_sure_first(objectives))
    ]


def _judged(row: Row, name: str, allowed: str, found: str) -> dict[str, Any]:
    """What an objective allows, what was found, whether that keeps it, and how surely."""
    cells = {"allowed": wording.NO_FIGURE, "source": "", "found": figure_and_ends(row, found)}
    cells |= {"met": "", "sure": ""}
    if row[f"{name}_source"]:
        cells["allowed"] = number(row[allowed])
        cells["source"] = "stated" if row[f"{name}_source"] == STATED else ""
        cells["met"] = "yes" if row[f"{name}_met"] else "no"
        cells["sure"] = wording.confidence(row[f"{name}_met_confidence"])
    return cells


def rate_rows(row: Row) -> dict[str, Any]:
    """Cells of the table of rates of one service."""
    return {
        "service": str(row["service"]),
        "priority": f"{int(row['priority'])}",
        "committed": _both_ways(row, "committed"),
        "peak": _both_ways(row, "peak"),
        "mean": given(row["mean_throughput_mbit_s"]),
        "levels": [given(row[f"throughput_{level}_mbit_s"]) for level in RATE_LEVELS],
    }


def hop_rows(hops: pd.DataFrame, causes: pd.DataFrame) -> list[dict[str, Any]]:
    """Cells of the table of hops, the worst first."""
    main = main_groups(causes, "hop")
    return [
        {
            "hop": str(row["hop"]),
            "ends": f"{row['from']} – {row['to']}",
            "scheme": str(row["scheme"]),
            "length": number(row["length_km"]),
            "frequency": given(row["frequency_ghz"]),
            "capacity": given(row["capacity_mbit_s"]),
            "unavailable": figure_and_ends(row, "unavailable_min_per_year"),
            "severe": figure_and_ends(row, "severely_errored_s_per_year")[0],
            "outages": figure_and_ends(row, "outages_per_year")[0],
            "mean_capacity": given(row["mean_capacity_mbit_s"]),
            "capacity_99_99": given(row["capacity_99_99_mbit_s"]),
            "cause": main.get(str(row["hop"]), wording.NO_FIGURE),
            "textbook": number(row["textbook_min_per_year"]),
        }
        for row in records(worst_first(hops))
    ]


def main_groups(causes: pd.DataFrame, noun: str) -> dict[str, str]:
    """Group of causes that takes most unavailable minutes of each service, or hop, with its share."""
    if causes.empty:
        return {}
    groups = pd.Series([cause_group(cause).label for cause in causes["cause"]], causes.index)
    minutes = causes["unavailable_min_per_year"].groupby([causes[noun].astype(str), groups]).sum()
    found = {}
    for name, part in minutes.unstack(fill_value=0).iterrows():
        total = float(part.sum())
        if total > 0.0:
            found[str(name)] = f"{part.idxmax()} {per_cent(float(part.max()) / total)}"
    return found


def cause_rows(causes: pd.DataFrame) -> dict[str, Any]:
    """Exact sets of causes over all services, most minutes first, with the rest in one sentence."""
    if causes.empty:
        return {"rows": [], "rest": ""}
    columns = ["unavailable_min_per_year", "severely_errored_s_per_year"]
    summed = causes.groupby("cause")[columns].sum().sort_values(columns[0], ascending=False, kind="stable")
    summed = summed[(summed > 0.0).any(axis=1)]
    total = float(summed[columns[0]].sum())
    colours = {group.label: group.colour for group in CAUSE_GROUPS}
    rows = [
        {
            "cause": str(cause),
            "group": cause_group(str(cause)).label,
            "colour": colours[cause_group(str(cause)).label],
            "minutes": number(minutes),
            "share": per_cent(minutes / total) if total > 0.0 else wording.NO_FIGURE,
            "severe": number(severe),
        }
        for cause, minutes, severe in summed.head(CAUSES_LISTED).itertuples()
    ]
    rest = summed.iloc[CAUSES_LISTED:]
    left_over = ""
    if len(rest):
        minutes = float(rest[columns[0]].sum())
        left_over = (
            f"{wording.plural(len(rest), 'more set')} of causes take "
            f"{'under 0.01' if minutes < 0.01 else number(minutes)} minutes a year together; "
            "all are in the table service_causes of the run."
        )
    return {"rows": rows, "rest": left_over}


def failure_tables(tables: Mapping[str, pd.DataFrame]) -> list[dict[str, Any]]:
    """Tables of failures by kind of part, site and crew; empty where no failures were simulated."""
    found = []
    for table in FAILURE_TABLES:
        rows = _failure_rows(failure_rows(tables, table), [*table.counts.values()])
        if rows:
            head, counts = table.head, [*table.counts]
            found.append({"head": head, "caption": table.caption, "counts": counts, "rows": rows})
    return found


def _failure_rows(failures: pd.DataFrame, counts: list[str]) -> list[dict[str, Any]]:
    """Cells of one table."""
    columns = (*counts, *PHASE_COLUMNS, "together_h_per_year", "outage_min_per_year")
    return [
        {
            "name": row["shown_name"],
            "figures": [number(row[column]) for column in columns],
            "share": per_cent(row["outage_share"]),
        }
        for row in records(failures)
    ]
