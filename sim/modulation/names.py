"""Names of fixed modulations beside their curves and points; they need the final layout of the figure."""

from collections.abc import Sequence
from typing import Literal

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from numpy.typing import NDArray

from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.modulation.figures import UNAVAILABLE, point_shares, shares_of_time
from hopyears.sim.modulation.findings import ADAPTIVE
from hopyears.sim.report.labels import place_labels
from hopyears.sim.report.scales import figure_of
from hopyears.sim.wording.palette import FAINT, SECOND
from hopyears.sim.wording.wording import PER_CENT

Floats = NDArray[np.float64]

NAME_POINTS = 8.5
"""Size of the names [point]."""

CLEAR_PIXELS = 3.0
"""Kept free on both sides of a name beside a point."""

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
    dots = axes.transData.transform(np.stack([at, mean], axis=1))
    own = (ordered["states"] != ADAPTIVE).to_numpy()
    points, names = _together(dots[own], [f"{states}" for states in ordered["states"][own]])
    if not names:
        return []
    ends = [np.clip(end, floor, left) for end in shares_of_time(ordered, UNAVAILABLE)[1:]]
    bars = np.hstack([axes.transData.transform(np.stack([end, mean], axis=1)) for end in ends])
    segments = np.concatenate([bars, np.hstack([dots - 3.0, dots + 3.0])])
    texts = [axes.text(0, 0, name, fontsize=NAME_POINTS, color=SECOND, zorder=5) for name in names]
    boxes = [text.get_window_extent() for text in texts]
    sizes = np.array([[box.width + 2.0 * CLEAR_PIXELS, box.height] for box in boxes])
    frame = axes.get_window_extent()
    edges = (float(frame.x0), float(frame.y0), float(frame.x1), float(frame.y1))
    found = place_labels(points, sizes, segments=segments, edges=edges)
    for text, place, point, size in zip(texts, found, points, sizes, strict=True):
        if place is None:
            text.remove()
            continue
        x, y = axes.transData.inverted().transform((place.x + CLEAR_PIXELS, place.y + 0.22 * size[1]))
        text.set_position((float(x), float(y)))
        if place.led:
            near = np.clip(point, (place.x, place.y), (place.x + size[0], place.y + size[1]))
            path = axes.transData.inverted().transform([point, near])
            axes.plot(path[:, 0], path[:, 1], color=FAINT, linewidth=0.8, zorder=1)
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
