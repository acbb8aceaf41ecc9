"""Rain and wet snow as one law of a path: what rain alone keeps, what melting adds, what dry snow leaves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hopyears.models.air import rain_attenuation, wet_snow
from hopyears.models.air.precipitation import CLEARANCE_M, precipitation_law

RAIN = rain_attenuation.attenuation_law(12.0, 28.0, frequency_ghz=18.0, polarisation_tilt_deg=90.0)
FRACTIONS = np.array([1e-2, 1e-3, 1e-4, 1e-5])


def law(low_m, high_m, rain_height_m=3000.0):
    return precipitation_law(RAIN, low_m, high_m, mean_rain_height_m=rain_height_m)


@pytest.mark.parametrize("found", [law(-900.0, -600.0), law(100.0, 2800.0, None), law(900.0, 900.0, 4500.0)])
def test_a_path_that_meets_rain_only_keeps_the_law_of_rain_to_the_last_digit(found):
    """ITU-R P.530-18, 2.4.2: rain only where the upper antenna is 3600 m or more below the rain height."""
    assert found.kind == "rain"
    assert np.array_equal(found.attenuation_db(FRACTIONS), rain_attenuation.attenuation_db(RAIN, FRACTIONS))
    levels_db = np.array([0.0, 1.0, 10.0, 60.0])
    assert np.array_equal(found.exceedance(levels_db), rain_attenuation.exceedance(RAIN, levels_db))


def test_the_limit_of_rain_only_is_where_no_class_of_rain_height_melts_the_path():
    height_m = 3000.0 - CLEARANCE_M
    just_below = wet_snow.path_multipliers(height_m - 1.0, height_m - 1.0, mean_rain_height_m=3000.0)
    assert np.all(just_below == 1.0)
    assert law(height_m, height_m).kind == "rain"
    above = law(height_m + 1.0, height_m + 1.0)
    assert above.kind == "rain and wet snow"
    rain_db = law(height_m, height_m).attenuation_db(FRACTIONS)
    assert above.attenuation_db(FRACTIONS) == pytest.approx(rain_db, rel=1e-3)


def test_melting_adds_and_dry_snow_takes_away():
    rain, melting, high = law(-900.0, -900.0), law(2500.0, 2600.0), law(4500.0, 4800.0)
    assert np.all(melting.attenuation_db(FRACTIONS) > 1.3 * rain.attenuation_db(FRACTIONS))
    assert np.all(high.attenuation_db(FRACTIONS) < rain.attenuation_db(FRACTIONS))
    dry = law(5500.0, 5600.0)
    assert dry.kind == "dry snow"
    assert np.all(dry.attenuation_db(FRACTIONS) < 1e-9)
    assert np.array_equal(dry.exceedance([0.0, 0.1, 10.0]), [1.0, 0.0, 0.0])


@given(st.floats(0.0, 4000.0), st.floats(0.0, 1500.0), st.floats(-5.5, -2.0))
def test_attenuation_and_exceedance_undo_each_other(low_m, rise_m, log_fraction):
    found = law(low_m, low_m + rise_m)
    level_db = found.attenuation_db(10.0**log_fraction)
    if level_db > 1e-3:
        assert found.exceedance(level_db) == pytest.approx(10.0**log_fraction, rel=1e-5)


def test_nothing_exceeds_the_largest_multiple_of_rain():
    heights_m = np.arange(-1000.0, 6000.0, 250.0)
    most = np.array([law(height_m, height_m).attenuation_db(FRACTIONS) for height_m in heights_m])
    assert np.all(most <= 3.54 * rain_attenuation.attenuation_db(RAIN, FRACTIONS))
    # Highest in the melting layer, below its middle; falls to nothing far above the rain height.
    assert 1500.0 < heights_m[most[:, 2].argmax()] < 3000.0
