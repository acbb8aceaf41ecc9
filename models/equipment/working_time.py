"""When people work: shifts, working days, daylight, and the pauses that storms force on a climb."""

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass

from hopyears.models.basics.sun import sun_declination_deg
from hopyears.models.basics.units import SECONDS_PER_DAY

HOUR_S = 3600.0


@dataclass(frozen=True)
class Shift:
    """Working hours of a crew.

    Parameters
    ----------
    start_h, end_h : float
        Local hours between which work may begin, 0 <= start < end <= 24; 0 and 24 mean round the clock.
    working_days : tuple of bool, length 7
        Day 0 is the first day of the block.
    utc_offset_h : float
        Local time less universal time [h].
    on_call : bool
        Faults that stop traffic are attended at any hour.
    """

    start_h: float
    end_h: float
    working_days: tuple[bool, ...]
    utc_offset_h: float
    on_call: bool

    def __post_init__(self) -> None:
        if not 0.0 <= self.start_h < self.end_h <= 24.0:
            raise ValueError(
                f"start_h is {self.start_h}; must be at least 0 and below end_h {self.end_h} (<= 24)"
            )
        if len(self.working_days) != 7 or not any(self.working_days):
            raise ValueError(f"working_days is {self.working_days}; must be seven flags, one true at least")

    @property
    def always(self) -> bool:
        """Whether work may begin at any time."""
        return self.start_h == 0.0 and self.end_h == 24.0 and all(self.working_days)


def next_duty_s(time_s: float, shift: Shift) -> float:
    """First time [s], not before ``time_s``, at which work may begin in the shift."""
    if shift.always:
        return time_s
    offset_s = shift.utc_offset_h * HOUR_S
    day = math.floor((time_s + offset_s) / SECONDS_PER_DAY)
    for ahead in range(day, day + 8):
        if shift.working_days[ahead % 7]:
            midnight_s = ahead * SECONDS_PER_DAY - offset_s
            start_s = max(time_s, midnight_s + shift.start_h * HOUR_S)
            if start_s < midnight_s + shift.end_h * HOUR_S:
                return start_s
    raise ValueError(f"time_s is {time_s}; must be a time within reach of the shift")


def daylight_h(day_of_year: float, latitude_deg: float, least_h: float) -> tuple[float, float]:
    """Solar hours between which there is light to climb by, centred on 12.

    Parameters
    ----------
    day_of_year : float
        0 (1 January) to 365.25. [days]
    latitude_deg : float
        -90 to 90. [degrees]
    least_h : float
        Hours about noon in which there is always light enough (lamps, twilight), 0 to 24. [h]

    Returns
    -------
    tuple of float
        Sunrise and sunset [h]; ``least_h`` apart or more, and never more than 24.

    References
    ----------
    Sunrise equation cos(w) = -tan(latitude) tan(declination); textbook.
    """
    declination = math.radians(float(sun_declination_deg(day_of_year)))
    latitude = math.radians(min(max(latitude_deg, -89.9), 89.9))
    cosine = min(max(-math.tan(latitude) * math.tan(declination), -1.0), 1.0)
    half_day_h = max(math.degrees(math.acos(cosine)) / 15.0, 0.5 * least_h)
    return 12.0 - half_day_h, 12.0 + half_day_h


def next_daylight_s(time_s: float, latitude_deg: float, longitude_deg: float, least_h: float) -> float:
    """First time [s], not before ``time_s``, at which there is daylight at a place; see ``daylight_h``."""
    offset_s = longitude_deg / 15.0 * HOUR_S
    day = math.floor((time_s + offset_s) / SECONDS_PER_DAY)
    rise_h, set_h = daylight_h(day % 365.25, latitude_deg, least_h)
    midnight_s = day * SECONDS_PER_DAY - offset_s
    if time_s < midnight_s + set_h * HOUR_S:
        return max(time_s, midnight_s + rise_h * HOUR_S)
    rise_h, _ = daylight_h((day + 1) % 365.25, latitude_deg, least_h)
    return midnight_s + SECONDS_PER_DAY + rise_h * HOUR_S


def finish_with_holds_s(
    start_s: float, work_s: float, hold_start_s: Sequence[float], hold_end_s: Sequence[float]
) -> float:
    """End [s] of work that rests during holds and goes on after each.

    Parameters
    ----------
    start_s, work_s : float
        Arrival at the work and hands-on time [s], work at least 0.
    hold_start_s, hold_end_s : sequences of float
        Disjoint sorted holds (storms over the site) [s].
    """
    at_s = start_s
    i = bisect.bisect_right(hold_end_s, at_s)
    while i < len(hold_start_s) and hold_start_s[i] <= at_s + work_s:
        if hold_start_s[i] > at_s:
            work_s -= hold_start_s[i] - at_s
            if work_s <= 0.0:
                return hold_start_s[i] + work_s
        at_s = hold_end_s[i]
        i += 1
    return at_s + work_s
