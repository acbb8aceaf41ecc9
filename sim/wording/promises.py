"""Cells of the table of promises: what is asked, whether it is kept, and the figure in the unit asked for."""

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.runs.promise import (
    ALL_TERMS,
    AVAILABILITY,
    MINUTES,
    OUTAGES,
    PLAIN,
    class_of,
    next_class,
)
from hopyears.sim.runs.promised_penalties import PromisedPenalty
from hopyears.sim.studies.counterfactual import HOP, SITE
from hopyears.sim.wording.wording import (
    NO_FIGURE,
    Cell,
    availability,
    chance,
    figure_and_ends,
    given,
    level_name,
    number,
    plural,
    records,
)

TOO_FEW = "?"
"""Where the simulated years are too few to promise anything."""

HEADS = ("contract", "asked", "kept", "broken", "can be promised", "mean", "worst seen", "services")
"""The most important first: a narrow terminal shows no more."""


def promise_cells(row: Mapping[str, Any]) -> list[str | Cell]:
    """Cells under ``HEADS`` of a row of the table ``promise``."""
    name, services = str(row["contract"]), str(row["services"])
    cells: list[str | Cell] = [name, _asked(row)]
    if not row["kept"]:
        cells += [NO_FIGURE, NO_FIGURE]
    else:
        cells += [str(row["kept"]), chance(row, "contract_break_chance")]
    others = "" if name == services else services
    if row["figure"] == ALL_TERMS:
        return [*cells, NO_FIGURE, NO_FIGURE, NO_FIGURE, others]
    mark = " *" if row["rests_on"] == PLAIN else ""
    figures = [figure(row, "can_be_promised") + mark, figure(row, "mean") + mark, figure(row, "worst")]
    return [*cells, *figures, others]


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


PENALTY_HEADS = ("service", "expected", "what a year keeps within")


def penalty_cells(found: PromisedPenalty, labels: Mapping[str, str]) -> list[str | Cell]:
    """Cells under ``PENALTY_HEADS``."""
    mean = found.mean
    row = {"mean": mean.best, "mean_low": mean.low, "mean_high": mean.high}
    within = number(found.within) if math.isfinite(found.within) else TOO_FEW
    return [labels.get(found.service, found.service), figure_and_ends(row, "mean"), within]


LEVERS_SHOWN = 6
"""Rows of a contract: as it is, and what helps most."""

LEVER_HEADS = ("kind", "what", "broken", "mean", "can be promised")


def lever_cells(own: pd.DataFrame) -> list[list[str | Cell]]:
    """Cells under ``LEVER_HEADS`` of the first rows of one contract in the table ``levers``."""
    return [
        [
            str(row["kind"]),
            str(row["target"]),
            NO_FIGURE if math.isnan(row["contract_break_chance"]) else chance(row, "contract_break_chance"),
            figure(row, "mean"),
            figure(row, "can_be_promised"),
        ]
        for row in records(own.head(LEVERS_SHOWN))
    ]


def lever_sentence(own: pd.DataFrame) -> str:
    """The weakest link, and what would have to change to promise one class of availability more."""
    rows = records(own)
    links = [row for row in rows if row["kind"] in (HOP, SITE)]
    text = f"The weakest link is {links[0]['kind']} {links[0]['target']}." if links else ""
    shares = [_lost_share(row) for row in rows]
    if math.isnan(shares[0]):
        return text
    wanted = next_class(class_of(shares[0]))
    if wanted is None:
        return text
    able = [
        f"{row['kind']} {row['target']}"
        for row, share in zip(rows[1:], shares[1:], strict=True)
        if share <= 1.0 - wanted
    ]
    if able:
        return f"{text} {level_name(wanted)} could be promised without outages by {', or '.join(able)}."
    return f"{text} {level_name(wanted)} could not be promised by sparing any one of these."


def _lost_share(row: Mapping[str, Any]) -> float:
    """Share of the time that is promised to be lost at most; not a number for other figures."""
    if row["figure"] == AVAILABILITY:
        return 1.0 - float(row["can_be_promised"])
    minutes = float(row["can_be_promised"]) if row["figure"] == MINUTES else math.nan
    return minutes / MINUTES_PER_YEAR if math.isfinite(minutes) else math.nan
