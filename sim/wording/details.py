"""Rows of a closer look at services: single years, directions, steps from the textbook, megabits."""

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from hopyears.sim.runs.results import SIMULATED, TEXTBOOK, WAITING
from hopyears.sim.wording.wording import (
    NO_FIGURE,
    Cell,
    chance,
    difference,
    duration,
    figure_and_ends,
    interval,
    level_name,
    main_causes,
    number,
    per_cent,
    records,
)

SUMS = (TEXTBOOK, SIMULATED, WAITING)
"""Steps of the distance table that are figures; the others are differences."""


def details(tables: Mapping[str, pd.DataFrame], order: list[str]) -> dict[str, Any]:
    """Everything that the part on details shows; empty for a run without services.

    Parameters
    ----------
    tables : mapping of str to DataFrame
    order : list of str
        Services in the order of the page.
    """
    years = year_rows(tables["service_years"], tables["service_targets"])
    steps = step_rows(tables["textbook_distance"])
    return {
        "levels": years[0],
        "years": _ordered(years[1], order),
        "directions": _ordered(direction_rows(tables["service_directions"]), order),
        "steps": steps[0],
        "distances": _ordered(steps[1], order),
        "priorities": priority_rows(tables["priority_undelivered"]),
    }


def _ordered(rows: dict[str, list[Cell]], order: list[str]) -> list[tuple[str, list[Cell]]]:
    return [(service, rows[service]) for service in order if service in rows]


def year_rows(years: pd.DataFrame, targets: pd.DataFrame) -> tuple[list[str], dict[str, list[Cell]]]:
    """Availability levels; for each service its median and bad years and the chance to break each level."""
    if years.empty or targets.empty:
        return [], {}
    levels = sorted({float(level) for level in targets["availability"]})
    rows: dict[str, list[Cell]] = {}
    for share in (0.5, 0.9):
        for row in records(years[years["share_of_years"] == share]):
            rows.setdefault(str(row["service"]), []).append(figure_and_ends(row, "unavailable_min"))
    for level in levels:
        for row in records(targets[targets["availability"] == level]):
            rows[str(row["service"])].append(chance(row, "year_break_chance"))
    return [level_name(level) for level in levels], rows


def direction_rows(directions: pd.DataFrame) -> dict[str, list[Cell]]:
    """Minutes and severely errored seconds of each direction; the time from outage to outage of both."""
    rows: dict[str, list[Cell]] = {}
    found = {(str(row["service"]), str(row["direction"])): row for row in records(directions)}
    for service in dict.fromkeys(service for service, _ in found):
        ways = [found[service, way] for way in ("forward", "backward")]
        both = found[service, "both"]
        cells = [figure_and_ends(row, "unavailable_min_per_year") for row in ways]
        cells += [figure_and_ends(row, "severely_errored_s_per_year") for row in ways]
        rows[service] = [*cells, _between(both), (duration(both["mean_time_to_restore_s"]), "")]
    return rows


def _between(row: Mapping[str, Any]) -> Cell:
    best, low, high = (3600.0 * value for value in interval(row, "mean_time_between_outages_h"))
    if not math.isfinite(best):
        return f"at least {duration(low)}", ""
    return duration(best), f"{duration(low)} to {duration(high) if math.isfinite(high) else NO_FIGURE}"


def step_rows(distance: pd.DataFrame) -> tuple[list[str], dict[str, list[Cell]]]:
    """Steps from the textbook sum to the simulated figure, and their minutes for each service."""
    if distance.empty:
        return [], {}
    steps = list(dict.fromkeys(distance["step"]))
    rows: dict[str, list[Cell]] = {}
    for row in records(distance):
        rows.setdefault(str(row["service"]), []).append(step_cell(row))
    return steps, rows


def step_cell(row: Mapping[str, Any]) -> Cell:
    """A figure, or a difference with its sign: hundredths of a minute are enough."""
    if row["step"] not in SUMS:
        return difference(row, "min_per_year", decimals=2)
    _, low, high = interval(row, "min_per_year")
    return (number(row["min_per_year"]), "") if low == high else figure_and_ends(row, "min_per_year")


def priority_rows(undelivered: pd.DataFrame) -> list[dict[str, Any]]:
    """What is not delivered by priority, in gigabits a year, with the main causes."""
    rows = []
    for whole in records(undelivered[undelivered["cause"] == "all"]) if len(undelivered) else []:
        own = undelivered[(undelivered["priority"] == whole["priority"]) & (undelivered["cause"] != "all")]
        rates = (
            ("undelivered_mbit_per_year", "share"),
            ("undelivered_committed_mbit_per_year", "committed_share"),
        )
        row: dict[str, Any] = {"priority": f"{int(whole['priority'])}", "rates": []}
        for name, share in rates:
            thousandth = {f"{name}{end}": whole[f"{name}{end}"] / 1000.0 for end in ("", "_low", "_high")}
            row["rates"].append(
                (figure_and_ends(thousandth, name), per_cent(whole[share]), main_causes(own, name))
            )
        rows.append(row)
    return rows
