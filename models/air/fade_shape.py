"""The shape of one fade: near its bottom the field passes the origin on a straight line.

Relative power g(t) = (v (t - t0) + dx)^2 + (b + dy)^2 (free space = 1): threshold crossings are square roots.
With closest approaches b uniform at density p0/(pi E[1/v]) per second, the fraction of time below x is p0 x
(1 - exp(-p0 x) where fades overlap) and the mean fade lasts pi/2 E[1/v] sqrt(x).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air import multipath
from hopyears.models.basics.arrays import Floats

REFERENCE_DURATION_S: Final = 410.0
"""Mean fade below x lasts this times sqrt(x) on the reference path [s].

Vigants 1975, Bell Syst. Tech. J. 54(1), from memory.
"""

REFERENCE_PATH_KM: Final = 46.0
"""Path of Barnett 1972 (28.5 miles) on which that was measured."""

DURATION_RANGE_S: Final = (100.0, 600.0)
"""Limits of the duration law over length (common practice, no source)."""

LOG_SPEED_SD: Final = 0.9
"""Standard deviation of ln v. With that of the chord, fade durations get 1.0 (Vigants 1971: lognormal; value
from memory)."""

SHALLOWEST_DB: Final = 6.0
"""Fades shallower than this are counted as this deep [dB]: below, the law is that of all weather."""

LARGEST_RAW: Final = 4.0
"""Largest raw depth in use (relative power)."""

_DEPTH_GRID_DB: Final = np.concatenate([np.arange(SHALLOWEST_DB, 40.0, 0.25), np.arange(40.0, 121.0, 2.0)])


def mean_duration_s(path_length_km: ArrayLike) -> Floats:
    """T_ref: the mean fade below relative power x lasts T_ref sqrt(x) [s].

    Parameters
    ----------
    path_length_km : float or array
        [km], above 0.

    Notes
    -----
    410 s sqrt(d/46 km), within 100 to 600 s: Vigants 1975 at the length of its path; the growth with length
    and the limits are common practice, no source.
    """
    length = np.asarray(path_length_km, dtype=np.float64)
    if np.any(~(length > 0.0)):
        raise ValueError(f"path_length_km is {length.min()}; must be above 0")
    return np.clip(REFERENCE_DURATION_S * np.sqrt(length / REFERENCE_PATH_KM), *DURATION_RANGE_S)


def mean_fade_s(duration_s: ArrayLike, depth_db: ArrayLike) -> Floats:
    """Mean length of fades deeper than A [s]: T_ref 10^(-A/20), T_ref of ``mean_duration_s``; any shape."""
    return np.asarray(
        np.asarray(duration_s, dtype=np.float64)
        * np.power(10.0, -np.asarray(depth_db, dtype=np.float64) / 20.0)
    )


def approach_density_per_s(occurrence: ArrayLike, duration_s: ArrayLike) -> Floats:
    """Fades per second and unit of closest approach b (both signs): p0/(2 T_ref); shapes broadcast."""
    return np.asarray(occurrence, dtype=np.float64) / (2.0 * np.asarray(duration_s, dtype=np.float64))


@dataclass(frozen=True)
class Activity:
    """How the occurrence of fades spreads over time.

    Parameters
    ----------
    level : array, shape (n,)
        Activity, at least 0, relative to its mean over the year.
    worst_month, other_months : array, shape (n,)
        Fraction of the worst month (of the eleven others) spent at each level; the rest is still.
    """

    level: Floats
    worst_month: Floats
    other_months: Floats


@dataclass(frozen=True)
class DepthMap:
    """Monotone curves between the depth of a fade and the raw depth x of the straight-line fades.

    Parameters
    ----------
    depth_db : array, shape (n,)
        Increasing [dB].
    log_raw : array, shape (2, n)
        Natural logarithm of x at those depths, decreasing: row 0 for ordinary months, 1 for the year's worst.
    """

    depth_db: Floats
    log_raw: Floats

    def raw_threshold(self, depth_db: ArrayLike) -> Floats:
        """x that raw fades pass to be deeper than A [dB], shape (2, *depth shape): ordinary, worst month.

        Below 6 dB as at 6 dB; beyond 120 dB it falls as 10^(-A/10); an infinite depth gives 0.
        """
        depth = np.asarray(depth_db, dtype=np.float64)
        inside = np.stack([np.exp(np.interp(depth, self.depth_db, row)) for row in self.log_raw])
        return np.asarray(inside * np.power(10.0, -np.maximum(depth - self.depth_db[-1], 0.0) / 10.0))

    def depth(self, raw: ArrayLike, *, worst_month: bool) -> Floats:
        """Depth [dB] of a raw level x above 0, the inverse; any shape."""
        row = self.log_raw[int(worst_month)]
        log_raw = np.log(np.asarray(raw, dtype=np.float64))
        beyond = 10.0 / np.log(10.0) * np.maximum(row[-1] - log_raw, 0.0)
        return np.asarray(np.interp(-log_raw, -row, self.depth_db) + beyond)


def depth_map(
    occurrence_worst: float, occurrence_year: float, occurrence_drawn: float, activity: Activity
) -> DepthMap:
    """Curves that make P.530's law hold for all depths, in the average worst month and the average year.

    Parameters
    ----------
    occurrence_worst, occurrence_year : float
        p0 of the average worst month and of the average year [fraction], above 0.
    occurrence_drawn : float
        p0 of the fades as drawn at activity 1.
    activity : Activity
        How the occurrence spreads over time.

    Notes
    -----
    Raw fades cover 1 - exp(-p0 a x) of the time at activity a. The worst month's curve equates the mean of
    that over the worst month with P.530's law for p0 of the worst month; the other months' curve with what is
    left of the year's law. The worst month's tends to x = 10^(-A/10). x is at most 4; between two depths ln x
    is linear.

    References
    ----------
    ITU-R P.530-17 and -18, 2.3.2 and 2.3.4 (the year by the same law with the year's p0).
    """
    worst = multipath.exceedance(occurrence_worst, _DEPTH_GRID_DB)
    year = multipath.exceedance(occurrence_year, _DEPTH_GRID_DB)
    other = np.maximum((12.0 * year - worst) / 11.0, 0.0)
    rows = [
        _log_raw(target, occurrence_drawn * activity.level, weight)
        for target, weight in ((other, activity.other_months), (worst, activity.worst_month))
    ]
    return DepthMap(_DEPTH_GRID_DB, np.stack(rows))


def _log_raw(target: Floats, level: Floats, weight: Floats) -> Floats:
    """ln x at which the raw law meets each target, made to decrease."""
    grid = np.linspace(np.log(1e-18), np.log(LARGEST_RAW), 440)
    covered = -np.expm1(-np.exp(grid)[:, None] * level[None, :]) @ weight
    found = np.interp(np.log(np.maximum(target, 1e-300)), np.log(np.maximum(covered, 1e-299)), grid)
    decreasing = np.minimum.accumulate(found)
    return np.asarray(decreasing - 1e-9 * np.arange(len(found)))
