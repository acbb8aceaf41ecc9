import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plant_entries import OFFICE_HOURS, ROUND_THE_CLOCK

from hopyears.models.equipment.working_time import (
    Shift,
    daylight_h,
    finish_with_holds_s,
    next_daylight_s,
    next_duty_s,
)

HOUR, DAY = 3600.0, 86400.0


@pytest.mark.parametrize(
    ("time_h", "expected_h"),
    [(0, 8), (8, 8), (12.5, 12.5), (17, 32), (4 * 24 + 18, 7 * 24 + 8), (5 * 24 + 10, 7 * 24 + 8), (-1, 8)],
)
def test_office_hours(time_h, expected_h):
    assert next_duty_s(time_h * HOUR, OFFICE_HOURS) == expected_h * HOUR


def test_round_the_clock_and_local_time():
    assert next_duty_s(12345.6, ROUND_THE_CLOCK) == 12345.6
    east = Shift(8.0, 17.0, (True,) * 7, utc_offset_h=3.0, on_call=True)
    assert next_duty_s(0.0, east) == 5 * HOUR


def test_impossible_shifts_are_refused():
    with pytest.raises(ValueError, match=r"start_h is 17.0; must be at least 0 and below end_h 8.0"):
        Shift(17.0, 8.0, (True,) * 7, utc_offset_h=0.0, on_call=True)
    with pytest.raises(ValueError, match="must be seven flags"):
        Shift(8.0, 17.0, (False,) * 7, utc_offset_h=0.0, on_call=True)


def test_daylight():
    # Textbook: twelve hours at the equinoxes; about 16 h 20 (geometric) at 51.5 N at midsummer; polar night.
    rise, sets = daylight_h(80.0, 51.5, 6.0)
    assert sets - rise == pytest.approx(12.0, abs=0.15)
    rise, sets = daylight_h(172.0, 51.5, 6.0)
    assert sets - rise == pytest.approx(16.4, abs=0.2)
    assert daylight_h(355.0, 80.0, 6.0) == (9.0, 15.0)
    assert daylight_h(172.0, 80.0, 6.0) == pytest.approx((0.0, 24.0))


def test_next_daylight_follows_the_sun_eastward():
    at_greenwich = next_daylight_s(80 * DAY, 0.0, 0.0, 6.0)
    assert at_greenwich == pytest.approx(80 * DAY + 6 * HOUR, abs=60)
    assert next_daylight_s(80 * DAY - 4 * HOUR, 0.0, 30.0, 6.0) == pytest.approx(
        at_greenwich - 2 * HOUR, abs=60
    )
    assert next_daylight_s(at_greenwich, 0.0, 0.0, 6.0) == at_greenwich


holds = st.lists(st.tuples(st.integers(1, 5), st.integers(1, 5)), max_size=5)


@given(st.integers(0, 20), st.integers(1, 15), holds)
def test_work_rests_in_storms(start, work, gaps):
    edges = np.cumsum([step for pair in gaps for step in pair]).tolist()
    begin, end = edges[0::2], edges[1::2]
    hour, left = start, work
    while left:
        # the slow version: hour by hour, work is done outside the holds only
        left -= not any(a <= hour < b for a, b in zip(begin, end, strict=True))
        hour += 1
    assert finish_with_holds_s(start, work, begin, end) == hour


def test_light_enough_to_climb_in_polar_night():
    assert daylight_h(355.0, 80.0, 2.0) == (11.0, 13.0)
    assert daylight_h(355.0, 80.0, 0.0) == (12.0, 12.0)
