"""Cells of the table of promises: what is asked, whether it is kept, and the figure in the unit asked for."""

import math
from collections.abc import Mapping
from typing import Any

from hopyears.sim.runs.promise import ALL_TERMS, AVAILABILITY, MINUTES, OUTAGES, PLAIN
from hopyears.sim.wording.wording import (
    NO_FIGURE,
    Cell,
    availability,
    chance,
    given,
    level_name,
    number,
    plural,
)

TOO_FEW = "?"
"""Where the simulated years are too few to promise anything."""

HEADS = ("contract", "services", "asked", "kept", "broken", "mean", "worst seen", "can be promised")


def promise_cells(row: Mapping[str, Any]) -> list[str | Cell]:
    """Cells under ``HEADS`` of a row of the table ``promise``."""
    name, services = str(row["contract"]), str(row["services"])
    cells: list[str | Cell] = [name, "" if name == services else services, _asked(row)]
    if not row["kept"]:
        cells += [NO_FIGURE, NO_FIGURE]
    else:
        cells += [str(row["kept"]), chance(row, "contract_break_chance")]
    if row["figure"] == ALL_TERMS:
        return [*cells, NO_FIGURE, NO_FIGURE, NO_FIGURE]
    mark = " *" if row["rests_on"] == PLAIN else ""
    promised = figure(row, "can_be_promised") + mark
    return [*cells, figure(row, "mean") + mark, figure(row, "worst"), promised]


def figure(row: Mapping[str, Any], name: str) -> str:
    """A figure of a row in the unit of its term."""
    value = float(row[name])
    if not math.isfinite(value):
        return TOO_FEW
    if row["figure"] == AVAILABILITY:
        return availability(1.0 - value) if value < 1.0 else "no outage"
    if row["figure"] == MINUTES:
        return f"{number(value)} min"
    if row["figure"] == OUTAGES:
        return plural(math.floor(value + 1e-6), "outage") if name == "can_be_promised" else number(value)
    return f"{given(value)} Mbit/s"


def _asked(row: Mapping[str, Any]) -> str:
    """``99.95 % of each month of 3 years``; the plain unit without a contract."""
    years = int(row["contract_years"])
    each = f"each {row['period']}" if years > 1 or row["period"] == "month" else "the year"
    when = f"{each} of {plural(years, 'year')}" if years > 1 else each
    if row["figure"] == ALL_TERMS:
        return f"{ALL_TERMS}, {when}"
    value = float(row["asked"])
    if not math.isfinite(value):
        return f"nothing, {when}"
    if row["figure"] == AVAILABILITY:
        return f"{level_name(value)} of {when}"
    if row["figure"] == MINUTES:
        return f"at most {given(value)} min in {when}"
    if row["figure"] == OUTAGES:
        return f"at most {given(value)} outages in {when}"
    return f"at least {given(value)} Mbit/s in {when}"
