"""Laws of lifetimes and repair times as data, their quantiles, and the default of every part kind.

A law is its kind, its mean and one spread, so that changing the kind keeps the mean (mean time between
failures, mean time to repair). Draws are made elsewhere: here a probability goes in and hours come out.
"""

import math
from dataclasses import dataclass
from enum import IntEnum
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincc, gammaincinv, gammaln, ndtr, ndtri

from hopyears.models.basics.arrays import Floats

_NORMAL = NormalDist()


class LawKind(IntEnum):
    """Family of a lifetime or repair-time law."""

    EXPONENTIAL = 0
    WEIBULL = 1
    LOGNORMAL = 2
    FIXED = 3


@dataclass(frozen=True)
class Law:
    """Law of a duration, held by its mean.

    Parameters
    ----------
    kind : LawKind
        Family.
    mean_h : float
        Mean [h], at least 0 (0: at once).
    spread : float
        Weibull shape (above 1 wears out, below 1 infant failures) or standard deviation of the natural
        logarithm of a lognormal; above 0; unused by the exponential and the fixed law.

    Raises
    ------
    ValueError
        If the mean is negative or not a number, or the spread is not above 0.
    """

    kind: LawKind
    mean_h: float
    spread: float = 1.0

    def __post_init__(self) -> None:
        if not self.mean_h >= 0.0:
            raise ValueError(f"mean_h is {self.mean_h}; must be at least 0")
        if not (self.spread > 0.0 and math.isfinite(self.spread)):
            raise ValueError(f"spread is {self.spread}; must be above 0")

    @classmethod
    def exponential(cls, mean_h: float) -> "Law":
        """Exponential law of mean ``mean_h`` [h]."""
        return cls(LawKind.EXPONENTIAL, mean_h)

    @classmethod
    def weibull(cls, mean_h: float, shape: float) -> "Law":
        """Weibull law of mean ``mean_h`` [h] and ``shape`` above 0."""
        return cls(LawKind.WEIBULL, mean_h, shape)

    @classmethod
    def lognormal(cls, mean_h: float, ln_sd: float) -> "Law":
        """Lognormal law of mean ``mean_h`` [h]; ``ln_sd`` is the standard deviation of its logarithm, 0 for
        a fixed duration."""
        return cls(LawKind.LOGNORMAL, mean_h, ln_sd) if ln_sd else cls.fixed(mean_h)

    @classmethod
    def lognormal_of_median(cls, median_h: float, ln_sd: float) -> "Law":
        """Lognormal law of median ``median_h`` [h]: its mean is median exp(ln_sd^2 / 2)."""
        return cls.lognormal(median_h * math.exp(0.5 * ln_sd * ln_sd), ln_sd)

    @classmethod
    def fixed(cls, mean_h: float) -> "Law":
        """Law of a duration that never varies [h]."""
        return cls(LawKind.FIXED, mean_h)

    def quantile_h(self, probability: float) -> float:
        """Duration [h] not exceeded with ``probability`` (0 < p < 1): one draw at a time, cheaply.

        Agrees with ``quantiles_h``, which does the same for arrays.
        """
        if self.kind is LawKind.FIXED or self.mean_h == 0.0:
            return self.mean_h
        if self.kind is LawKind.EXPONENTIAL:
            return -self.mean_h * math.log1p(-probability)
        if self.kind is LawKind.WEIBULL:
            scale_h = self.mean_h / math.gamma(1.0 + 1.0 / self.spread)
            return float(scale_h * (-math.log1p(-probability)) ** (1.0 / self.spread))
        return self.mean_h * math.exp(
            self.spread * _NORMAL.inv_cdf(probability) - 0.5 * self.spread * self.spread
        )


def quantiles_h(kind: ArrayLike, mean_h: ArrayLike, spread: ArrayLike, probability: ArrayLike) -> Floats:
    """Quantiles of many laws at once.

    Parameters
    ----------
    kind, mean_h, spread : int, float, float or arrays
        Columns of laws, as in ``Law``. [-], [h], [-]. All shapes broadcast.
    probability : float or array
        Between 0 and 1, both excluded.

    Returns
    -------
    array
        Durations [h], at least 0.

    References
    ----------
    Textbook laws (IEC 61703, IEC 61649 for the Weibull law); mean-matched scales: Weibull
    mean / Gamma(1 + 1/shape), lognormal median mean exp(-ln_sd^2 / 2).
    """
    kinds, means, spreads, p = np.broadcast_arrays(
        np.asarray(kind), np.asarray(mean_h, float), np.asarray(spread, float), np.asarray(probability, float)
    )
    found = means.copy()
    of_kind = [np.asarray(kinds == law) for law in LawKind]
    exponential, weibull, lognormal = of_kind[:3]
    found[exponential] *= -np.log1p(-p[exponential])
    shape = spreads[weibull]
    found[weibull] = _weibull_scale(means[weibull], shape) * (-np.log1p(-p[weibull])) ** (1.0 / shape)
    ln_sd = spreads[lognormal]
    found[lognormal] *= np.exp(ln_sd * ndtri(p[lognormal]) - 0.5 * ln_sd**2)
    return found


def residual_quantiles_h(
    kind: ArrayLike, mean_h: ArrayLike, spread: ArrayLike, probability: ArrayLike
) -> Floats:
    """Quantiles of the life that remains to a part met at a random moment of a long history.

    Parameters are those of ``quantiles_h``. The stationary residual law has the density S(t) / mean, with
    S the survival function: exponential parts are as good as new, ageing parts are met half worn.

    References
    ----------
    D. R. Cox, Renewal Theory, 1962, section 5.2 (forward recurrence time). For the Weibull law the
    integral of S is an incomplete gamma function; for the lognormal it is solved by bisection.
    """
    kinds, means, spreads, p = np.broadcast_arrays(
        np.asarray(kind), np.asarray(mean_h, float), np.asarray(spread, float), np.asarray(probability, float)
    )
    residual = -means * np.log1p(-p)
    weibull = kinds == LawKind.WEIBULL
    if np.any(weibull):
        shape = np.where(weibull, spreads, 1.0)
        aged = _weibull_scale(means, shape) * gammaincinv(1.0 / shape, p) ** (1.0 / shape)
        residual = np.where(weibull, aged, residual)
    lognormal = kinds == LawKind.LOGNORMAL
    if np.any(lognormal):
        residual = np.where(lognormal, _lognormal_residual(means, spreads, p), residual)
    return np.asarray(np.where(kinds == LawKind.FIXED, means * p, residual), dtype=np.float64)


def mean_excess_h(law: Law, threshold_h: float) -> float:
    """Mean of what a duration exceeds a threshold by, 0 where it does not: E[max(X - threshold, 0)] [h].

    ``threshold_h`` is at least 0 [h]. The integral of the survival function from the threshold on
    (textbook; for the lognormal law the partial expectation).
    """
    mean_h, spread = law.mean_h, law.spread
    if law.kind is LawKind.FIXED or mean_h == 0.0:
        return max(mean_h - threshold_h, 0.0)
    if threshold_h <= 0.0:
        return mean_h - threshold_h
    if law.kind is LawKind.EXPONENTIAL:
        return mean_h * math.exp(-threshold_h / mean_h)
    if law.kind is LawKind.WEIBULL:
        scale_h = mean_h / math.gamma(1.0 + 1.0 / spread)
        return float(mean_h * gammaincc(1.0 / spread, (threshold_h / scale_h) ** spread))
    z = math.log(threshold_h / mean_h) / spread + 0.5 * spread
    return float(mean_h * ndtr(spread - z) - threshold_h * ndtr(-z))


def _weibull_scale(mean_h: Floats, shape: Floats) -> Floats:
    return np.asarray(mean_h * np.exp(-gammaln(1.0 + 1.0 / shape)))


def _lognormal_residual(mean_h: Floats, ln_sd: Floats, p: Floats) -> Floats:
    """Bisect t/mean S(t) + Phi(z - ln_sd) = p over the standard normal variate z of t."""
    low, high = np.full(p.shape, -40.0), np.full(p.shape, 40.0)
    for _ in range(80):
        z = 0.5 * (low + high)
        reached = np.exp(ln_sd * z - 0.5 * ln_sd**2) * ndtr(-z) + ndtr(z - ln_sd) >= p
        low, high = np.where(reached, low, z), np.where(reached, z, high)
    return np.asarray(mean_h * np.exp(ln_sd * high - 0.5 * ln_sd**2))


NEVER = Law.exponential(1e30)
"""Life of what does not fail."""
