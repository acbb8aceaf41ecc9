"""The simulated year: 365.25 days in twelve calendar months, the same every year.

Time zero of a block is 1 January, 00:00 UTC. A February of 28.25 days keeps every month at the same
place in every year, as ITU-R P.837-7 counts it.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.units import SECONDS_PER_DAY, SECONDS_PER_YEAR

MONTH_DAYS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], dtype=np.float64)
"""Days in each calendar month, February averaged over leap years (ITU-R P.837-7, Annex 1)."""
MONTH_DAYS.setflags(write=False)

MONTH_SECONDS = MONTH_DAYS * SECONDS_PER_DAY
MONTH_SECONDS.setflags(write=False)

MONTH_STARTS_S = np.concatenate([[0.0], np.cumsum(MONTH_SECONDS)])
"""Start of each month within the year [s], shape (13,), the last being the end of the year."""
MONTH_STARTS_S.setflags(write=False)

MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def month_of(time_s: ArrayLike) -> Ints:
    """Calendar month, 0 (January) to 11, at a time [s] from the start of a block; any shape."""
    in_year = np.mod(np.asarray(time_s, dtype=np.float64), SECONDS_PER_YEAR)
    return np.clip(np.searchsorted(MONTH_STARTS_S, in_year, side="right") - 1, 0, 11)


def month_edges_s(n_years: int) -> Floats:
    """Edges of all months in a block of ``n_years`` [s], shape (12 n_years + 1,)."""
    starts = np.arange(n_years, dtype=np.float64)[:, None] * SECONDS_PER_YEAR + MONTH_STARTS_S[None, :12]
    return np.append(starts.ravel(), n_years * SECONDS_PER_YEAR)


class Date(NamedTuple):
    """A second of the simulated calendar; year, month and day count from 1."""

    year: int
    month: int
    day: int
    hour: int
    minute: int
    second: int

    def __str__(self) -> str:
        clock = f"{self.hour:02d}:{self.minute:02d}:{self.second:02d}"
        return f"year {self.year}, {self.day} {MONTH_NAMES[self.month - 1]} {clock}"


def date_of(time_s: float, *, first_year: int = 1) -> Date:
    """Date and time of day (UTC) of the second that holds a time [s] from the start of a block.

    ``first_year`` is the number of the block's first year. Days are counted through, as shifts, nights and
    planned work count them, whatever quarter day a month or year begins with; a day belongs to the month and
    year of its noon.
    """
    whole = int(np.floor(time_s))
    in_day = whole % int(SECONDS_PER_DAY)
    noon = whole - in_day + int(SECONDS_PER_DAY) // 2
    year, in_year = divmod(noon, int(SECONDS_PER_YEAR))
    month = int(month_of(float(in_year)))
    day = (in_year - int(MONTH_STARTS_S[month])) // int(SECONDS_PER_DAY)
    hour, in_hour = divmod(in_day, 3600)
    return Date(first_year + year, month + 1, day + 1, hour, in_hour // 60, in_hour % 60)
