"""Showers and wide rain together against the month's law."""

import numpy as np
import pytest
from cell_profile import area_above
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr

from hopyears.models.air.rain_cell import DEFAULT_POPULATION, MEAN_LIFE_FACTOR, largest_radius_km
from hopyears.models.air.rain_kinds import kind_densities
from hopyears.models.air.rain_law import MU_OFFSET, SIGMA
from hopyears.models.air.storm import DEFAULT_STORMS


def share_above(rate_mm_h, mean_rate_mm_h, rain_probability=0.1):
    """Areas above a rate of all showers, and of all wide shapes, per square kilometre."""
    kinds = kind_densities(DEFAULT_POPULATION, DEFAULT_STORMS, mean_rate_mm_h, rain_probability)
    over = np.maximum(kinds.log_peak - np.log(rate_mm_h), 0.0)
    size = MEAN_LIFE_FACTOR * largest_radius_km(DEFAULT_POPULATION, kinds.log_peak) ** 2
    showers = area_above(DEFAULT_POPULATION.profile, over) * size
    wide = 2.0 * np.pi * over * MEAN_LIFE_FACTOR * DEFAULT_STORMS.wide_radius_km**2
    return [
        np.trapezoid(kinds.showers * showers, kinds.log_peak),
        np.trapezoid(kinds.wide * wide, kinds.log_peak),
    ]


@given(st.floats(0.3, 12.0), st.floats(0.001, 0.7), st.floats(0.0, 3.5))
def test_both_kinds_together_are_the_months_law(mean_rate_mm_h, rain_probability, standard):
    """Lognormal law of ITU-R P.837-7, Annex 1, above its median, were it to rain always: within 0.6 %."""
    rate = mean_rate_mm_h * np.exp(SIGMA * standard - MU_OFFSET)
    found = sum(share_above(rate, mean_rate_mm_h, rain_probability))
    assert found == pytest.approx(float(ndtr(-standard)), rel=0.006)


def test_the_share_of_wide_rain_falls_as_the_month_grows_warmer():
    """P.837-7 gives a mean rate of 0.59 mm/h to a month at freezing point, 5.8 mm/h to one of 26 degrees."""
    shares = []
    for mean_rate in (0.6, 1.5, 3.0, 6.0):
        showers, wide = share_above(1.0, mean_rate)
        shares.append(wide / (showers + wide))
    assert np.all(np.diff(shares) < 0.0)
    assert shares[0] > 0.3 > 0.1 > shares[-1]


def test_cool_months_of_little_rain_have_less_of_it_wide():
    """At 2 mm/h of a month of 0.7 mm/h; by the amount up to a limit, and not where rain is warmer."""
    most = DEFAULT_STORMS.split_amount_mm_h / 0.7
    wide = [share_above(2.0, 0.7, most * share)[1] for share in (0.0, 0.3, 0.6, 1.0, 2.0)]
    assert np.all(np.diff(wide[:4]) > 0.05 * wide[3])
    assert wide[3] == pytest.approx(wide[4])
    assert share_above(2.0, 2.5, 0.001)[1] == pytest.approx(share_above(2.0, 2.5, 0.5)[1])


def test_a_mean_rate_out_of_range_is_refused():
    with pytest.raises(ValueError, match=r"mean_rate_mm_h is 500.0; must be 0.01 to 300"):
        kind_densities(DEFAULT_POPULATION, DEFAULT_STORMS, 500.0, 0.1)
