"""Figure of the study: measured and simulated side by side."""

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from joint_statistics import LAGS_MIN, LEVELS_DB, Comparison
from matplotlib.axis import Axis
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator


def draw(part: Comparison, file: Path) -> None:
    """c against distance, durations and memory: measured with its middle 95 %, and simulated."""
    figure, (left, middle, right) = plt.subplots(1, 3, figsize=(11.0, 3.6))
    _panel(left, part.measured.distance_km, part, "conditional")
    left.set(xscale="log", yscale="log", xlabel="distance [km]", ylabel="P(j faded, given i faded)")
    _plain_ticks(left.xaxis, [3, 6, 10, 20, 40, 80])
    _plain_ticks(left.yaxis, [0.02, 0.05, 0.1, 0.2, 0.5])
    _panel(middle, np.array(LEVELS_DB), part, "duration_min")
    middle.set(yscale="log", xlabel="attenuation [dB]", ylabel="mean fade [min]")
    _plain_ticks(middle.yaxis, [3, 4, 5, 7, 10])
    _panel(right, np.array(LAGS_MIN), part, "memory")
    right.set(xlabel="lag [min]", ylabel="correlation in time", ylim=(0.0, 1.0))
    left.legend(fontsize=8)
    figure.tight_layout()
    figure.savefig(file, dpi=110)
    plt.close(figure)


def _plain_ticks(axis: Axis, values: list[float]) -> None:
    """Ticks of a logarithmic axis at these values, written out."""
    axis.set_major_locator(FixedLocator(values))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.set_minor_locator(NullLocator())


def _panel(axes: plt.Axes, x: np.ndarray, part: Comparison, field: str) -> None:
    values = np.array([getattr(span, field) for span in part.spans])
    low, high = np.nanpercentile(values, [10, 90], axis=0)
    axes.fill_between(x, low, high, color="0.85", label="simulated, middle 80 % of spans")
    axes.plot(x, np.nanmean(values, axis=0), "s-", color="0.35", label="simulated, mean")
    measured = getattr(part.measured, field)
    error = np.abs(part.bounds(field) - measured)
    axes.errorbar(
        x, measured, yerr=error, fmt="o-", color="C0", capsize=3, label="measured, days redrawn (95 %)"
    )
