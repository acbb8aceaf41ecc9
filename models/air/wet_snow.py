"""Wet snow on a path: how melting raises the attenuation of rain (ITU-R P.530-18, section 2.4.2)."""

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air import rain_attenuation
from hopyears.models.air.rain_attenuation import RainAttenuationLaw
from hopyears.models.basics.arrays import Floats

_LOWER_HALF = [0.000555, 0.000802, 0.001139, 0.001594, 0.002196, 0.002978, 0.003976, 0.005227]
_LOWER_HALF += [0.006764, 0.008617, 0.010808, 0.013346, 0.016225, 0.019419, 0.022881, 0.026542]
_LOWER_HALF += [0.030312, 0.034081, 0.037724, 0.041110, 0.044104, 0.046583, 0.048439, 0.049589]
_MIDDLE = 0.049978

RAIN_HEIGHT_OFFSET_M = np.arange(-2400.0, 2401.0, 100.0)
"""Rain height less its yearly mean [m], the 49 classes of P.530-18, section 2.4.2.3."""
RAIN_HEIGHT_OFFSET_M.setflags(write=False)

RAIN_HEIGHT_PROBABILITY = np.array([*_LOWER_HALF, _MIDDLE, *_LOWER_HALF[::-1]])
"""Probability of each class; those compared are the same in P.2001, Table C.2.1; sum 1 but for rounding."""
RAIN_HEIGHT_PROBABILITY.setflags(write=False)
_WEIGHT = RAIN_HEIGHT_PROBABILITY / RAIN_HEIGHT_PROBABILITY.sum()

_SLICE_M = 100.0
_MELTING_LAYER_M = 1200.0
_LARGEST_MULTIPLIER = 4.0
_NOTHING, _ROUNDING, _STEPS = 1e-9, 4e-15, 60


def height_multiplier(height_above_rain_m: ArrayLike) -> Floats:
    """Attenuation over that of rain at a height above the rain height [m]; any shape.

    0 above it (dry snow), up to 3.5 in the melting layer 250 m below, 1 from 1200 m below on (rain).

    References
    ----------
    ITU-R P.530-18 (2021), section 2.4.2.4, equation (43).
    """
    height = np.asarray(height_above_rain_m, dtype=np.float64)
    inside = np.clip(height, -_MELTING_LAYER_M, 0.0)
    u = 4.0 * (1.0 - np.exp(inside / 70.0)) ** 2
    gamma = u / (1.0 + (1.0 - np.exp(-((inside / 600.0) ** 2))) ** 2 * (u - 1.0))
    return np.where(height > 0.0, 0.0, np.where(height < -_MELTING_LAYER_M, 1.0, gamma))


def path_multiplier(low_m: ArrayLike, high_m: ArrayLike, *, rain_height_m: ArrayLike) -> Floats:
    """Mean of ``height_multiplier`` along a straight path between two heights; shapes broadcast.

    Parameters
    ----------
    low_m, high_m : float or array
        Heights of the lower and the upper antenna above sea level [m].
    rain_height_m : float or array
        Rain height above sea level [m].

    Notes
    -----
    Slices of 100 m counted down from the rain height, each with the multiplier at the middle of the part of
    the path that lies in it. A level path takes the multiplier of its height.

    References
    ----------
    ITU-R P.530-18 (2021), section 2.4.2.4, equations (44) to (52).
    """
    rain = np.asarray(rain_height_m, dtype=np.float64)[..., None]
    low = np.asarray(low_m, dtype=np.float64)[..., None] - rain
    high = np.asarray(high_m, dtype=np.float64)[..., None] - rain
    tops = np.arange(-_MELTING_LAYER_M + _SLICE_M, 1.0, _SLICE_M)
    top, bottom = np.minimum(high, tops), np.maximum(low, tops - _SLICE_M)
    length = np.maximum(top - bottom, 0.0)
    melting = np.sum(length * height_multiplier((top + bottom) / 2.0), axis=-1)
    in_rain = np.maximum(np.minimum(high, -_MELTING_LAYER_M) - low, 0.0)[..., 0]
    rise = (high - low)[..., 0]
    level = rise < 1e-6
    mean = (melting + in_rain) / np.where(level, 1.0, rise)
    return np.where(level, height_multiplier((high + low)[..., 0] / 2.0), mean)


def path_multipliers(low_m: ArrayLike, high_m: ArrayLike, *, mean_rain_height_m: ArrayLike) -> Floats:
    """``path_multiplier`` for each of the 49 rain heights about their mean [m]: shape (...) to (..., 49).

    All 1 where the upper antenna is 3600 m or more below the mean rain height; all 0 where the lower one is
    more than 2400 m above it.
    """
    rain = np.asarray(mean_rain_height_m, dtype=np.float64)[..., None] + RAIN_HEIGHT_OFFSET_M
    low, high = (
        np.asarray(low_m, dtype=np.float64)[..., None],
        np.asarray(high_m, dtype=np.float64)[..., None],
    )
    return path_multiplier(low, high, rain_height_m=rain)


def exceedance(law: RainAttenuationLaw, attenuation_db: ArrayLike, *, multipliers: Floats) -> Floats:
    """Fraction of the average year with more attenuation by rain and wet snow than this [dB].

    Parameters
    ----------
    law : RainAttenuationLaw
        Of rain alone, shape (...).
    attenuation_db : float or array
        [dB]; broadcasts with (...).
    multipliers : array, shape (..., 49)
        From ``path_multipliers``.

    References
    ----------
    ITU-R P.530-18 (2021), section 2.4.2: the exceedance of A/G by rain alone, averaged over rain heights.
    """
    by_height = RainAttenuationLaw(*(c[..., None] for c in (law.attenuation_001_db, law.c1, law.c2, law.c3)))
    wanted = np.asarray(attenuation_db, dtype=np.float64)[..., None]
    with np.errstate(divide="ignore", invalid="ignore"):
        of_rain = np.where(multipliers > 0.0, wanted / multipliers, np.where(wanted > 0.0, np.inf, 0.0))
    fraction: Floats = rain_attenuation.exceedance(by_height, of_rain) @ _WEIGHT
    return np.minimum(fraction, 1.0)


def attenuation_db(law: RainAttenuationLaw, probability: ArrayLike, *, multipliers: Floats) -> Floats:
    """Attenuation by rain and wet snow exceeded for a fraction of the average year [dB]; shapes broadcast.

    The inverse of ``exceedance`` by false position (the Illinois rule) in logarithms, to rounding; 0 where
    snow is dry so often that no attenuation is exceeded for so long.

    Raises
    ------
    ValueError
        If a probability is not above 0 and at most 1.
    """
    fraction = np.asarray(probability, dtype=np.float64)
    most = np.asarray(_LARGEST_MULTIPLIER * rain_attenuation.attenuation_db(law, fraction))

    def excess(log_share: Floats) -> Floats:
        """ln of the time above a share of the most over the time asked for."""
        found = exceedance(law, most * np.exp(log_share), multipliers=multipliers)
        return np.asarray(np.log(np.maximum(found, 1e-300) / fraction))

    low, high = np.full_like(most, np.log(_NOTHING)), np.zeros_like(most)
    above, below = excess(low), excess(high)
    nothing, side = above < 0.0, np.zeros_like(most)
    middle = low
    for _ in range(_STEPS):
        middle = np.clip(low + (high - low) * above / np.maximum(above - below, 1e-300), low, high)
        found = excess(middle)
        if np.all(nothing | (np.abs(found) < _ROUNDING)):
            break
        # An end that stays twice counts half.
        left = found > 0.0
        low, high = np.where(left, middle, low), np.where(left, high, middle)
        above = np.where(left, found, np.where(side < 0.0, 0.5 * above, above))
        below = np.where(left, np.where(side > 0.0, 0.5 * below, below), found)
        side = np.where(left, 1.0, -1.0)
    return np.where(nothing, 0.0, most * np.exp(middle))
