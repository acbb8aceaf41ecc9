"""Figures of what is left to carry: rates and modulations against the share of time, on logarithmic axes."""

from collections.abc import Sequence
from typing import Literal

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FuncFormatter, NullLocator

from hopyears.models.basics.arrays import Floats
from hopyears.sim.report.scales import Mark, availability_axis, legend_above, named_rows, steps
from hopyears.sim.wording.palette import ACCENT, INK, SECOND

DIRECTIONS: dict[str, tuple[str, Literal["-"] | tuple[float, Sequence[float]]]] = {
    "forward": (ACCENT, "-"),
    "backward": (SECOND, (0.0, (4.0, 2.0))),
    "both": (INK, "-"),
}
"""Colour and dashes of the curve of each direction."""

FLOOR_SHARE = 1e-6
"""Least share of time that a logarithmic axis shows."""


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
    marks: list[Mark] = []
    top = 0.0
    for direction, (colour, dashes) in DIRECTIONS.items():
        part = table[table["direction"] == direction]
        if part.empty:
            continue
        below, had = rate_steps(part["exceeded_share"], part[rate], floor_share=floor_share)
        axes.step(below, had, where="post", color=colour, linestyle=dashes, linewidth=1.8)
        marks.append((Line2D([], [], color=colour, linestyle=dashes), direction))
        top = max(top, float(had.max(initial=0.0)))
    if committed_mbit_s is not None:
        axes.axhline(committed_mbit_s, color=INK, linewidth=0.9, linestyle=":")
        marks.append((Line2D([], [], color=INK, linewidth=0.9, linestyle=":"), "committed"))
        top = max(top, committed_mbit_s)
    availability_axis(axes, floor_share=floor_share)
    axes.set_ylim(0.0, 1.08 * top if top > 0.0 else 1.0)
    axes.grid()
    return legend_above(axes, marks, gap_points=22.0 if axes.get_title(loc="left") else 5.0)


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
    rows = named_rows(axes, hops)
    mean = table.groupby(["hop", "states"])["share"].mean().unstack(fill_value=0)
    mean = mean.reindex(index=list(hops), fill_value=0.0).sort_index(axis=1)
    reached = mean.cumsum(axis=1)
    left = np.full(len(hops), floor_share)
    marks: list[Mark] = []
    for states, colour in zip(mean.columns, steps(len(mean.columns)), strict=True):
        right = np.maximum(reached[states].to_numpy(np.float64), left)
        axes.barh(rows, right - left, left=left, height=0.7, color=colour, edgecolor="white", linewidth=0.6)
        marks.append((Patch(facecolor=colour), _states_name(int(str(states)))))
        left = right
    axes.set_xscale("log")
    axes.set_xlim(floor_share, 1.0)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda share, _: f"{100.0 * share:.10g} %"))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.grid(axis="x")
    axes.set_xlabel("share of channel time with no more than this modulation")
    return legend_above(axes, marks)


def _states_name(states: int) -> str:
    return "down" if states == 0 else f"{states} states"
