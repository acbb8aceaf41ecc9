"""From one figure of rain attenuation to others: frequency, polarisation, number and length of events."""

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import SECONDS_PER_YEAR

_SHORTEST_EVENT_S = 10.0


def vertical_from_horizontal_db(attenuation_db: ArrayLike) -> Floats:
    """Rain attenuation of vertical polarisation where horizontal has this one [dB], exceeded as often.

    References
    ----------
    ITU-R P.530-18 (2021), section 2.4.4.
    """
    horizontal = np.asarray(attenuation_db, dtype=np.float64)
    return 300.0 * horizontal / (335.0 + horizontal)


def horizontal_from_vertical_db(attenuation_db: ArrayLike) -> Floats:
    """Inverse of ``vertical_from_horizontal_db``; infinite from 300 dB on, out of its reach."""
    vertical = np.asarray(attenuation_db, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return np.where(vertical < 300.0, 335.0 * vertical / np.maximum(300.0 - vertical, 0.0), np.inf)


def event_count_per_year(probability: ArrayLike) -> Floats:
    """Mean number of rain fades of 10 s or longer a year, below a level exceeded for this fraction.

    N = 1 + 1313 p^0.945 (p in percent), but never so many that they would last less than 10 s each on
    average: the limit is our own, and acts below 0.0000317 % (10 s a year).

    References
    ----------
    ITU-R P.530-17 (2017), section 2.4.5.
    """
    fraction = np.asarray(probability, dtype=np.float64)
    count = 1.0 + 1313.0 * (100.0 * fraction) ** 0.945
    return np.minimum(count, fraction * SECONDS_PER_YEAR / _SHORTEST_EVENT_S)
