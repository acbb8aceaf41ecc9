"""What the study compares: how links fade together, for how long, how fast, and how long they remember."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

DISTANCE_EDGES_KM = np.array([2.0, 4.5, 8.0, 12.5, 21.0, 36.0, 60.0, 100.0])
LEVELS_DB = (5.0, 10.0, 20.0, 30.0)
SHARE_OF_TIME = 0.005
SLOPE_BANDS_DB = ((5.0, 10.0), (10.0, 20.0), (20.0, 60.0))
LAGS_MIN = (5, 10, 20, 30)
TOGETHER_DB = (5.0, 10.0, 20.0)


@dataclass(frozen=True)
class JointStatistics:
    """Statistics of one span of 1-minute attenuation of many links.

    ``conditional`` is c = P(link j faded, given link i faded), each at its own level exceeded for 0.5 % of
    the span, by bins of distance; ``duration_min`` the mean and ``median_min`` the median length of fades
    above ``LEVELS_DB``; ``slope_share`` the standard deviation of the slope over 2 minutes over the
    attenuation [1/s], by ``SLOPE_BANDS_DB``; ``memory`` the correlation of the attenuation at ``LAGS_MIN``;
    ``together`` the mean number of links above ``TOGETHER_DB``, seen from one that is.
    """

    distance_km: NDArray[np.float64]
    conditional: NDArray[np.float64]
    duration_min: NDArray[np.float64]
    median_min: NDArray[np.float64]
    slope_share: NDArray[np.float64]
    memory: NDArray[np.float64]
    together: NDArray[np.float64]
    wetness: float


@dataclass(frozen=True)
class Comparison:
    """A measurement, the same with its days drawn again with replacement, and simulated spans like it."""

    measured: JointStatistics
    redrawn: list[JointStatistics]
    spans: list[JointStatistics]

    def bounds(self, field: str) -> NDArray[np.float64]:
        """Middle 95 % of a statistic of the measurement as its days are drawn again, shape (2, n)."""
        values = np.array([getattr(each, field) for each in self.redrawn])
        return np.nanpercentile(values, [2.5, 97.5], axis=0)


def statistics_of(
    attenuation_db: NDArray[np.floating], x_km: NDArray[np.float64], y_km: NDArray[np.float64]
) -> JointStatistics:
    """Statistics of links with middles at (x, y), attenuation of shape (n_links, n_minutes)."""
    attenuation = np.nan_to_num(attenuation_db, nan=0.0)
    distance, conditional = _conditional(attenuation, x_km, y_km)
    lengths = [fade_lengths_min(attenuation, level) for level in LEVELS_DB]
    return JointStatistics(
        distance_km=distance,
        conditional=conditional,
        duration_min=np.array([_mean(length) for length in lengths]),
        median_min=np.array([np.median(length) if len(length) else np.nan for length in lengths]),
        slope_share=_slope_share(attenuation),
        memory=_memory(attenuation),
        together=np.array([_together(attenuation > level) for level in TOGETHER_DB]),
        wetness=float((attenuation > 10.0).mean()),
    )


def fade_lengths_min(attenuation: NDArray[np.floating], level_db: float) -> NDArray[np.int64]:
    """Lengths of all runs of minutes above a level, over all links."""
    above = np.pad(attenuation > level_db, ((0, 0), (1, 1)))
    change = np.diff(above.astype(np.int8), axis=1)
    return np.nonzero(change == -1)[1] - np.nonzero(change == 1)[1]


def _conditional(
    attenuation: NDArray[np.floating], x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    level = np.quantile(attenuation, 1.0 - SHARE_OF_TIME, axis=1)
    used = level > 1.0
    faded = (attenuation[used] > level[used, None]).astype(np.float32)
    both = (faded @ faded.T) / np.maximum(faded.sum(axis=1), 1.0)[:, None]
    separation = np.hypot(x[used, None] - x[used], y[used, None] - y[used])
    np.fill_diagonal(separation, np.inf)
    bins = [(separation >= low) & (separation < high) for low, high in pairwise(DISTANCE_EDGES_KM)]
    middle = np.sqrt(DISTANCE_EDGES_KM[:-1] * DISTANCE_EDGES_KM[1:])
    return middle, np.array([_mean(both[chosen]) for chosen in bins])


def _slope_share(attenuation: NDArray[np.floating]) -> NDArray[np.float64]:
    slope = (attenuation[:, 2:] - attenuation[:, :-2]) / 120.0
    middle = attenuation[:, 1:-1]
    shares = []
    for low, high in SLOPE_BANDS_DB:
        chosen = (middle >= low) & (middle < high)
        shares.append(float((slope[chosen] / middle[chosen]).std()) if chosen.sum() > 20 else np.nan)
    return np.array(shares)


def _memory(attenuation: NDArray[np.floating]) -> NDArray[np.float64]:
    centred = attenuation - attenuation.mean(axis=1, keepdims=True)
    power = (centred**2).mean(axis=1)
    used = power > 0.05
    found = [((centred[used, lag:] * centred[used, :-lag]).mean(axis=1) / power[used]) for lag in LAGS_MIN]
    return np.array([_mean(values) for values in found])


def _together(faded: NDArray[np.bool_]) -> float:
    """Links faded, on the mean over all minutes of all faded links."""
    count = faded.sum(axis=0).astype(np.float64)
    return float((count**2).sum() / max(count.sum(), 1.0))


def _mean(values: NDArray[np.floating] | NDArray[np.int64]) -> float:
    return float(values.mean()) if values.size else float("nan")
