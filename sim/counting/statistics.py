"""How sure a figure is: intervals from independent blocks, bounds when nothing was seen, differences.

Every function takes one value for each independent unit (a block, or a year where years are independent)
and gives an ``Interval``. Nothing seen is an upper bound, never a zero with certainty.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, gammaincinv, ndtri, stdtrit

from hopyears.models.basics.arrays import Floats

LEVEL = 0.95
"""Confidence of an interval unless said otherwise."""

ENOUGH_SEEN = 10
"""Units that must show something before their spread is trusted (see ``mean_interval``)."""


@dataclass(frozen=True)
class Interval:
    """An estimate and how far the truth may lie from it.

    Attributes
    ----------
    low, best, high : float
        Lower limit, estimate, upper limit; infinite when nothing limits it.
    level : float
        Confidence: the chance that such an interval holds the truth, at least about.
    """

    low: float
    best: float
    high: float
    level: float = LEVEL

    @property
    def half_width(self) -> float:
        """Half the width of the interval."""
        return (self.high - self.low) / 2.0

    @property
    def relative_half_width(self) -> float:
        """Half the width as a share of the estimate; infinite when that is 0."""
        return self.half_width / abs(self.best) if self.best else np.inf

    @property
    def excludes_zero(self) -> bool:
        """Whether the sign is certain at this confidence."""
        return self.low > 0.0 or self.high < 0.0

    def scaled(self, factor: float) -> "Interval":
        """The interval in another unit, for a factor above 0."""
        return Interval(self.low * factor, self.best * factor, self.high * factor, self.level)

    def within(self, least: float, most: float) -> "Interval":
        """The interval cut to what the figure can be."""
        low, best, high = (min(max(each, least), most) for each in (self.low, self.best, self.high))
        return Interval(low, best, high, self.level)


def mean_interval(
    values: ArrayLike, *, level: float = LEVEL, largest_unseen: float | None = None
) -> Interval:
    """Mean of a quantity that is never negative, for instance the outage of each block.

    Parameters
    ----------
    values : float array, shape (n,)
        One value for each independent unit, at least 0, n at least 1.
    level : float
        Confidence, above 0 to below 1.
    largest_unseen : float, optional
        The largest value that a unit which shows something could reasonably have, used when none does;
        without it the upper limit is then infinite.

    Returns
    -------
    Interval

    Raises
    ------
    ValueError
        If a value is negative or not finite, or there is none.

    Notes
    -----
    The sum over units is treated as a gamma variable of the same mean and variance, which follows the
    skewness of sums of outages better than Student's t does (that covered 81 to 90 % in place of 95 % on
    rare lognormal outages, this 95 to 97 %). The upper limit allows for one more large value unseen.

    - Where at most half of the units, and fewer than ``ENOUGH_SEEN``, show something, their number is taken
      as Poisson and their values as its weights (Fay and Feuer); with equal values that is the exact Poisson
      interval, with none seen the exact Poisson bound times ``largest_unseen``. So is a single unit.
    - Otherwise the variance is that between units, widened as Student's t is wider than the normal law, and
      never above that of the first rule; the unseen value is the largest less the mean. Our own extension,
      tested by coverage.

    References
    ----------
    M. P. Fay and E. J. Feuer, Confidence intervals for directly standardized rates: a method based on the
    gamma distribution, Statistics in Medicine 16 (1997) 791-801.
    """
    unit = _units(values)
    if np.any(unit < 0.0):
        raise ValueError(f"values is {unit.min()}; must be at least 0")
    unseen = np.inf if largest_unseen is None else _positive(largest_unseen)
    return strata_interval([Stratum.of(unit, largest_unseen=unseen)], level=level)


@dataclass(frozen=True)
class Stratum:
    """Mean over independent units of one kind, as a term of a figure that is a sum of such means.

    Attributes
    ----------
    mean : float
        Mean of the units.
    variance : float
        Of that mean, at least 0.
    freedom : float
        Degrees of freedom of the variance; infinite where it is not widened.
    unseen : float
        How much the mean would grow by one more large unit that was not seen, at least 0.
    widest : float
        The variance is never widened beyond this.
    """

    mean: float
    variance: float
    freedom: float = np.inf
    unseen: float = 0.0
    widest: float = np.inf

    @classmethod
    def of(cls, values: ArrayLike, *, largest_unseen: float = 0.0) -> "Stratum":
        """From the units: the rules of ``mean_interval``; ``largest_unseen`` counts where all units are 0.

        Values may be of either sign.
        """
        unit = _units(values)
        moments = float(unit.sum()), float((unit**2).sum()), int(np.count_nonzero(unit)), float(unit.max())
        return cls.of_moments(unit.size, *moments, largest_unseen=largest_unseen)

    @classmethod
    def of_moments(
        cls, n: int, total: float, square: float, seen: int, largest: float, *, largest_unseen: float
    ) -> "Stratum":
        """The same from the number of units, sum, sum of squares, how many are not 0, and the largest."""
        if square == 0.0:
            return cls(0.0, 0.0, unseen=largest_unseen / n)
        largest = max(largest, 0.0)
        if n > 1 and (seen >= ENOUGH_SEEN or 2 * seen > n):
            variance = max(square - total**2 / n, 0.0) / (n - 1) / n
            return cls(total / n, variance, n - 1.0, (largest - total / n) / n, square / n**2)
        return cls(total / n, square / n**2, unseen=largest / n)

    def scaled(self, factor: float) -> "Stratum":
        """The mean of so many times each unit, for a factor above 0."""
        return Stratum(
            self.mean * factor,
            self.variance * factor**2,
            self.freedom,
            self.unseen * factor,
            self.widest * factor**2,
        )


def strata_interval(strata: Sequence[Stratum], *, level: float = LEVEL) -> Interval:
    """A sum of means over different units, for instance over blocks, histories and weighted draws.

    Parameters
    ----------
    strata : sequence of Stratum
        Independent of each other, at least one.
    level : float
        Confidence.

    Notes
    -----
    The sum is treated as a gamma variable (see ``mean_interval``) where it is above 0. The variances add,
    and are widened as Student's t is wider than the normal law for the degrees of freedom of their sum
    (Welch and Satterthwaite); the upper limit allows for the largest of the unseen units. Where the sum is
    below 0, as chance may make it where large terms nearly cancel, the limits are Student's t.

    References
    ----------
    F. E. Satterthwaite, An approximate distribution of estimates of variance components, Biometrics
    Bulletin 2 (1946) 110-114.
    """
    tail = (1.0 - _checked(level)) / 2.0
    mean, variance = sum(each.mean for each in strata), sum(each.variance for each in strata)
    unseen = max(each.unseen for each in strata)
    squares = sum(each.variance**2 / each.freedom for each in strata)
    freedom = variance**2 / squares if squares > 0.0 else np.inf
    wider = (float(stdtrit(freedom, 1.0 - tail)) / -float(ndtri(tail))) ** 2 if freedom < 1e9 else 1.0
    variance = min(variance * wider, sum(max(each.widest, each.variance) for each in strata))
    if mean <= 0.0 and variance > 0.0:
        half = -float(ndtri(tail)) * np.sqrt(variance)
        return Interval(mean - half, mean, max(mean + half, -np.log(tail) * unseen), level)
    low = gamma_quantile(mean, variance, tail) if mean > 0.0 else 0.0
    high = gamma_quantile(mean + unseen, variance + unseen**2, 1.0 - tail) if mean + unseen > 0.0 else 0.0
    return Interval(low, mean, high, level)


def gamma_quantile(mean: float, variance: float, chance: float) -> float:
    """Quantile of the gamma law of a given mean above 0 and variance."""
    if not np.isfinite(mean):
        return np.inf
    # Where values hardly vary the law is a point, and its shape too large for the function.
    if variance <= 1e-12 * mean**2:
        return mean
    return variance / mean * float(gammaincinv(mean**2 / variance, chance))


def _positive(largest_unseen: float) -> float:
    if not largest_unseen > 0.0:
        raise ValueError(f"largest_unseen is {largest_unseen}; must be above 0")
    return largest_unseen


def difference_interval(values: ArrayLike, *, level: float = LEVEL) -> Interval:
    """Mean of values of either sign, for instance paired differences: Student's t.

    Parameters
    ----------
    values : float array, shape (n,)
        One value for each independent unit; with one unit the limits are infinite.
    level : float
        Confidence.
    """
    return _student(_units(values), level)


def paired_difference(plan: ArrayLike, base: ArrayLike, *, level: float = LEVEL) -> Interval:
    """Mean of plan less base, block by block, both run on the same random numbers.

    Parameters
    ----------
    plan, base : float arrays, shape (n_blocks,)
        The same figure of the same blocks under either plan.
    level : float
        Confidence.

    Raises
    ------
    ValueError
        If the numbers of blocks differ.
    """
    one, other = _units(plan), _units(base)
    if one.shape != other.shape:
        raise ValueError(f"plan has {one.size} blocks; must have {other.size} as base")
    return _student(one - other, level)


def proportion_interval(hits: int, trials: int, *, level: float = LEVEL, exact: bool = True) -> Interval:
    """Chance of a thing seen ``hits`` times in ``trials``: years that break a target, for instance.

    Parameters
    ----------
    hits, trials : int
        0 <= hits <= trials, trials at least 1; trials must be independent.
    level : float
        Confidence.
    exact : bool
        Clopper and Pearson's interval, never too narrow; else Wilson's, right on the average.

    References
    ----------
    C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413; E. B. Wilson, Journal of the American
    Statistical Association 22 (1927) 209-212.
    """
    if not 0 <= hits <= trials or trials < 1:
        raise ValueError(f"hits is {hits} of {trials}; must be 0 to the number of trials")
    tail = (1.0 - _checked(level)) / 2.0
    share = hits / trials
    if exact:
        low = float(betaincinv(hits, trials - hits + 1, tail)) if hits else 0.0
        high = float(betaincinv(hits + 1, trials - hits, 1.0 - tail)) if hits < trials else 1.0
        return Interval(low, share, high, level)
    z = float(-ndtri(tail))
    middle = (share + z * z / (2 * trials)) / (1 + z * z / trials)
    half = z / (1 + z * z / trials) * np.sqrt(share * (1 - share) / trials + (z / (2 * trials)) ** 2)
    low, high = (0.0 if hits == 0 else middle - half), (1.0 if hits == trials else middle + half)
    return Interval(float(low), share, float(high), level)


def _student(unit: Floats, level: float) -> Interval:
    mean = float(unit.mean())
    if unit.size == 1:
        return Interval(-np.inf, mean, np.inf, level)
    half = (
        float(stdtrit(unit.size - 1, 0.5 + _checked(level) / 2.0))
        * float(unit.std(ddof=1))
        / np.sqrt(unit.size)
    )
    return Interval(mean - half, mean, mean + half, level)


def _units(values: ArrayLike) -> Floats:
    unit = np.asarray(values, dtype=np.float64)
    if unit.ndim != 1 or unit.size == 0 or not np.all(np.isfinite(unit)):
        raise ValueError(
            f"values has shape {unit.shape}; must be one finite value for each of 1 unit or more"
        )
    return unit


def _checked(level: float) -> float:
    if not 0.0 < level < 1.0:
        raise ValueError(f"level is {level}; must be above 0 to below 1")
    return level
