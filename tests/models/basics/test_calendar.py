"""The simulated calendar against the standard library's, where the two must agree."""

import calendar
import datetime

import numpy as np
import pytest

from hopyears.models.basics.calendar import MONTH_DAYS, date_of, month_edges_s, month_of
from hopyears.models.basics.units import HOURS_PER_YEAR, MINUTES_PER_YEAR, SECONDS_PER_DAY, SECONDS_PER_YEAR


def test_months_are_the_julian_years():
    four_years = [
        [calendar.monthrange(year, month)[1] for month in range(1, 13)] for year in range(2021, 2025)
    ]
    np.testing.assert_allclose(MONTH_DAYS, np.mean(four_years, axis=0))
    year = datetime.timedelta(days=365.25)
    assert year / datetime.timedelta(hours=1) == HOURS_PER_YEAR
    assert year / datetime.timedelta(minutes=1) == MINUTES_PER_YEAR
    assert year / datetime.timedelta(seconds=1) == SECONDS_PER_YEAR


def test_the_first_year_has_the_dates_of_a_common_year():
    start = datetime.datetime(2023, 1, 1)
    for number in range(365):
        moment = start + datetime.timedelta(days=number, seconds=3_723 + 131 * number)
        found = date_of((moment - start).total_seconds() + 0.5, first_year=2023)
        assert tuple(found) == moment.timetuple()[:6]
    assert str(date_of(365.0 * SECONDS_PER_DAY)) == "year 2, 1 Jan 00:00:00"


def test_months_of_a_block_have_edges():
    edges = month_edges_s(3)
    assert edges.shape == (37,)
    assert edges[-1] == 3 * SECONDS_PER_YEAR
    np.testing.assert_allclose(np.diff(edges), np.tile(MONTH_DAYS, 3) * SECONDS_PER_DAY)
    np.testing.assert_array_equal(month_of(edges[:-1] + 0.5), np.tile(np.arange(12), 3))
    np.testing.assert_array_equal(month_of(edges[1:] - 0.5), np.tile(np.arange(12), 3))
    assert month_of(-1.0) == pytest.approx(11)
