"""Decibels and the other conversions, each in one place."""

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats

HOURS_PER_YEAR = 8766.0
"""Hours in a year of 365.25 days."""

MINUTES_PER_YEAR = 525_960.0
"""Minutes in a year of 365.25 days."""

SECONDS_PER_YEAR = 31_557_600.0
"""Seconds in a year of 365.25 days."""

SECONDS_PER_DAY = 86_400.0

EARTH_RADIUS_KM = 6371.0
"""Of a sphere as large as the Earth, to the whole kilometre."""


def ratio_from_db(level_db: ArrayLike) -> Floats:
    """Power ratio of a level in decibels: 10^(level/10). Any shape, [dB] to a bare ratio above 0."""
    return np.power(10.0, np.asarray(level_db, dtype=np.float64) / 10.0)


def db_from_ratio(ratio: ArrayLike) -> Floats:
    """Level in decibels of a power ratio above 0: 10 log10(ratio). Any shape; a ratio of 0 gives -inf."""
    with np.errstate(divide="ignore"):
        return 10.0 * np.log10(np.asarray(ratio, dtype=np.float64))
