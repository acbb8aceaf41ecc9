"""Rows of the page's own tables: the worst at a glance, months in colour, longest outages."""

import calendar
import shlex
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from hopyears.sim.report.figures import MONTHS, month_shades, month_text, months_of
from hopyears.sim.report.scales import ramp
from hopyears.sim.wording.rows import main_groups, worst_first
from hopyears.sim.wording.wording import (
    FIRST_ANSWER_LEVEL,
    MEETS,
    MISSES,
    NO_FIGURE,
    OPEN,
    figure_and_ends,
    number,
    plural,
    records,
    span,
    verdict,
)

MOST_WORST = 6
"""Services, or hops, that the first screen shows."""

MOST_OUTAGES = 8
"""Longest outages of the run that the page lists."""

TOGETHER_S = 60
"""Outages that began so close together are one row."""

MONTH_NAMES = tuple(zip(MONTHS, calendar.month_name[1:], strict=True))
"""Short name and whole name of each month."""

Replays = Mapping[tuple[str, int], str]
"""Where the replay of an outage (service, its number) stands, seen from the page."""


def worst_rows(noun: str, table: pd.DataFrame, causes: pd.DataFrame) -> list[dict[str, Any]]:
    """The worst few at a glance."""
    main = main_groups(causes, noun)
    words = {MEETS: "yes", MISSES: "no", OPEN: "open"}
    return [
        {
            "name": str(row[noun]),
            "unavailable": figure_and_ends(row, "unavailable_min_per_year"),
            "verdict": words[verdict(row, FIRST_ANSWER_LEVEL)],
            "cause": main.get(str(row[noun]), NO_FIGURE),
        }
        for row in records(worst_first(table).head(MOST_WORST))
    ]


def month_rows(months: pd.DataFrame, names: Sequence[str]) -> list[dict[str, Any]]:
    """A row a service with a cell a month: text, and colours where it rests on outages enough."""
    if months.empty:
        return []
    minutes, outages = months_of(months, names)
    shades = month_shades(minutes, outages)
    return [
        {"name": name, "cells": [_month(*cell) for cell in zip(*row, strict=True)]}
        for name, *row in zip(names, minutes, outages, shades, strict=True)
    ]


def _month(minutes: float, outages: float, shade: float) -> dict[str, str]:
    cell = {"text": month_text(float(minutes), float(outages)), "colour": "", "ink": ""}
    if shade >= 0.0:
        red, green, blue = (float(each) for each in ramp(shade)[0])
        cell["colour"] = f"#{round(255 * red):02x}{round(255 * green):02x}{round(255 * blue):02x}"
        cell["ink"] = "#ffffff" if _luminance(red, green, blue) < EVEN_LUMINANCE else "#000000"
    return cell


EVEN_LUMINANCE = 0.179
"""Below this, white stands out more than black (contrast of WCAG 2.1: (L1 + 0.05) / (L2 + 0.05))."""


def _luminance(*rgb: float) -> float:
    """Relative luminance of WCAG 2.1."""
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in rgb]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def worst_month_sentence(months: pd.DataFrame) -> str:
    """The worst month of all that rest on outages enough; empty where there is none."""
    if months.empty:
        return ""
    names = list(dict.fromkeys(months["service"]))
    minutes, outages = months_of(months, names)
    known = month_shades(minutes, outages) >= 0.0
    if not known.any():
        return ""
    row, month = divmod(int((minutes * known).argmax()), 12)
    return f"The worst is {MONTH_NAMES[month][1]} for {names[row]}: {number(minutes[row, month])} minutes."


def longest_rows(
    longest: pd.DataFrame,
    *,
    run: str = "RUN",
    replays: Replays | None = None,
    labels: Mapping[str, str] | None = None,
) -> list[dict[str, Any]]:
    """The longest outages of a run, those of several services that began together as one.

    Parameters
    ----------
    longest : DataFrame
        Table ``longest_outages``.
    run : str
        Folder of the run, for the command that makes a replay.
    replays : mapping, optional
    labels : mapping, optional
        Ids of services to what readers see.
    """
    order = longest.sort_values("duration_s", ascending=False, kind="stable")
    events: list[list[dict[str, Any]]] = []
    for row in records(order):
        same = (event for event in events if _together(event[0], row))
        event = next(same, None)
        if event is not None:
            event.append(row)
        elif len(events) < MOST_OUTAGES:
            events.append([row])
    return [_event(event, run, replays or {}, labels or {}) for event in events]


def _together(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    return bool(one["block"] == other["block"] and abs(one["start_s"] - other["start_s"]) <= TOGETHER_S)


def _event(
    event: Sequence[Mapping[str, Any]], run: str, replays: Replays, labels: Mapping[str, str]
) -> dict[str, Any]:
    first = event[0]
    service, number_ = str(first["service"]), int(first["number"])
    names = list(dict.fromkeys(labels.get(str(row["service"]), str(row["service"])) for row in event))
    shown = ", ".join(names[:3]) + (f" and {plural(len(names) - 3, 'more')}" if len(names) > 3 else "")
    return {
        "began": str(first["began"]),
        "lasted": span(float(first["duration_s"])),
        "services": shown.replace(" mores", " more"),
        "cause": str(first["cause"]),
        "service": service,
        "number": number_,
        "href": replays.get((service, number_), ""),
        "command": f"hopyears explain {shlex.quote(run)} --service {shlex.quote(service)} "
        f"--outage {number_} --page outage.html",
    }
