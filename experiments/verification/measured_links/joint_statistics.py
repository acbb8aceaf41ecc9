"""What the study compares: how links fade together, for how long, how fast, and how long they remember."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.stats import CensoredData, ecdf

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
    the span, by bins of distance, over minutes in which both are known; ``duration_min`` the mean and
    ``median_min`` the median length of fades above ``LEVELS_DB`` (see ``mean_and_median``);
    ``slope_share`` the standard deviation of the slope over 2 minutes over the attenuation [1/s], by
    ``SLOPE_BANDS_DB``; ``memory`` the correlation of the attenuation at ``LAGS_MIN``; ``together`` the mean
    number of links above ``TOGETHER_DB``, seen from one that is.
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
    """Statistics of links with middles at (x, y), attenuation of shape (n_links, n_minutes), NaN unknown."""
    distance, conditional = _conditional(attenuation_db, x_km, y_km)
    lengths = np.array([mean_and_median(*fade_lengths_min(attenuation_db, level)) for level in LEVELS_DB])
    return JointStatistics(
        distance_km=distance,
        conditional=conditional,
        duration_min=lengths[:, 0],
        median_min=lengths[:, 1],
        slope_share=_slope_share(attenuation_db),
        memory=_memory(attenuation_db),
        together=np.array([_together(attenuation_db > level) for level in TOGETHER_DB]),
        wetness=float((attenuation_db > 10.0).sum() / np.isfinite(attenuation_db).sum()),
    )


def fade_lengths_min(
    attenuation: NDArray[np.floating], level_db: float
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Lengths of all runs of minutes above a level, over all links, and which of them were seen to their end.

    Runs that come out of unknown minutes are left out.
    """
    edge = ((0, 0), (1, 1))
    change = np.diff(np.pad(attenuation > level_db, edge).astype(np.int8), axis=1)
    known = np.pad(np.isfinite(attenuation), edge, constant_values=True)
    row, start = np.nonzero(change == 1)
    end = np.nonzero(change == -1)[1]
    begun = known[row, start]
    return (end - start)[begun], known[row, end + 1][begun]


def mean_and_median(length: NDArray[np.int64], ended: NDArray[np.bool_]) -> tuple[float, float]:
    """Mean and median length, NaN without any: those not seen to their end last as long at least.

    References
    ----------
    E. L. Kaplan, P. Meier 1958, J. Amer. Statist. Assoc. 53, 457 (textbook).
    """
    if not length.size:
        return float("nan"), float("nan")
    beyond = ecdf(CensoredData.right_censored(length, ~ended)).sf
    minutes, chance = beyond.quantiles, beyond.probabilities
    half = minutes[: np.searchsorted(-chance, -0.5) + 1][-1]
    return float(minutes[0] + np.diff(minutes) @ chance[:-1]), float(half)


def _conditional(
    attenuation: NDArray[np.floating], x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    level = np.nanquantile(attenuation, 1.0 - SHARE_OF_TIME, axis=1)
    used = level > 1.0
    faded = csr_array(attenuation[used] > level[used, None], dtype=np.float64)
    known = np.isfinite(attenuation[used]).astype(np.float64)
    both = (faded @ faded.T).toarray() / np.maximum(faded @ known.T, 1.0)
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
        chosen = (middle >= low) & (middle < high) & np.isfinite(slope)
        shares.append(float((slope[chosen] / middle[chosen]).std()) if chosen.sum() > 20 else np.nan)
    return np.array(shares)


def _memory(attenuation: NDArray[np.floating]) -> NDArray[np.float64]:
    known = np.isfinite(attenuation)
    centred = np.where(known, attenuation - np.nanmean(attenuation, axis=1, keepdims=True), 0.0)
    power = (centred**2).sum(axis=1) / known.sum(axis=1)
    used = power > 0.05
    centred, known = centred[used], known[used]
    found = []
    for lag in LAGS_MIN:
        pairs = (known[:, lag:] & known[:, :-lag]).sum(axis=1)
        found.append((centred[:, lag:] * centred[:, :-lag]).sum(axis=1) / pairs / power[used])
    return np.array([_mean(values) for values in found])


def _together(faded: NDArray[np.bool_]) -> float:
    """Links faded, on the mean over all minutes of all faded links."""
    count = faded.sum(axis=0).astype(np.float64)
    return float((count**2).sum() / max(count.sum(), 1.0))


def _mean(values: NDArray[np.floating]) -> float:
    return float(values.mean()) if values.size else float("nan")
