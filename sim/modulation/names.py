"""Names of fixed modulations beside their curves and points; they need the final layout of the figure."""

from collections.abc import Sequence
from typing import Literal

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.modulation.figures import UNAVAILABLE, point_shares, shares_of_time
from hopyears.sim.modulation.findings import ADAPTIVE
from hopyears.sim.report.naming import NAME_POINTS
from hopyears.sim.report.naming import name_points as name_beside
from hopyears.sim.report.scales import figure_of
from hopyears.sim.wording.palette import SECOND
from hopyears.sim.wording.wording import PER_CENT

TOGETHER_PIXELS = 4.0
"""Points no farther apart than this, both across and up, have one name."""


def name_curves(cases: pd.DataFrame, axes: Axes) -> list[str]:
    """Write the states of each fixed modulation at the left end of its curve, the best first; give them.

    A curve that does not reach the left end says so, and those that never carry anything are named in the
    upper right corner. A name that would stand on another is left out.
    """
    fixed = cases[cases["states"] != ADAPTIVE].sort_values(["best_mbit_s", "states"], ascending=False)
    height = NAME_POINTS * figure_of(axes).dpi / 72.0
    left = axes.get_xlim()[0]
    named: list[str] = []
    last = np.inf
    for states, best, below in fixed[["states", "best_mbit_s", "below_best_min_per_year"]].to_numpy(float):
        y = float(axes.transData.transform((left, best))[1])
        if best == 0.0 or last - y < height:
            continue
        last = y
        named.append(f"{states:.0f}")
        if below / MINUTES_PER_YEAR >= left:
            named[-1] += f": under {100.0 * (1.0 - left):.10g}{PER_CENT}"
        _note(axes, named[-1], (0.0, best), "data", (4, 2), "left", "bottom")
    never = sorted(int(states) for states in fixed.loc[fixed["best_mbit_s"] == 0.0, "states"])
    if never:
        named.append(f"never: {', '.join(map(str, never))}")
        _note(axes, named[-1], (1.0, 1.0), "axes fraction", (-2, -1), "right", "top")
    return named


def _note(
    axes: Axes,
    name: str,
    at: tuple[float, float],
    up: Literal["data", "axes fraction"],
    away_points: tuple[float, float],
    across: Literal["left", "right"],
    along: Literal["bottom", "top"],
) -> None:
    """Write a name at a share of the width, and a height in data or a share of it."""
    axes.annotate(
        name, at, xycoords=("axes fraction", up), xytext=away_points, textcoords="offset points",
        ha=across, va=along, fontsize=NAME_POINTS, color=SECOND,
    )  # fmt: skip


def name_points(cases: pd.DataFrame, axes: Axes) -> list[str]:
    """Write the states of each fixed modulation beside its point, one name for points that coincide."""
    left, floor = axes.get_xlim()
    ordered = cases.sort_values("states")
    at = np.clip(point_shares(ordered), floor, left)
    mean = ordered["mean_mbit_s"].to_numpy(np.float64)
    own = (ordered["states"] != ADAPTIVE).to_numpy()
    dots, named = np.stack([at, mean], axis=1), [f"{states}" for states in ordered["states"][own]]
    pixels, names = _together(axes.transData.transform(dots[own]), named)
    if names:
        low, high = (np.clip(end, floor, left) for end in shares_of_time(ordered, UNAVAILABLE)[1:])
        kept_clear = np.concatenate([np.column_stack([low, mean, high, mean]), np.hstack([dots, dots])])
        at_points = axes.transData.inverted().transform(pixels)
        name_beside(axes, names, at_points, kept_clear, colour=SECOND)
    return names


def _together(pixels: Floats, names: Sequence[str]) -> tuple[Floats, list[str]]:
    """Points that lie apart, and for each the names of all that lie on it."""
    points: list[Floats] = []
    joined: list[str] = []
    for pixel, name in zip(pixels, names, strict=True):
        near = [k for k, point in enumerate(points) if np.abs(point - pixel).max() <= TOGETHER_PIXELS]
        if near:
            joined[near[0]] += f", {name}"
        else:
            points.append(pixel)
            joined.append(name)
    return np.array(points).reshape(-1, 2), joined
