"""Figure of the study: measured and simulated side by side."""

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
from joint_statistics import LAGS_MIN, LEVELS_DB, JointStatistics
from matplotlib.axis import Axis
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator


def draw(measured: JointStatistics, spans: list[JointStatistics], file: Path) -> None:
    """c against distance, durations and memory: measured, mean of the spans, and their middle 80 %."""
    figure, (left, middle, right) = plt.subplots(1, 3, figsize=(11.0, 3.6))
    _panel(left, measured.distance_km, measured, spans, "conditional")
    left.set(xscale="log", yscale="log", xlabel="distance [km]", ylabel="P(j faded, given i faded)")
    _plain_ticks(left.xaxis, [3, 6, 10, 20, 40, 80])
    _plain_ticks(left.yaxis, [0.02, 0.05, 0.1, 0.2, 0.5])
    _panel(middle, np.array(LEVELS_DB), measured, spans, "duration_min")
    middle.set(yscale="log", xlabel="attenuation [dB]", ylabel="mean fade [min]")
    _plain_ticks(middle.yaxis, [3, 4, 5, 7, 10])
    _panel(right, np.array(LAGS_MIN), measured, spans, "memory")
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


def _panel(
    axes: plt.Axes, x: np.ndarray, measured: JointStatistics, spans: list[JointStatistics], field: str
) -> None:
    values = np.array([getattr(span, field) for span in spans])
    low, high = np.nanpercentile(values, [10, 90], axis=0)
    axes.fill_between(x, low, high, color="0.85", label="simulated, middle 80 % of spans")
    axes.plot(x, np.nanmean(values, axis=0), "s-", color="0.35", label="simulated, mean")
    axes.plot(x, getattr(measured, field), "o-", color="C0", label="measured")
