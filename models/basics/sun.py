"""Where the sun stands over the year."""

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats

TROPIC_DEG = 23.44
"""Latitude of the tropics: the tilt of the Earth's axis."""


def sun_declination_deg(day_of_year: ArrayLike) -> Floats:
    """Latitude over which the sun stands at noon [degrees], days from 1 January; any shape.

    -23.44 cos(2 pi (day + 10) / 365.25): textbook, within about a degree.
    """
    return np.asarray(-TROPIC_DEG * np.cos(2.0 * np.pi * (np.asarray(day_of_year) + 10.0) / 365.25))
