"""How years differ: chance that a year breaks a target, quantiles over years, worst month, throughput."""

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr

from hopyears.models.basics.arrays import Floats
from hopyears.sim.counting.statistics import LEVEL, Interval, proportion_interval


def break_chance(per_year: ArrayLike, target: float, *, level: float = LEVEL) -> Interval:
    """Chance that a year breaks a target: share of years above it, with its own interval.

    Parameters
    ----------
    per_year : float array, any shape
        The figure of each simulated year, years independent.
    target : float
        A year with more than this breaks it.
    level : float
        Confidence.
    """
    year = np.asarray(per_year, dtype=np.float64)
    return proportion_interval(int(np.count_nonzero(year > target)), year.size, level=level)


def any_year_chance(one_year: Interval, n_years: int) -> Interval:
    """Chance that at least one of several independent years breaks a target: 1 - (1 - p)^n.

    Parameters
    ----------
    one_year : Interval
        Chance of one year, each limit 0 to 1.
    n_years : int
        Years of the contract, at least 1.
    """
    if n_years < 1:
        raise ValueError(f"n_years is {n_years}; must be at least 1")
    low, best, high = (1.0 - (1.0 - p) ** n_years for p in (one_year.low, one_year.best, one_year.high))
    return Interval(low, best, high, one_year.level)


def met_confidence(interval: Callable[[float], Interval], target: float) -> float:
    """Confidence that the long-run mean does not exceed a target, 0 to 1.

    It is the largest one-sided confidence at which the interval lies within the target (or one less that at
    which it lies beyond), to 0.001; 0.5 says that nothing is known either way.

    Parameters
    ----------
    interval : callable
        Gives the interval of the mean for a level of confidence, above 0 to below 1.
    target : float
        Largest mean allowed, at least 0.
    """
    met = interval(LEVEL).best <= target
    sure, unsure = 0.0, 0.9998
    while unsure - sure > 1e-3:
        level = (sure + unsure) / 2.0
        found = interval(level)
        certain = found.high <= target if met else found.low > target
        sure, unsure = (level, unsure) if certain else (sure, level)
    return 0.5 + sure / 2.0 if met else 0.5 - sure / 2.0


def worst_month(per_month: ArrayLike) -> Floats:
    """Mean over the years of each block of the worst month of each (the average annual worst month).

    Parameters
    ----------
    per_month : float array, shape (..., n_years, 12)
        The figure of each month, at least 0.

    References
    ----------
    ITU-R P.581-2 (1990), the concept of the worst month: from memory.
    """
    return np.asarray(np.asarray(per_month, dtype=np.float64).max(axis=-1).mean(axis=-1))


def year_quantile(per_year: ArrayLike, share: float, *, level: float = LEVEL) -> Interval:
    """Quantile of a figure over years, with limits that hold for any distribution.

    Parameters
    ----------
    per_year : float array, any shape
        The figure of each simulated year, years independent.
    share : float
        Share of years at or below the quantile, above 0 to below 1.
    level : float
        Confidence; a limit is infinite when there are too few years for it.

    References
    ----------
    H. A. David and H. N. Nagaraja, Order Statistics, 3rd edition (2003), section 7.1.
    """
    if not 0.0 < share < 1.0:
        raise ValueError(f"share is {share}; must be above 0 to below 1")
    year = np.sort(np.asarray(per_year, dtype=np.float64).ravel())
    n = year.size
    tail = (1.0 - level) / 2.0
    # Number of years at or below the quantile is binomial: below[k] is the chance of at most k.
    below = bdtr(np.arange(n), n, share)
    lower = int(np.searchsorted(below, tail, side="right")) - 1
    upper = int(np.searchsorted(below, 1.0 - tail, side="left"))
    # The k-th smallest (from 0) is beyond the quantile when at most k years are at or below it.
    low = float(year[lower]) if lower >= 0 else -np.inf
    high = float(year[upper]) if upper < n else np.inf
    return Interval(low, float(year[min(int(np.ceil(share * n)), n) - 1]), high, level)
