"""Texture of rain finer than its shapes: a factor of mean one on a hop's rain attenuation.

Smooth shapes pass a level too seldom: hops of more than a few kilometres had 0.6 to 0.8 times the fades of
10 s or longer that ITU-R P.530 counts. The factor is 1 + a sin(theta), theta an angle that turns at random,
from one even draw to the next in ``TURN_S``, on the shorter way. So it is stationary, of mean one and never
beyond 1 - a to 1 + a.
"""

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats

LARGEST = 0.11
"""Amplitude a of long hops. Calibrated in experiments/rain_calibration, as the two below."""

HALF_LENGTH_KM = 2.0
"""Length of a hop at which the amplitude is half of that [km]: short hops see shapes as sharp as they are."""

TURN_S = 30.0
"""From one draw of the angle to the next [s]."""


def amplitude(path_length_km: ArrayLike) -> Floats:
    """Largest part a by which texture raises or lowers a hop's attenuation; any shape, 0 to ``LARGEST``.

    References
    ----------
    Form and numbers are our own, tuned on the number of fades of ITU-R P.530-17, 2.4.5.
    """
    length = np.asarray(path_length_km, dtype=np.float64)
    return LARGEST * length / (length + HALF_LENGTH_KM)


def chance_above(ratio: ArrayLike, path_length_km: float) -> Floats:
    """Fraction of time in which the factor exceeds a ratio, any shape: of the sine of an even angle."""
    part = (np.asarray(ratio, dtype=np.float64) - 1.0) / max(float(amplitude(path_length_km)), 1e-12)
    return np.arccos(np.clip(part, -1.0, 1.0)) / np.pi


def even_factors(path_length_km: float, n: int = 24) -> Floats:
    """Factors that stand for the law of the factor, each for one n-th of the time (Gauss and Chebyshev's)."""
    angles = np.pi * (np.arange(n) + 0.5) / n
    return np.asarray(1.0 + float(amplitude(path_length_km)) * np.cos(angles), dtype=np.float64)
