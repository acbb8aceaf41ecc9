"""Penalties by hand, and against one month at a time."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from hopyears.models.basics.calendar import MONTH_SECONDS
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.money.penalties import Tier, owed

TIERS = (Tier(0.9999, 10.0), Tier(0.999, 50.0), Tier(0.9995, 200.0, yearly=True))


def months_of(**minutes):
    lost = np.zeros(12)
    for name, value in minutes.items():
        lost[int(name[1:]) - 1] = 60.0 * value
    return lost


def test_tiers_by_hand():
    """A month of 31 days allows 4.464 min at 99.99 % and 44.64 min at 99.9 %; a year 263 min at 99.95 %."""
    assert owed(months_of(m1=4.4), TIERS) == 0.0
    assert owed(months_of(m1=4.5), TIERS) == 10.0
    assert owed(months_of(m1=44.7), TIERS) == 50.0  # the dearest of both, not their sum
    assert owed(months_of(m1=44.7, m2=5.0), TIERS) == 60.0
    assert owed(months_of(m4=262.9), TIERS) == 50.0
    assert owed(months_of(m4=263.1), TIERS) == 250.0
    assert owed(months_of(m4=263.1), TIERS, 120.0) == 120.0
    assert owed(months_of(m4=263.1), ()) == 0.0


def slow(year, tiers, cap):
    total = 0.0
    for month, lost in enumerate(year):
        share = 1.0 - lost / MONTH_SECONDS[month]
        total += max([t.amount for t in tiers if not t.yearly and share < t.availability], default=0.0)
    share = 1.0 - sum(year) / SECONDS_PER_YEAR
    total += max([t.amount for t in tiers if t.yearly and share < t.availability], default=0.0)
    return total if cap is None else min(total, cap)


LOST = st.lists(st.floats(0.0, 2e6), min_size=12, max_size=12)
SOME_TIERS = st.lists(
    st.builds(Tier, st.floats(0.9, 0.99999), st.floats(0.0, 1e4), st.booleans()), max_size=5
)


@given(LOST, SOME_TIERS, st.none() | st.floats(0.0, 2e4))
def test_many_years_at_once_are_one_at_a_time(year, tiers, cap):
    both = owed(np.array([[year, [0.0] * 12]]), tiers, cap)
    assert both.shape == (1, 2)
    np.testing.assert_allclose(both[0], [slow(year, tiers, cap), 0.0], atol=1e-6)


@given(LOST, SOME_TIERS)
def test_more_outage_is_never_cheaper(year, tiers):
    assert owed(1.5 * np.array(year), tiers) >= owed(year, tiers)
