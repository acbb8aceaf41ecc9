"""Figures of a study of modulation: adaptive against every fixed modulation, on the same weather.

Each takes rows of the study's tables (``sim.modulation.tables``) and axes. Adaptive modulation is the
one with 0 states. The names of the others, beside curves and points, come last
(``sim.modulation.names``).
"""

from collections.abc import Collection, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from hopyears.models.basics.arrays import Bools, Floats
from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.modulation.findings import ADAPTIVE
from hopyears.sim.report.rate_figures import rate_steps
from hopyears.sim.report.scales import Mark, availability_axis, named_rows, tick_log_axis
from hopyears.sim.wording.palette import ACCENT, INK, SECOND

FIXED = "fixed, by number of states"
UNSURE = "not surely different"
UNAVAILABLE = "unavailable_min_per_year"


def curve_marks(states: Collection[int]) -> list[Mark]:
    """What stands for adaptive and for fixed modulation among curves, for a legend; those that are drawn."""
    kinds = ((True, ACCENT, 2.6, "adaptive"), (False, SECOND, 1.4, FIXED))
    return [
        (Line2D([], [], color=colour, linewidth=width), name)
        for adaptive, colour, width, name in kinds
        if any((each == ADAPTIVE) == adaptive for each in states)
    ]


def point_marks(cases: pd.DataFrame, *, left_share: float, floor_share: float) -> list[Mark]:
    """The same for the points of ``throughput_points``, with what else is met in all that is drawn."""
    marks: list[Mark] = [(_dot(ACCENT), "adaptive"), (_dot(SECOND), FIXED)]
    markers = set(_markers(cases, left_share, floor_share))
    if not _sure(cases[cases["states"] != ADAPTIVE]).all():
        marks.append((_dot(SECOND, face="white"), UNSURE))
    if ">" in markers:
        marks.append((_dot(INK, marker=">"), "at least"))
    if "<" in markers:
        marks.append((_dot(INK, marker="<"), "less than the axis shows"))
    return marks


def row_marks(table: pd.DataFrame, names: Sequence[str]) -> list[Mark]:
    """The same for the rows of ``undelivered_rows``, drawn for some columns."""
    marks: list[Mark] = [(_dot(ACCENT), "adaptive"), (_dot(SECOND), "fixed")]
    fixed = table[table["states"] != ADAPTIVE]
    if not all(_sure(fixed, (name,)).all() for name in names):
        marks.append((_dot(SECOND, face="white"), UNSURE))
    if any((table[name] == 0.0).any() for name in names):
        marks.append((_dot(INK, marker="<", face="white"), "at most"))
    return marks


def _dot(colour: str, *, marker: str = "o", face: str | None = None) -> Line2D:
    return Line2D(
        [], [], color=colour, marker=marker, markersize=5.5, linestyle="", markerfacecolor=face or colour
    )


def capacity_curves(
    curves: pd.DataFrame, cases: pd.DataFrame, axes: Axes, *, left_share: float, floor_share: float
) -> Axes:
    """Capacity that a hop has for at least a share of the time, adaptive and fixed, against that share.

    Parameters
    ----------
    curves : DataFrame
        Rows of ``hop_curves`` of one hop.
    cases : DataFrame
        Rows of ``hops`` of that hop.
    axes : Axes
    left_share, floor_share : float
        Ends of the axis, as for ``availability_axis``.

    Notes
    -----
    At the best capacity of each fixed modulation the 95 % interval of the time with less than that: of the
    fixed modulation just above the curve, of adaptive modulation just below it.
    """
    availability_axis(axes, left_share=left_share, floor_share=floor_share)
    top = float(cases["best_mbit_s"].max())
    axes.set_ylim(0.0, 1.16 * top if top > 0.0 else 1.0)
    for states in sorted(set(curves["states"]), key=lambda each: (each == ADAPTIVE, each)):
        own = curves[curves["states"] == states]
        below, had = rate_steps(own["exceeded_share"], own["mbit_s"], floor_share=floor_share)
        adaptive = states == ADAPTIVE
        axes.step(
            below, had, where="post", color=ACCENT if adaptive else SECOND,
            linewidth=2.6 if adaptive else 1.4, zorder=2.0 if adaptive else 2.5,
        )  # fmt: skip
    fixed = cases[(cases["states"] != ADAPTIVE) & (cases["best_mbit_s"] > 0.0)]
    sides = [("below_best", SECOND, 1.0)]
    if ADAPTIVE in set(curves["states"]):
        sides.append(("adaptive_below", ACCENT, -1.0))
    apart = 0.016 * axes.get_ylim()[1]
    for name, colour, side in sides:
        rows = fixed["best_mbit_s"].to_numpy(np.float64) + side * apart
        _intervals(axes, shares_of_time(fixed, f"{name}_min_per_year"), rows, colour)
    axes.grid()
    return axes


def throughput_points(cases: pd.DataFrame, axes: Axes, *, left_share: float, floor_share: float) -> Axes:
    """Mean throughput of a service against its availability, adaptive and at each fixed modulation.

    Parameters
    ----------
    cases : DataFrame
        Rows of ``services`` of one service.
    axes : Axes
    left_share, floor_share : float
        Ends of the axis, as for ``availability_axis``.

    Notes
    -----
    With 95 % intervals of both. Where no outage was seen, an arrow points right from the lower bound of the
    availability; what lies beyond the axis is an arrow at its end. Hollow points do not
    surely differ from adaptive modulation, neither in availability nor in throughput.
    """
    availability_axis(axes, left_share=left_share, floor_share=floor_share)
    top = float(cases["mean_mbit_s"].max())
    axes.set_ylim(-0.06 * top, 1.22 * top if top > 0.0 else 1.0)
    low, high = (cases[f"mean_mbit_s_{end}"].to_numpy(np.float64) for end in ("low", "high"))
    at, mean = point_shares(cases), cases["mean_mbit_s"].to_numpy(np.float64)
    markers, sure = _markers(cases, left_share, floor_share), _sure(cases)
    for colour, own in _two_kinds(cases):
        _intervals(axes, shares_of_time(cases[own], UNAVAILABLE), mean[own], colour)
        known = own & np.isfinite(low) & np.isfinite(high)
        axes.vlines(at[known], np.maximum(low[known], 0.0), high[known], color=colour, linewidth=1.6)
        for k in np.flatnonzero(own):
            axes.plot(
                np.clip(at[k], floor_share, left_share), mean[k], markers[k], color=colour,
                markersize=7.0 if colour == ACCENT else 5.5, markeredgewidth=1.4, clip_on=False,
                markerfacecolor=colour if colour == ACCENT or sure[k] else "white",
                zorder=4.0 if colour == ACCENT else 3.0, in_layout=False,
            )  # fmt: skip
    axes.grid()
    return axes


def point_shares(cases: pd.DataFrame) -> Floats:
    """Where ``throughput_points`` puts each row: share of time unavailable, or its bound where none was."""
    best, _, high = shares_of_time(cases, UNAVAILABLE)
    return np.where(best > 0.0, best, high)


def _markers(cases: pd.DataFrame, left_share: float, floor_share: float) -> list[str]:
    """Dots; arrows for what is a bound or lies beyond the axis."""
    best, at = shares_of_time(cases, UNAVAILABLE)[0], point_shares(cases)
    beyond = np.where((best == 0.0) | (at < floor_share), ">", "o")
    return [str(marker) for marker in np.where(at > left_share, "<", beyond)]


def undelivered_rows(table: pd.DataFrame, axes: Axes, *, name: str, limits: tuple[float, float]) -> Axes:
    """What one priority lacks in a year, adaptive and at each fixed modulation, with 95 % interval; log axis.

    Parameters
    ----------
    table : DataFrame
        Rows of ``undelivered`` of one priority whose cause is ``all``.
    axes : Axes
    name : str
        Column of the figure [Mbit a year].
    limits : (float, float)
        Ends of the axis [Gbit a year]. Above 0.

    Notes
    -----
    A row of which nothing was seen is an arrow that comes down from its upper bound. Hollow points do not
    surely differ from adaptive modulation.
    """
    rows = named_rows(axes, [states_name(int(states)) for states in table["states"]])
    best, low, high = (table[f"{name}{end}"].to_numpy(np.float64) / 1e3 for end in ("", "_low", "_high"))
    axes.set_xscale("log")
    axes.set_xlim(*limits)
    tick_log_axis(axes.xaxis, *limits, most=5)
    seen, sure = best > 0.0, _sure(table, (name,))
    low, high = np.clip(low, *limits), np.clip(high, *limits)
    for colour, own in _two_kinds(table):
        met, bound = own & seen, own & ~seen
        axes.hlines(rows[met], low[met], high[met], color=colour, linewidth=2.2, alpha=0.55)
        axes.hlines(rows[bound], limits[0], high[bound], color=colour, linewidth=1.0, linestyle=(0, (2, 2)))
        axes.plot(high[bound], rows[bound], "<", color=colour, markersize=5.5, markerfacecolor="white")
        for filled in (True, False):
            shown = met & ((sure == filled) if colour == SECOND else filled)
            face = colour if filled else "white"
            axes.plot(best[shown], rows[shown], "o", color=colour, markersize=5.5, markerfacecolor=face)
        if colour == ACCENT:  # what every other row is to be held against
            for value in best[met]:
                axes.axvline(value, color=ACCENT, linewidth=0.9, linestyle=":", zorder=1)
    axes.grid(axis="x")
    return axes


def states_name(states: int) -> str:
    """``adaptive`` or ``64 states``."""
    return "adaptive" if states == ADAPTIVE else f"{states} states"


def _two_kinds(cases: pd.DataFrame) -> list[tuple[str, Bools]]:
    """Colour and rows of fixed, then of adaptive modulation."""
    adaptive = (cases["states"] == ADAPTIVE).to_numpy()
    return [(SECOND, ~adaptive), (ACCENT, adaptive)]


def _sure(cases: pd.DataFrame, names: Sequence[str] = ("min_per_year", "mbit_s")) -> Bools:
    """Whether the paired interval of one of the differences to adaptive modulation leaves out 0."""
    sure = np.zeros(len(cases), dtype=np.bool_)
    for name in names:
        low, high = (cases[f"difference_{name}_{end}"].to_numpy(np.float64) for end in ("low", "high"))
        sure |= (low > 0.0) | (high < 0.0)
    return sure


def shares_of_time(cases: pd.DataFrame, name: str) -> tuple[Floats, Floats, Floats]:
    """Minutes a year with their limits as shares of the time."""
    best, low, high = (cases[f"{name}{end}"].to_numpy(np.float64) for end in ("", "_low", "_high"))
    return best / MINUTES_PER_YEAR, low / MINUTES_PER_YEAR, np.minimum(high / MINUTES_PER_YEAR, 1.0)


def _intervals(axes: Axes, shares: tuple[Floats, Floats, Floats], rows: Floats, colour: str) -> None:
    """Intervals of shares of time, those that leave the axis cut off at its end; dots mark bounds."""
    left, floor = axes.get_xlim()
    _, low, high = (np.clip(each, floor, left) for each in shares)
    seen = shares[0] > 0.0
    axes.hlines(rows[seen], low[seen], high[seen], color=colour, linewidth=1.6)
    axes.hlines(rows[~seen], floor, high[~seen], color=colour, linewidth=1.0, linestyle=(0, (2, 2)))
