"""Axes, ticks, colour scales and legends that the figures share."""

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib import colormaps
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, LogLocator, MaxNLocator, NullLocator
from matplotlib.transforms import ScaledTranslation
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.sim.wording.palette import FAINT
from hopyears.sim.wording.wording import LEVELS, given, level_name

MOST_DECADES = 6.0
"""What lies farther below the largest value is cut off at the edge."""

LEGEND_COLUMNS = 6
LEGEND_LINE_IN = 0.23
"""Height of a line of a legend above the axes [inch]."""

Mark = tuple[Artist, str]


def figure_of(axes: Axes) -> Figure:
    """Figure that axes stand on.

    Raises
    ------
    ValueError
        If they stand on none.
    """
    figure = axes.get_figure(root=True)
    if figure is None:
        raise ValueError("axes is without a figure; must be on one")
    return figure


def named_rows(axes: Axes, names: Sequence[str] | pd.Series) -> Floats:
    """Label rows from top to bottom with names as they are, and give their places on the axis."""
    rows = np.arange(len(names), dtype=np.float64)
    axes.set_yticks(rows, [str(each) for each in names], parse_math=False)
    axes.set_ylim(len(names) - 0.4, -0.6)
    return rows


def mark_levels(axes: Axes) -> None:
    """Lines at the usual availabilities on an axis of minutes a year, named above the axes."""
    low, high = axes.get_xlim()
    for level in LEVELS:
        minutes = (1.0 - level) * MINUTES_PER_YEAR
        if low < minutes < high:
            axes.axvline(minutes, color=FAINT, linewidth=1.0, zorder=0)
            axes.annotate(
                level_name(level), (minutes, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 3),
                textcoords="offset points", ha="center", va="bottom", fontsize=8,
            )  # fmt: skip


def log_limits(values: Floats) -> tuple[float, float]:
    """Ends of a logarithmic axis that holds all positive values, from one decade to ``MOST_DECADES``."""
    positive = values[np.isfinite(values) & (values > 0.0)]
    if not positive.size:
        return 0.1, 10.0
    high = float(positive.max())
    low = max(float(positive.min()), high / 10.0**MOST_DECADES)
    return low / 2.0, max(high * 1.6, low * 10.0)


def colour_limits(values: Floats, *, decades: float = 4.0) -> tuple[float, float]:
    """Ends of a logarithmic colour scale: the largest value, and at most some decades below it.

    Parameters
    ----------
    values : float array, any shape
        What is to be coloured.
    decades : float
        Above 0. The scale spans a factor of 2 at least.
    """
    positive = values[np.isfinite(values) & (values > 0.0)]
    if not positive.size:
        return 1.0, 10.0
    high = float(positive.max())
    return min(max(float(positive.min()), high / 10.0**decades), high / 2.0), high


def tick_log_axis(axis: Axis, low: float, high: float, *, most: int = 8) -> None:
    """Round ticks with plain numbers on a logarithmic axis: 1, 2, 5 in each decade where these are few."""
    if high < 5.0 * low:
        axis.set_major_locator(MaxNLocator(4))
    else:
        several = 3.0 * math.log10(high / low) <= most
        axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0) if several else (1.0,), numticks=most))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda value, _: given(value)))


def round_ticks(low: float, high: float) -> list[float]:
    """Three round values or more between the ends of a logarithmic scale that spans a factor of 2 or more."""
    for steps_of_decade in ((1.0,), (1.0, 3.0), (1.0, 2.0, 5.0), (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0)):
        decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
        found = [step * 10.0**power for power in decades for step in steps_of_decade]
        found = [value for value in found if low * 0.999 <= value <= high * 1.001]
        if len(found) >= 3:
            return found
    return [low, math.sqrt(low * high), high]


RAMP = ListedColormap(colormaps["magma_r"](np.linspace(0.12, 0.86, 256)), "hopyears")
"""From light (little) to dark (much), even in lightness: matplotlib's magma without its ends."""


def ramp(share: ArrayLike) -> Floats:
    """Colours (sRGB, 0 to 1), shape (n, 3), of a scale from light (0) to dark (1)."""
    colours: Floats = RAMP(np.atleast_1d(share))[:, :3]
    return colours


def steps(n: int) -> list[tuple[float, float, float]]:
    """Colours of ``n`` ordered steps, from dark (worst) to light (best); n is at least 1."""
    at = np.linspace(1.0, 0.0, n) if n > 1 else np.zeros(1)
    return [(float(red), float(green), float(blue)) for red, green, blue in ramp(at)]


def availability_axis(axes: Axes, *, left_share: float = 0.1, floor_share: float) -> None:
    """Share of time available in per cent from left to right, logarithmic in what lacks to 100.

    Parameters
    ----------
    axes : Axes
        Its x is the share of time that lacks. 0 to 1.
    left_share, floor_share : float
        Powers of ten: what lacks at the left and at the right end. Above 0, at most 1.
    """
    axes.set_xscale("log")
    axes.set_xlim(left_share, floor_share)
    powers = range(round(-math.log10(left_share)), 1 + round(-math.log10(floor_share)))
    axes.xaxis.set_major_locator(FixedLocator([10.0**-power for power in powers]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda lacks, _: f"{100.0 * (1.0 - lacks):.10g}"))


def legend_lines(n_marks: int) -> int:
    """Lines that a legend above the axes takes."""
    return math.ceil(n_marks / LEGEND_COLUMNS)


def legend_above(axes: Axes, marks: Sequence[Mark], *, gap_points: float = 5.0) -> Axes:
    """Legend above the axes; names are drawn as they are, even those that begin with an underscore.

    It takes no part in the layout of the figure: whoever makes the figure leaves the room.
    """
    if not marks:
        return axes
    above = axes.transAxes + ScaledTranslation(0.0, gap_points / 72.0, figure_of(axes).dpi_scale_trans)
    n_columns = math.ceil(len(marks) / legend_lines(len(marks)))
    legend = axes.legend(
        [mark for mark, _ in marks], [f"{i}" for i in range(len(marks))],
        loc="lower left", bbox_to_anchor=(0.0, 1.0), bbox_transform=above, ncols=n_columns,
        borderaxespad=0.0, borderpad=0.0, handlelength=1.6, columnspacing=1.4,
    )  # fmt: skip
    legend.set_in_layout(False)
    for text, (_, label) in zip(legend.get_texts(), marks, strict=True):
        text.set_parse_math(False)
        text.set_text(label)
    return axes
