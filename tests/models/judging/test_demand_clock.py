"""Hours of demand: against the calendar of pandas, and a slow look at every minute."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hopyears.models.judging.demand_clock import DemandClock, clock_at

DAY_S = 86_400.0
WORK = tuple(0.1 + 0.03 * hour for hour in range(24))
HOME = tuple(0.9 - 0.02 * hour for hour in range(24))

shares = st.lists(st.sampled_from([0.2, 0.5, 1.0]), min_size=24, max_size=24).map(tuple)
clocks = st.builds(
    DemandClock, shares, shares, st.integers(0, 7), st.integers(-48, 48).map(lambda quarter: quarter * 900.0)
)


def by_minute(clock, n_days):
    """Share in every minute, as a calendar that begins on a Monday tells hour and weekday."""
    local = pd.date_range("2024-01-01", periods=n_days * 1440, freq="min") + pd.Timedelta(
        seconds=clock.offset_s
    )
    working = local.day_of_week < clock.working_days
    return np.where(working, np.array(clock.working_day)[local.hour], np.array(clock.day_off)[local.hour])


@given(clocks)
def test_the_hours_are_those_of_the_calendar(clock):
    """pandas tells hour and day of the week; 2024 began on a Monday."""
    expected = by_minute(clock, 10)
    time_s, level = clock.history(10 * DAY_S)
    minute = np.arange(expected.size) * 60.0
    found = clock.shares[level[np.searchsorted(time_s, minute, side="right") - 1]]
    np.testing.assert_array_equal(found, expected)
    assert time_s[0] == 0.0
    assert (np.diff(level) != 0).all()


@given(clocks, st.lists(st.integers(0, 14_400), min_size=2, max_size=5, unique=True).map(sorted))
def test_time_at_each_level_is_that_of_a_slow_count(clock, minutes):
    share = by_minute(clock, 10)
    edges_s = np.array(minutes) * 60.0
    for span, (first, last) in enumerate(pairwise(minutes)):
        counted = [(share[first:last] == level).sum() * 60.0 for level in clock.shares]
        np.testing.assert_allclose(clock.seconds(edges_s)[span], counted, atol=1e-6)


def test_a_week_is_the_mean_of_its_days():
    clock = DemandClock(WORK, HOME, 5, 0.0)
    assert clock.week @ clock.shares == pytest.approx((5 * np.mean(WORK) + 2 * np.mean(HOME)) / 7)
    assert clock.seconds(np.array([0.0, 70 * DAY_S]))[0] == pytest.approx(clock.week * 70 * DAY_S)


@pytest.mark.parametrize(("longitude_deg", "hours"), [(0.0, 0.0), (15.0, 1.0), (-75.0, -5.0), (11.0, 0.75)])
def test_a_place_has_its_solar_time_to_a_quarter(longitude_deg, hours):
    assert clock_at(WORK, HOME, 5, longitude_deg).offset_s == hours * 3600.0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"working_day": WORK[1:]}, "must be 24 shares, above 0 to 1"),
        ({"day_off": (0.0, *HOME[1:])}, "must be 24 shares, above 0 to 1"),
        ({"working_days": 8}, "working_days is 8; must be 0 to 7"),
    ],
)
def test_what_is_no_week_is_refused(change, message):
    with pytest.raises(ValueError, match=message):
        DemandClock(**{"working_day": WORK, "day_off": HOME, "working_days": 5, "offset_s": 0.0, **change})
