"""The pattern of nights of multipath: how uneven nights and their hours are.

Numbers below are fitted to the share of the worst month that P.530 gives to its worst hour, day, five and
fifteen days.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy.special import ndtr, ndtri

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.frozen import frozen
from hopyears.sim.streams import Streams

FIRST_HOUR: Final = 22
"""Local solar hour at which a night starts (common practice: late evening to two hours after sunrise)."""

HOUR_WEIGHT: Final = np.array([0.5, 0.7, 0.85, 1.0, 1.1, 1.2, 1.3, 1.3, 1.15, 0.9])
"""Mean activity in the ten hours from 22 to 08, relative; most between 00 and 08 (shape: common practice)."""
HOUR_WEIGHT.setflags(write=False)

HOURS_PER_NIGHT: Final = len(HOUR_WEIGHT)


@dataclass(frozen=True)
class NightPattern:
    """Unevenness of nights and hours in one kind of terrain.

    Parameters
    ----------
    active_share : float
        Share of nights with any fading.
    night_sd, hour_sd : float
        Standard deviation of the logarithm of severity among active nights, and among the hours of a night;
        both lognormal laws end at 2.5 standard deviations.
    """

    active_share: float
    night_sd: float
    hour_sd: float


PATTERNS: Final = {
    "flat": NightPattern(0.564, 0.63, 1.69),
    "hilly": NightPattern(0.308, 0.91, 1.37),
    "mountain": NightPattern(0.152, 0.81, 1.67),
}
"""Fitted to ITU-R P.530 2.3.5 (shorter worst periods), each point of the curve met within about 12 %."""

_CUT: Final = 2.5
_TABLE_SIZE: Final = 1 << 14
_MOST_NUMBER: Final = 6.0

NUMBERS_PER_UNIT: Final = 1024.0
"""Entries of ``night_severities`` for each unit of the normal number of a night."""


@lru_cache(maxsize=16)
def severity_table(log_sd: float) -> Floats:
    """Equally likely severities of mean 1: a lognormal law cut at 2.5 standard deviations, shape (16384,)."""
    middle = (np.arange(_TABLE_SIZE) + 0.5) / _TABLE_SIZE
    severity = np.exp(log_sd * ndtri(middle * ndtr(_CUT)))
    severity = np.asarray(severity / severity.mean())
    severity.setflags(write=False)
    return severity


def least_active_number(pattern: NightPattern) -> float:
    """Standard normal number of a night from which on it has any fading."""
    return float(ndtri(1.0 - pattern.active_share))


@lru_cache(maxsize=8)
def night_severities(pattern: NightPattern) -> Floats:
    """Severity of a night by its normal number, from the least active one on: mean 1 over all nights.

    The law of ``severity_table``, ``NUMBERS_PER_UNIT`` values a unit, for lines between them.
    """
    least, sd = least_active_number(pattern), pattern.night_sd
    number = np.arange(least, _MOST_NUMBER, 1.0 / NUMBERS_PER_UNIT)
    rank = np.maximum(1.0 - ndtr(-number) / pattern.active_share, 0.0)
    mean = np.exp(0.5 * sd * sd) * ndtr(_CUT - sd) / ndtr(_CUT)
    severity = np.exp(sd * ndtri(rank * ndtr(_CUT))) / mean
    return frozen(np.asarray(severity / pattern.active_share))


@lru_cache(maxsize=8)
def night_hours(hour_sd: float) -> Floats:
    """Activity in the hours of 16,384 nights, of which each active night has one; shape (16384, 10).

    Every hour has each value of ``severity_table`` once, times its weight, in an order of its own.
    """
    random = Streams(seed=0, block=0).generator("night law", "hours of nights")
    columns = [random.permutation(severity_table(hour_sd)) for _ in HOUR_WEIGHT]
    return frozen(np.column_stack(columns) * hour_weight_of_day())


def hour_weight_of_day() -> Floats:
    """Mean activity in the hours of a night, relative to the mean over 24 hours; shape (10,)."""
    return np.asarray(HOUR_WEIGHT / HOUR_WEIGHT.sum() * 24.0)
