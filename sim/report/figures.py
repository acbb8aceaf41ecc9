"""Figures of a run: each takes a table and axes, draws intervals where the table has them, returns the axes.

Nothing here simulates or reads files. Names of services and hops are drawn as they are, never as formulas.
"""

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from numpy.typing import NDArray

from sim.failure_log import PHASES
from sim.report.palette import (
    ACCENT,
    CAUSE_GROUPS,
    FAINT,
    INK,
    SECOND,
    cause_group,
    ramp,
    steps,
)
from sim.report.wording import LEVELS, MINUTES_PER_YEAR, level_name, number

Floats = NDArray[np.float64]
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FLOOR_SHARE = 1e-6
"""Least share of time that a logarithmic axis shows."""


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
    rows = _rows(axes, table[name])
    best, low, high = (
        table[f"unavailable_min_per_year{end}"].to_numpy(np.float64) for end in ("", "_low", "_high")
    )
    textbook = table.get("textbook_min_per_year", pd.Series(np.nan, index=table.index)).to_numpy(np.float64)
    floor, top = _log_limits(np.concatenate([best, low, high, textbook]))
    axes.set_xscale("log")
    axes.set_xlim(floor, top)
    seen = best > 0.0
    axes.hlines(rows[seen], np.maximum(low[seen], floor), high[seen], color=ACCENT, linewidth=2.2, alpha=0.55)
    axes.plot(best[seen], rows[seen], "o", color=ACCENT, markersize=5.5)
    axes.hlines(rows[~seen], floor, high[~seen], color=ACCENT, linewidth=1.0, linestyle=(0, (2, 2)))
    axes.plot(high[~seen], rows[~seen], "<", color=ACCENT, markersize=5.5, markerfacecolor="white")
    axes.plot(textbook, rows, "D", color=SECOND, markersize=5, markerfacecolor="none", markeredgewidth=1.3)
    _level_lines(axes)
    axes.set_xlabel("unavailable minutes a year")
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: number(value)))
    marks = [
        (Line2D([], [], color=ACCENT, marker="o", linewidth=2.2, markersize=5.5), "simulated, 95 % interval"),
        (Line2D([], [], color=ACCENT, marker="<", linestyle=":", markerfacecolor="white"), "at most"),
        (Line2D([], [], color=SECOND, marker="D", linestyle="", markerfacecolor="none"), "textbook sum"),
    ]
    shown = [True, bool((~seen).any()), bool(np.isfinite(textbook).any())]
    return _legend(axes, [mark for mark, show in zip(marks, shown, strict=True) if show])


def cause_bars(
    table: pd.DataFrame,
    axes: Axes,
    *,
    names: Sequence[str],
    name: str = "service",
    totals: pd.DataFrame | None = None,
    as_shares: bool = False,
) -> Axes:
    """Stacked bars of unavailable minutes a year by group of causes; several at once are a group.

    Parameters
    ----------
    table : DataFrame
        Columns ``name``, ``cause``, ``unavailable_min_per_year``.
    axes : Axes
    names : sequence of str
        Which rows, from top to bottom.
    name : str
        Column of the names.
    totals : DataFrame, optional
        Columns ``name`` and ``unavailable_min_per_year_low`` and ``_high``: intervals of the sums.
    as_shares : bool
        Bars of one length: shares of each row's minutes instead of minutes.
    """
    rows = _rows(axes, names)
    minutes = group_minutes(table, names, name=name)
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
        ends = totals.set_index(name).reindex(list(names))
        low, high = (ends[f"unavailable_min_per_year_{end}"].to_numpy(np.float64) for end in ("low", "high"))
        axes.hlines(rows, low, high, color=INK, linewidth=1.1)
        axes.plot(np.concatenate([low, high]), np.tile(rows, 2), "|", color=INK, markersize=6)
    axes.set_xlim(left=0.0)
    axes.set_xlabel("share of the minutes [%]" if as_shares else "unavailable minutes a year")
    axes.grid(axis="x")
    axes.set_axisbelow(True)
    return axes if as_shares else _legend(axes, used)


def group_minutes(table: pd.DataFrame, names: Sequence[str], *, name: str = "service") -> pd.DataFrame:
    """Unavailable minutes a year, one row a name, one column a group of causes; 0 where nothing was seen."""
    groups = [cause_group(cause).label for cause in table["cause"]]
    summed = table["unavailable_min_per_year"].groupby([table[name], pd.Series(groups, table.index)]).sum()
    wide: pd.DataFrame = summed.unstack(fill_value=0.0)
    return wide.reindex(index=list(names), columns=[group.label for group in CAUSE_GROUPS], fill_value=0.0)


def rate_curves(
    table: pd.DataFrame,
    axes: Axes,
    *,
    rate: str = "rate_mbit_s",
    committed_mbit_s: float | None = None,
    floor_share: float = FLOOR_SHARE,
) -> Axes:
    """Rate that is had for at least a share of the time, against that share; log axis of what lacks to 1.

    Parameters
    ----------
    table : DataFrame
        Columns ``direction``, ``rate`` and ``exceeded_share`` (share of time with at least this rate) of
        one service or hop.
    axes : Axes
    rate : str
        Column of the rate [Mbit/s].
    committed_mbit_s : float, optional
        Drawn as a line.
    floor_share : float
        Right end of the axis: share of time below the rate. 0 to 1.
    """
    styles = {"forward": (ACCENT, "-"), "backward": (SECOND, (0, (4, 2))), "both": (INK, "-")}
    marks: list[tuple[Artist, str]] = []
    top = 0.0
    for direction, part in table.groupby("direction", sort=True):
        colour, dashes = styles.get(str(direction), styles["both"])
        below, had = rate_steps(part["exceeded_share"], part[rate], floor_share=floor_share)
        axes.step(below, had, where="post", color=colour, linestyle=dashes, linewidth=1.8)
        marks.append((Line2D([], [], color=colour, linestyle=dashes), str(direction)))
        top = max(top, float(had.max(initial=0.0)))
    if committed_mbit_s is not None:
        axes.axhline(committed_mbit_s, color=INK, linewidth=0.9, linestyle=":")
        marks.append((Line2D([], [], color=INK, linewidth=0.9, linestyle=":"), "committed"))
        top = max(top, committed_mbit_s)
    axes.set_xscale("log")
    axes.set_xlim(0.1, floor_share)
    axes.set_ylim(0.0, 1.08 * top if top > 0.0 else 1.0)
    ticks = [10.0**-power for power in range(1, 1 + round(-math.log10(floor_share)))]
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda below_share, _: f"{100.0 * (1.0 - below_share):.10g}"))
    axes.grid()
    axes.set_axisbelow(True)
    return _legend(axes, marks)


def rate_steps(
    exceeded_share: pd.Series, rate_mbit_s: pd.Series, *, floor_share: float = FLOOR_SHARE
) -> tuple[Floats, Floats]:
    """Corners of the curve of ``rate_curves``: share of time below a rate, rising, and the rate had.

    From each share on, the rate is the largest that is missed for no more than that share of time.
    """
    order = np.argsort(rate_mbit_s.to_numpy(np.float64), kind="stable")
    rates = rate_mbit_s.to_numpy(np.float64)[order]
    below = np.maximum.accumulate(np.maximum(1.0 - exceeded_share.to_numpy(np.float64)[order], 0.0))
    below[below < 1e-12] = 0.0  # what rounding leaves of 1 - 1
    begins = np.maximum(below, floor_share)
    kept = np.append(begins[1:] > begins[:-1], True) if len(begins) else np.zeros(0, np.bool_)
    begins, rates = begins[kept], rates[kept]
    if len(begins) and begins[0] > floor_share:
        begins, rates = np.insert(begins, 0, floor_share), np.insert(rates, 0, 0.0)
    return np.append(begins, 1.0), np.append(rates, rates[-1:] if len(rates) else 0.0)


def modulation_bars(
    table: pd.DataFrame, axes: Axes, *, hops: Sequence[str], floor_share: float = FLOOR_SHARE
) -> Axes:
    """Share of time in each modulation, stacked from the lowest up on a log axis, both directions together.

    Parameters
    ----------
    table : DataFrame
        Columns ``hop``, ``states`` (0 is down) and ``share`` of channel time; directions are averaged.
    axes : Axes
    hops : sequence of str
        Which, from top to bottom.
    floor_share : float
        Left end of the axis. 0 to 1.

    Notes
    -----
    A colour begins at the share of time spent in lower modulations and ends where its own is added, so
    the axis reads: share of time with no more than this modulation.
    """
    rows = _rows(axes, hops)
    mean = table.groupby(["hop", "states"])["share"].mean().unstack(fill_value=0.0)
    mean = mean.reindex(index=list(hops), fill_value=0.0).sort_index(axis=1)
    reached = mean.cumsum(axis=1)
    left = np.full(len(hops), floor_share)
    marks: list[tuple[Artist, str]] = []
    for states, colour in zip(mean.columns, steps(len(mean.columns)), strict=True):
        right = np.maximum(reached[states].to_numpy(np.float64), left)
        axes.barh(rows, right - left, left=left, height=0.7, color=colour, edgecolor="white", linewidth=0.6)
        marks.append((Patch(facecolor=colour), "down" if states == 0 else f"{states} states"))
        left = right
    axes.set_xscale("log")
    axes.set_xlim(floor_share, 1.0)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda share, _: f"{100.0 * share:.10g} %"))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.grid(axis="x")
    axes.set_axisbelow(True)
    axes.set_xlabel("share of channel time with no more than this modulation")
    return _legend(axes, marks)


def phase_bars(table: pd.DataFrame, axes: Axes, *, name: str = "kind") -> Axes:
    """Hours a year that parts of each kind are failed, stacked by what is waited for.

    Parameters
    ----------
    table : DataFrame
        Columns ``name`` and one per phase of ``failure_log.PHASES``, as ``phase_column`` names it.
    axes : Axes
    name : str
        Column of the names.
    """
    rows = _rows(axes, [str(kind).replace("_", " ") for kind in table[name]])
    left = np.zeros(len(table))
    marks: list[tuple[Artist, str]] = []
    for phase, colour in zip(PHASES, steps(len(PHASES)), strict=True):
        hours = table[phase_column(phase)].to_numpy(np.float64)
        axes.barh(rows, hours, left=left, height=0.7, color=colour, edgecolor="white", linewidth=0.6)
        marks.append((Patch(facecolor=colour), phase))
        left += hours
    axes.set_xlim(left=0.0)
    axes.grid(axis="x")
    axes.set_axisbelow(True)
    axes.set_xlabel("hours a year, all parts of the kind together")
    return _legend(axes, marks)


def phase_column(phase: str) -> str:
    """Column of a phase of repair in the tables of failures."""
    return f"{phase.replace(' ', '_')}_h_per_year"


def month_map(table: pd.DataFrame, axes: Axes, *, names: Sequence[str]) -> Axes:
    """Unavailable minutes of each calendar month and service in an average year, darker for more.

    Parameters
    ----------
    table : DataFrame
        Columns ``service``, ``month`` (1 to 12), ``unavailable_min_per_year``.
    axes : Axes
    names : sequence of str
        Which services, from top to bottom.
    """
    wide = table.pivot_table(
        index="service", columns="month", values="unavailable_min_per_year", aggfunc="sum"
    )
    minutes = wide.reindex(index=list(names), columns=range(1, 13)).fillna(0.0).to_numpy(np.float64)
    rows = _rows(axes, names)
    low, high = colour_limits(minutes)
    norm = LogNorm(low, high)
    for row, line in zip(rows, minutes, strict=True):
        for month, value in enumerate(line):
            shade = float(norm(max(value, low)))
            colour = tuple(map(float, ramp(np.array([shade]))[0])) if value > 0.0 else "#ffffff"
            axes.barh(row, 1.0, left=month - 0.5, height=0.94, color=colour, edgecolor="white")
            dark = value > 0.0 and shade > 0.45
            axes.text(
                month, row, number(value) if value >= 0.05 else "·",
                ha="center", va="center", fontsize=7.5, color="white" if dark else INK,
            )  # fmt: skip
    axes.set_xlim(-0.5, 11.5)
    axes.set_xticks(range(12), MONTHS)
    axes.tick_params(length=0)
    axes.spines[:].set_visible(False)
    return axes


def _rows(axes: Axes, names: Sequence[str] | pd.Series) -> Floats:
    """Label the rows from top to bottom and give their places."""
    rows = np.arange(len(names), dtype=np.float64)
    axes.set_yticks(rows, [str(each) for each in names], parse_math=False)
    axes.set_ylim(len(names) - 0.4, -0.6)
    return rows


def _level_lines(axes: Axes) -> None:
    """Lines at the usual availabilities, named at the top."""
    low, high = axes.get_xlim()
    for level in LEVELS:
        minutes = (1.0 - level) * MINUTES_PER_YEAR
        if low < minutes < high:
            axes.axvline(minutes, color=FAINT, linewidth=0.9, zorder=0)
            axes.annotate(
                level_name(level), (minutes, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 3),
                textcoords="offset points", ha="center", va="bottom", fontsize=8,
            )  # fmt: skip


def _log_limits(values: Floats) -> tuple[float, float]:
    """Ends of a logarithmic axis that holds all positive values, at least a decade."""
    positive = values[np.isfinite(values) & (values > 0.0)]
    if not positive.size:
        return 0.1, 10.0
    return float(positive.min()) / 2.0, max(float(positive.max()) * 2.0, float(positive.min()) * 10.0)


def colour_limits(values: Floats) -> tuple[float, float]:
    """Ends of a logarithmic colour scale: no more than four decades, at least a factor of 2."""
    positive = values[np.isfinite(values) & (values > 0.0)]
    if not positive.size:
        return 1.0, 10.0
    high = float(positive.max())
    return min(max(float(positive.min()), high / 1e4), high / 2.0), high


def _legend(axes: Axes, marks: Sequence[tuple[Artist, str]]) -> Axes:
    """Legend above the axes; names are drawn as they are, even those that begin with an underscore."""
    if marks:
        legend = axes.legend(
            [mark for mark, _ in marks], [f"{i}" for i in range(len(marks))],
            loc="lower left", bbox_to_anchor=(0.0, 1.02), ncols=min(len(marks), 6),
            borderaxespad=0.2, handlelength=1.6, columnspacing=1.4,
        )  # fmt: skip
        for text, (_, label) in zip(legend.get_texts(), marks, strict=True):
            text.set_parse_math(False)
            text.set_text(label)
    return axes
