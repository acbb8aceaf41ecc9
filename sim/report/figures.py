"""Figures of a run: each takes a table and axes, draws intervals where the table has them, returns the axes.

Nothing here simulates or reads files. Names of services and hops are drawn as they are, never as formulas.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from hopyears.models.basics.arrays import Floats
from hopyears.sim.equipment.failure_log import PHASES
from hopyears.sim.report.scales import (
    Mark,
    colour_limits,
    legend_above,
    log_limits,
    mark_levels,
    named_rows,
    ramp,
    steps,
    tick_log_axis,
)
from hopyears.sim.runs.failure_rows import PHASE_COLUMNS
from hopyears.sim.wording.palette import ACCENT, CAUSE_GROUPS, INK, SECOND, cause_group

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def unavailable_minutes(table: pd.DataFrame, axes: Axes, *, name: str = "service") -> Axes:
    """Unavailable minutes a year of each row with 95 % interval, textbook sum beside it; log axis.

    Parameters
    ----------
    table : DataFrame
        Columns ``name``, ``unavailable_min_per_year`` with ``_low`` and ``_high``, and, to be drawn,
        ``textbook_min_per_year``. Drawn from top to bottom.
    axes : Axes
    name : str
        Column of the names.

    Notes
    -----
    A row of which nothing was seen is an arrow that comes down from its upper bound.
    """
    rows = named_rows(axes, table[name])
    best, low, high = (
        table[f"unavailable_min_per_year{end}"].to_numpy(np.float64) for end in ("", "_low", "_high")
    )
    textbook = table.get("textbook_min_per_year", pd.Series(np.nan, index=table.index)).to_numpy(np.float64)
    floor, top = log_limits(np.concatenate([best, low, high, textbook]))
    axes.set_xscale("log")
    axes.set_xlim(floor, top)
    seen = best > 0.0
    axes.hlines(rows[seen], np.maximum(low[seen], floor), high[seen], color=ACCENT, linewidth=2.2, alpha=0.55)
    axes.plot(best[seen], rows[seen], "o", color=ACCENT, markersize=5.5)
    axes.hlines(rows[~seen], floor, high[~seen], color=ACCENT, linewidth=1.0, linestyle=(0, (2, 2)))
    axes.plot(high[~seen], rows[~seen], "<", color=ACCENT, markersize=5.5, markerfacecolor="white")
    axes.plot(textbook, rows, "D", color=SECOND, markersize=5, markerfacecolor="none", markeredgewidth=1.3)
    mark_levels(axes)
    axes.set_xlabel("unavailable minutes a year")
    tick_log_axis(axes.xaxis, floor, top, most=12)
    marks = [
        (Line2D([], [], color=ACCENT, marker="o", linewidth=2.2, markersize=5.5), "simulated, 95 % interval"),
        (Line2D([], [], color=ACCENT, marker="<", linestyle=":", markerfacecolor="white"), "at most"),
        (Line2D([], [], color=SECOND, marker="D", linestyle="", markerfacecolor="none"), "textbook sum"),
    ]
    shown = [True, bool((~seen).any()), bool(np.isfinite(textbook).any())]
    kept = [mark for mark, show in zip(marks, shown, strict=True) if show]
    return legend_above(axes, kept, gap_points=17.0)


def differences(table: pd.DataFrame, axes: Axes, *, name: str = "service") -> Axes:
    """Difference in unavailable minutes a year of each row with its 95 % interval; hollow where not sure.

    Parameters
    ----------
    table : DataFrame
        Columns ``name``, ``difference_min_per_year`` with ``_low`` and ``_high``, ``sure``. Drawn from top
        to bottom.
    axes : Axes
    name : str
        Column of the names.
    """
    rows = named_rows(axes, table[name])
    best, low, high = (
        table[f"difference_min_per_year{end}"].to_numpy(np.float64) for end in ("", "_low", "_high")
    )
    sure = table["sure"].to_numpy(np.bool_)
    axes.axvline(0.0, color=INK, linewidth=0.9)
    axes.hlines(rows, low, high, color=ACCENT, linewidth=2.2, alpha=0.55)
    axes.plot(best[sure], rows[sure], "o", color=ACCENT, markersize=5.5)
    axes.plot(best[~sure], rows[~sure], "o", color=ACCENT, markersize=5.5, markerfacecolor="white")
    axes.set_xlabel("difference in unavailable minutes a year, plan less base")
    axes.grid(axis="x")
    return axes


def cause_bars(
    table: pd.DataFrame,
    axes: Axes,
    *,
    names: Sequence[str],
    totals: pd.DataFrame | None = None,
    as_shares: bool = False,
) -> Axes:
    """Stacked bars of unavailable minutes a year by group of causes; several at once are a group.

    Parameters
    ----------
    table : DataFrame
        Columns ``service``, ``cause``, ``unavailable_min_per_year``.
    axes : Axes
    names : sequence of str
        Which rows, from top to bottom.
    totals : DataFrame, optional
        Columns ``service`` and ``unavailable_min_per_year_low`` and ``_high``: intervals of the sums.
    as_shares : bool
        Bars of one length: shares of each row's minutes instead of minutes.
    """
    rows = named_rows(axes, names)
    minutes = group_minutes(table, names)
    if as_shares:
        sums = minutes.sum(axis=1)
        minutes = 100.0 * minutes.div(sums.where(sums > 0.0, np.inf), axis=0)
    left = np.zeros(len(names))
    used = []
    for group in CAUSE_GROUPS:
        width = minutes[group.label].to_numpy(np.float64)
        if not width.any():
            continue
        axes.barh(rows, width, left=left, height=0.7, color=group.colour, edgecolor="white", linewidth=0.6)
        used.append((Patch(facecolor=group.colour), group.label))
        left += width
    if totals is not None and not as_shares:
        ends = totals.set_index("service").reindex(list(names))
        low, high = (ends[f"unavailable_min_per_year_{end}"].to_numpy(np.float64) for end in ("low", "high"))
        axes.hlines(rows, low, high, color=INK, linewidth=1.1)
        axes.plot(np.concatenate([low, high]), np.tile(rows, 2), "|", color=INK, markersize=6)
    axes.set_xlim(0.0, 100.5 if as_shares else None)
    axes.set_xlabel("share of the minutes [%]" if as_shares else "unavailable minutes a year")
    axes.grid(axis="x")
    return axes if as_shares else legend_above(axes, used)


def group_minutes(table: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Unavailable minutes a year, one row a name, one column a group of causes; 0 where nothing was seen."""
    groups = [cause_group(cause).label for cause in table["cause"]]
    summed = (
        table["unavailable_min_per_year"].groupby([table["service"], pd.Series(groups, table.index)]).sum()
    )
    wide: pd.DataFrame = summed.unstack(fill_value=0)
    return wide.reindex(index=list(names), columns=[group.label for group in CAUSE_GROUPS], fill_value=0.0)


def phase_bars(table: pd.DataFrame, axes: Axes) -> Axes:
    """Hours a year that parts of each kind are failed, stacked by what is waited for.

    Parameters
    ----------
    table : DataFrame
        Columns ``kind`` and ``failure_rows.PHASE_COLUMNS``.
    axes : Axes
    """
    rows = named_rows(axes, [str(kind).replace("_", " ") for kind in table["kind"]])
    left = np.zeros(len(table))
    marks: list[Mark] = []
    for phase, column, colour in zip(PHASES, PHASE_COLUMNS, steps(len(PHASES)), strict=True):
        hours = table[column].to_numpy(np.float64)
        axes.barh(rows, hours, left=left, height=0.7, color=colour, edgecolor="white", linewidth=0.6)
        marks.append((Patch(facecolor=colour), phase))
        left += hours
    axes.set_xlim(left=0.0)
    axes.grid(axis="x")
    axes.set_xlabel("hours a year, all parts of the kind together")
    return legend_above(axes, marks)


FEW_OUTAGES = 5
"""A month that rests on fewer outages is marked."""

DARK_SHADE = 0.35
"""From this share of the colour scale on, text is white."""


def months_of(table: pd.DataFrame, names: Sequence[str]) -> tuple[Floats, Floats]:
    """Minutes of an average year and outages seen of each service and month, shape (n, 12)."""
    minutes, outages = (
        table.pivot_table(index="service", columns="month", values=column, aggfunc="sum")
        .reindex(index=list(names), columns=range(1, 13))
        .fillna(0.0)
        .to_numpy(np.float64)
        for column in ("unavailable_min_per_year", "outages_weighed")
    )
    return minutes, outages


def month_shades(minutes: Floats, outages: Floats) -> Floats:
    """Place of each month on the colour scale, 0 to 1; -1 where it rests on few outages or none."""
    known = (outages >= FEW_OUTAGES) & (minutes > 0.0)
    low, high = colour_limits(minutes[known], decades=2.5)
    return np.where(known, np.asarray(LogNorm(low, high)(np.maximum(minutes, low))), -1.0)


def month_text(minutes: float, outages: float) -> str:
    """A month's minutes, shortly; in brackets where they rest on few outages, empty where on none."""
    if minutes <= 0.0:
        return ""
    text = "·" if minutes < 0.05 else f"{minutes:,.0f}" if minutes >= 9.95 else f"{minutes:.1f}"
    return text if outages >= FEW_OUTAGES else f"({text})"


def month_map(table: pd.DataFrame, axes: Axes, *, names: Sequence[str]) -> Axes:
    """Unavailable minutes of each calendar month and service in an average year, darker for more.

    Parameters
    ----------
    table : DataFrame
        Columns ``service``, ``month`` (1 to 12), ``unavailable_min_per_year``, ``outages_weighed``.
    axes : Axes
    names : sequence of str
        Which services, from top to bottom.

    Notes
    -----
    A cell that rests on fewer than ``FEW_OUTAGES`` outages is in brackets and without colour.
    """
    minutes, outages = months_of(table, names)
    rows = named_rows(axes, names)
    shades = month_shades(minutes, outages)
    for i, row in enumerate(rows):
        for month, (value, shade) in enumerate(zip(minutes[i], shades[i], strict=True)):
            colour = tuple(map(float, ramp(np.array([shade]))[0])) if shade >= 0.0 else "#ffffff"
            axes.barh(row, 1.0, left=month - 0.5, height=0.94, color=colour, edgecolor="white")
            dark = shade > DARK_SHADE
            axes.text(
                month, row, month_text(value, float(outages[i, month])),
                ha="center", va="center", fontsize=7.5, color="white" if dark else INK,
            )  # fmt: skip
    axes.set_xlim(-0.5, 11.5)
    axes.set_xticks(range(12), MONTHS)
    axes.tick_params(length=0)
    axes.spines[:].set_visible(False)
    return axes
