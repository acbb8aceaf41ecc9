"""How often it rains how hard at a place: the monthly lognormal law of ITU-R P.837-7, and its inverse."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.calendar import MONTH_DAYS

SIGMA = 1.26
"""Standard deviation of the logarithm of the rain rate while it rains (P.837-7, Annex 1)."""

MU_OFFSET = 0.7938
"""SIGMA^2/2 as printed in P.837-7: the logarithm of the median rate lies this far below that of the mean."""

_DRY_COLD_RATE_MM_H = 0.5874
_RATE_PER_DEGREE = 0.0883
_LARGEST_PROBABILITY = 0.70
_WEIGHTS = MONTH_DAYS / MONTH_DAYS.sum()
_BISECTIONS = 80


@dataclass(frozen=True)
class RainLaw:
    """Rain rate at a point, month by month: P(R > x) = P0 Q((ln x - mu)/1.26), mu = ln r - 0.7938.

    Parameters
    ----------
    mean_rate_mm_h : array, shape (12,)
        r, the mean rate while it rains [mm/h], above 0; January first.
    rain_probability : array, shape (12,)
        P0, the fraction of the month with rain, 0 to 1.

    References
    ----------
    ITU-R P.837-7 (2017), Annex 1, steps 3 to 5.
    """

    mean_rate_mm_h: Floats
    rain_probability: Floats

    def __post_init__(self) -> None:
        for field in ("mean_rate_mm_h", "rain_probability"):
            values = np.array(getattr(self, field), dtype=np.float64)
            _refuse_unless_months(field, values)
            values.setflags(write=False)
            object.__setattr__(self, field, values)
        if np.any(self.mean_rate_mm_h <= 0.0):
            raise ValueError(f"mean_rate_mm_h is {self.mean_rate_mm_h.min()}; must be above 0")
        if np.any((self.rain_probability < 0.0) | (self.rain_probability > 1.0)):
            raise ValueError(f"rain_probability is {self.rain_probability}; must be 0 to 1")

    @property
    def log_median(self) -> Floats:
        """mu, the mean of ln R while it rains (R in mm/h), shape (12,)."""
        return np.log(self.mean_rate_mm_h) - MU_OFFSET


def rain_law(temperature_c: ArrayLike, rainfall_mm: ArrayLike) -> RainLaw:
    """Rain law of a place from its monthly mean temperature and rainfall.

    Parameters
    ----------
    temperature_c : array, shape (12,)
        Mean surface temperature of each month [degrees Celsius], -90 to 60.
    rainfall_mm : array, shape (12,)
        Mean total rainfall of each month [mm], at least 0.

    Raises
    ------
    ValueError
        If there are not twelve finite values within these ranges.

    References
    ----------
    ITU-R P.837-7 (2017), Annex 1, equations (1) and (2): r = 0.5874 exp(0.0883 T) for T >= 0, else 0.5874;
    P0 = MT/(24 N r), not above 0.70 (then r = MT/(24 N 0.70)).
    """
    temperature = np.asarray(temperature_c, dtype=np.float64)
    rainfall = np.asarray(rainfall_mm, dtype=np.float64)
    _refuse_unless_months("temperature_c", temperature)
    _refuse_unless_months("rainfall_mm", rainfall)
    return RainLaw(*rates_and_chances(temperature, rainfall))


def rates_and_chances(temperature: Floats, rainfall: Floats) -> tuple[Floats, Floats]:
    """Mean rate r [mm/h] and probability of rain P0 of many places, shape (..., 12): see ``rain_law``."""
    if np.any((temperature < -90.0) | (temperature > 60.0)):
        raise ValueError(f"temperature_c is {temperature}; must be -90 to 60")
    if np.any(rainfall < 0.0):
        raise ValueError(f"rainfall_mm is {rainfall.min()}; must be at least 0")
    hourly_mean = rainfall / (24.0 * MONTH_DAYS)
    rate = _DRY_COLD_RATE_MM_H * np.exp(_RATE_PER_DEGREE * np.maximum(temperature, 0.0))
    rate = np.maximum(rate, hourly_mean / _LARGEST_PROBABILITY)
    return rate, hourly_mean / rate


def monthly_exceedance(law: RainLaw, rain_rate_mm_h: ArrayLike) -> Floats:
    """Fraction of each month with more than this rain rate [mm/h]: shape (...) to (..., 12).

    At a rate of 0 or less it is the probability of rain P0.
    """
    rate = np.maximum(np.asarray(rain_rate_mm_h, dtype=np.float64), 0.0)[..., None]
    with np.errstate(divide="ignore"):
        depth = (np.log(rate) - law.log_median) / SIGMA
    return law.rain_probability * ndtr(-depth)


def annual_exceedance(law: RainLaw, rain_rate_mm_h: ArrayLike) -> Floats:
    """Fraction of the average year with more than this rain rate [mm/h]; any shape.

    References
    ----------
    ITU-R P.837-7 (2017), Annex 1, step 5: the mean over the months, weighted by their days.
    """
    exceedance: Floats = monthly_exceedance(law, rain_rate_mm_h) @ _WEIGHTS
    return exceedance


def annual_rain_probability(law: RainLaw) -> float:
    """Fraction of the average year with rain (P.837-7, Annex 1, equation (3))."""
    return float(law.rain_probability @ _WEIGHTS)


def monthly_rain_rate_mm_h(law: RainLaw, probability: ArrayLike) -> Floats:
    """Rain rate exceeded for a fraction of each month [mm/h]: shape (...) to (..., 12).

    Where the fraction is at least the month's probability of rain, the rate is 0.

    Raises
    ------
    ValueError
        If a probability is not above 0.
    """
    fraction = _fraction(probability)[..., None]
    share = np.minimum(fraction / np.maximum(law.rain_probability, np.finfo(np.float64).tiny), 1.0)
    return np.where(share < 1.0, np.exp(law.log_median - SIGMA * ndtri(share)), 0.0)


def annual_rain_rate_mm_h(law: RainLaw, probability: ArrayLike) -> Floats:
    """Rain rate exceeded for a fraction of the average year [mm/h]; any shape, 0 where it rains less.

    Bisection on the logarithm of the rate, to rounding. At 0.01 % this is the monthly law's value, which
    differs from P.837's separate map by up to 0.1 % of the rate.

    Raises
    ------
    ValueError
        If a probability is not above 0.
    """
    fraction = _fraction(probability)
    wet = fraction < annual_rain_probability(law)
    safe = (
        np.where(wet, fraction, annual_rain_probability(law) / 2.0) if wet.any() else np.ones_like(fraction)
    )
    by_month = monthly_rain_rate_mm_h(law, safe)
    # At the largest of the months' own rates no month exceeds it for longer, so neither does the year.
    low = np.full(fraction.shape, law.log_median.min() - 40.0 * SIGMA)
    with np.errstate(divide="ignore"):
        high = np.maximum(np.log(by_month.max(axis=-1)), low) + 1.0
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        above = annual_exceedance(law, np.exp(middle)) > safe
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.where(wet, np.exp(0.5 * (low + high)), 0.0)


def worst_month(law: RainLaw, rain_rate_mm_h: ArrayLike) -> Ints:
    """Month, 0 (January) to 11, that exceeds this rain rate for the largest fraction; any shape."""
    month: Ints = np.argmax(monthly_exceedance(law, rain_rate_mm_h), axis=-1)
    return month


def scaled_to_rate(law: RainLaw, rain_rate_001_mm_h: float) -> RainLaw:
    """The same seasons and rain hours with all rates scaled so that the annual 0.01 % rate is this one.

    For a user who has measured R0.01 [mm/h, above 0]. Our own: P.837 gives no rule for local data but to
    use them in place of its maps.

    Raises
    ------
    ValueError
        If the rate is not above 0, or it rains for less than 0.01 % of the year.
    """
    if not rain_rate_001_mm_h > 0.0:
        raise ValueError(f"rain_rate_001_mm_h is {rain_rate_001_mm_h}; must be above 0")
    present = float(annual_rain_rate_mm_h(law, 1e-4))
    if present == 0.0:
        raise ValueError(
            f"rain_probability is {annual_rain_probability(law)}; must be above 0.0001 in the year"
        )
    return RainLaw(law.mean_rate_mm_h * (rain_rate_001_mm_h / present), law.rain_probability)


def _fraction(probability: ArrayLike) -> Floats:
    fraction = np.asarray(probability, dtype=np.float64)
    if not np.all(fraction > 0.0):
        raise ValueError(f"probability is {np.min(fraction)}; must be above 0")
    return fraction


def _refuse_unless_months(field: str, values: Floats) -> None:
    if values.shape != (12,):
        raise ValueError(f"{field} is an array of shape {values.shape}; must be twelve values, January first")
    if not np.all(np.isfinite(values)):
        raise ValueError(f"{field} is {values}; must be finite")
