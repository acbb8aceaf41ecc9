"""How demand follows the hours of the day and the days of the week."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.units import SECONDS_PER_DAY

HOUR_S = 3600.0
HOURS_PER_DAY = 24
HOURS_PER_WEEK = 7 * HOURS_PER_DAY

CLOCK_STEP_S = 900.0
"""Solar time of a place goes to the next so many seconds, so that neighbours share a clock."""


@dataclass(frozen=True)
class DemandClock:
    """Share of its full rates that a service asks for, hour by hour of a week that repeats.

    Parameters
    ----------
    working_day, day_off : tuple of float, length 24
        Share in each local hour from midnight on, above 0 to 1.
    working_days : int
        Days of a week that are working days, in a row from the first day of the block, 0 to 7.
    offset_s : float
        Local time less universal time [s].
    """

    working_day: tuple[float, ...]
    day_off: tuple[float, ...]
    working_days: int
    offset_s: float

    def __post_init__(self) -> None:
        for name in ("working_day", "day_off"):
            shares = getattr(self, name)
            if len(shares) != HOURS_PER_DAY or not all(0.0 < share <= 1.0 for share in shares):
                raise ValueError(f"{name} is {shares}; must be 24 shares, above 0 to 1")
        if not 0 <= self.working_days <= 7:
            raise ValueError(f"working_days is {self.working_days}; must be 0 to 7")

    @cached_property
    def shares(self) -> Floats:
        """Distinct shares that occur, and 1, rising; a *level* is a place among them."""
        return np.unique([*self._hours, 1.0])

    @property
    def full(self) -> int:
        """Level of share 1."""
        return self.shares.size - 1

    @cached_property
    def week(self) -> Floats:
        """Share of a week at each level, shape (n_levels,)."""
        return np.bincount(self._level_of_hour, minlength=self.shares.size) / HOURS_PER_WEEK

    def history(self, duration_s: float) -> tuple[Floats, Ints]:
        """Times [s] from 0 on, before ``duration_s``, at which the level changes, and the level from then."""
        first = int(np.floor(self.offset_s / HOUR_S))
        last = int(np.floor((duration_s + self.offset_s) / HOUR_S))
        hour = np.arange(first, last + 1)
        level = self._level_of_hour[hour % HOURS_PER_WEEK]
        time_s = np.maximum(hour * HOUR_S - self.offset_s, 0.0)
        changes = np.append(True, level[1:] != level[:-1]) & (time_s < duration_s)
        return time_s[changes], level[changes]

    def seconds(self, edges_s: Floats) -> Floats:
        """Time at each level between each pair of neighbouring edges [s], shape (n_edges - 1, n_levels)."""
        hours = np.eye(self.shares.size)[self._level_of_hour] * HOUR_S
        until = np.concatenate([np.zeros((1, self.shares.size)), np.cumsum(hours, axis=0)])
        week, into_s = np.divmod(np.asarray(edges_s) + self.offset_s, HOURS_PER_WEEK * HOUR_S)
        hour = np.minimum((into_s / HOUR_S).astype(np.int64), HOURS_PER_WEEK - 1)
        part = (into_s - hour * HOUR_S)[:, None] * np.eye(self.shares.size)[self._level_of_hour[hour]]
        found: Floats = np.diff(week[:, None] * until[-1] + until[hour] + part, axis=0)
        return found

    @cached_property
    def _hours(self) -> tuple[float, ...]:
        days_off = 7 - self.working_days
        return (*(self.working_day * self.working_days), *(self.day_off * days_off))

    @cached_property
    def _level_of_hour(self) -> Ints:
        return np.searchsorted(self.shares, self._hours)


def clock_at(
    working_day: tuple[float, ...], day_off: tuple[float, ...], working_days: int, longitude_deg: float
) -> DemandClock:
    """The clock of a place: its solar time, to the nearest quarter of an hour (``CLOCK_STEP_S``)."""
    offset_s = round(longitude_deg / 360.0 * SECONDS_PER_DAY / CLOCK_STEP_S) * CLOCK_STEP_S
    return DemandClock(working_day, day_off, working_days, offset_s)
