"""The daily cycle of showers: how much more of them come at some hours than at others. Wide rain has none."""

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.sun import sun_declination_deg

LAND_AMPLITUDE, LAND_PEAK_HOUR = 0.65, 17.0
"""Land, noon sun in the zenith: showers of the busiest hour over their mean, less one; that hour."""

SEA_AMPLITUDE, SEA_PEAK_HOUR = 0.2, 5.0
"""The same over the sea, whatever the sun."""


def shower_cycle(latitude_deg: float, land_share: float) -> Floats:
    """Amplitude over the daily mean and local solar hour of the peak of showers, by month; shape (12, 2).

    An hour has 1 + amplitude cos(2 pi (hour - peak) / 24) times the mean, amplitude 0 to 1. Over land
    showers peak in the afternoon, in proportion to the cosine of the noon sun's distance from the zenith in
    the middle of the month; over the sea they are a little more frequent before dawn. A place that is part
    land has the sum of both by its shares.

    Parameters
    ----------
    latitude_deg : float
        [degrees], -90 to 90.
    land_share : float
        Of the area, 0 to 1.

    References
    ----------
    A. Dai, Journal of Climate 14 (2001) 1112, abstract: showers over most land in all seasons in the late
    afternoon, amplitude above 50 % of the mean; other rain about 6 h. A. Dai, X. Lin, K. Hsu, Climate
    Dynamics 29 (2007) 727, abstract: the 24 h cycle prevails; 30 to 100 % of the amount over most land in
    summer, afternoon to evening; 10 to 30 % over most oceans, midnight to early morning. T. Zhou et al.,
    Journal of Climate 21 (2008) 3997, introduction: 15 to 19 h over most land, 4 to 6 h over oceans; much
    weaker over land in the cold season. The form over latitude and season is our own (common practice, no
    source).
    """
    day = 30.4375 * (np.arange(12) + 0.5)
    height = np.maximum(np.cos(np.deg2rad(latitude_deg - sun_declination_deg(day))), 0.0)
    land = land_share * LAND_AMPLITUDE * height * _turned(LAND_PEAK_HOUR)
    both = land + (1.0 - land_share) * SEA_AMPLITUDE * _turned(SEA_PEAK_HOUR)
    hour = np.angle(both) * 24.0 / (2.0 * np.pi) % 24.0
    return np.stack([np.abs(both), hour], axis=-1)


def _turned(hour: float) -> complex:
    return complex(np.exp(2j * np.pi * hour / 24.0))
