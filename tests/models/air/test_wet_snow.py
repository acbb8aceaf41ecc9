import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference import cases, rows

from hopyears.models.air import rain_attenuation, wet_snow

LAW = rain_attenuation.attenuation_law(12.0, 28.0, frequency_ghz=18.0, polarisation_tilt_deg=90.0)


@pytest.mark.parametrize("row", cases("p530_xpd_snow", "Gamma_dh"))
def test_multiplier_by_height(row):
    found = wet_snow.height_multiplier(row["inputs"]["dh_m"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


def test_multiplier_peaks_in_the_melting_layer():
    heights = np.arange(-1300.0, 100.0, 1.0)
    multiplier = wet_snow.height_multiplier(heights)
    assert multiplier.max() == pytest.approx(3.53, abs=0.01)
    assert heights[multiplier.argmax()] == pytest.approx(-250, abs=20)
    assert np.all(multiplier[heights > 0] == 0)
    assert np.all(multiplier[heights < -1200] == 1)


@pytest.mark.parametrize("row", cases("p530_xpd_snow", "path_averaged_G"))
def test_multiplier_of_a_path(row):
    path = row["inputs"]
    found = wet_snow.path_multiplier(path["hlo_m"], path["hhi_m"], rain_height_m=path["hrain_m"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@settings(max_examples=50)
@given(st.floats(0, 3000), st.floats(0, 2500), st.floats(0, 5000))
def test_slices_agree_with_a_fine_integral(low, rise, rain_height):
    heights = np.linspace(low, low + rise, 20001) - rain_height
    fine = wet_snow.height_multiplier(heights).mean()
    found = wet_snow.path_multiplier(low, low + rise, rain_height_m=rain_height)
    # midpoints of 100 m slices are off by up to h^2/24 times the curvature, 0.03, where a path has several
    assert found == pytest.approx(fine, abs=0.06)


def test_rain_heights_are_the_published_classes():
    table = rows("p530_rain_height_table")
    for row in table:
        index = row["inputs"]["n"]
        assert wet_snow.RAIN_HEIGHT_OFFSET_M[index] == row["inputs"]["offset_m"]
        assert wet_snow.RAIN_HEIGHT_PROBABILITY[index] == row["value"]
        assert wet_snow.RAIN_HEIGHT_PROBABILITY[48 - index] == row["value"]
    assert len(table) == 25
    assert wet_snow.RAIN_HEIGHT_PROBABILITY.sum() == pytest.approx(1.0, abs=1e-6)


def test_far_below_the_rain_height_it_is_rain_and_far_above_nothing():
    low = wet_snow.path_multipliers(100.0, 400.0, mean_rain_height_m=4000.0)
    high = wet_snow.path_multipliers(3000.0, 3200.0, mean_rain_height_m=500.0)
    assert np.all(low == 1.0)
    assert np.all(high == 0.0)
    wanted = np.array([1.0, 10.0, 30.0])
    assert wet_snow.exceedance(LAW, wanted, multipliers=low) == pytest.approx(
        rain_attenuation.exceedance(LAW, wanted), rel=1e-5
    )
    assert wet_snow.exceedance(LAW, wanted, multipliers=high) == pytest.approx(np.zeros(3))
    assert wet_snow.attenuation_db(LAW, 1e-4, multipliers=high) == pytest.approx(0.0, abs=1e-9)


def test_exceedance_is_the_average_over_rain_heights_one_by_one():
    mean_height, low, high = 1500.0, 900.0, 1300.0
    by_hand = 0.0
    for offset, probability in zip(
        wet_snow.RAIN_HEIGHT_OFFSET_M, wet_snow.RAIN_HEIGHT_PROBABILITY, strict=True
    ):
        multiplier = float(wet_snow.path_multiplier(low, high, rain_height_m=mean_height + offset))
        if multiplier > 0.0:
            by_hand += probability * float(rain_attenuation.exceedance(LAW, 20.0 / multiplier))
    multipliers = wet_snow.path_multipliers(low, high, mean_rain_height_m=mean_height)
    assert wet_snow.exceedance(LAW, 20.0, multipliers=multipliers) == pytest.approx(by_hand, rel=1e-12)
    assert by_hand > rain_attenuation.exceedance(LAW, 20.0)  # melting snow is worse than rain here


@settings(max_examples=30)
@given(st.floats(-6, -2), st.floats(0, 2000))
def test_inverse_undoes(log_fraction, mean_height):
    multipliers = wet_snow.path_multipliers(600.0, 800.0, mean_rain_height_m=mean_height)
    attenuation = wet_snow.attenuation_db(LAW, 10.0**log_fraction, multipliers=multipliers)
    back = wet_snow.exceedance(LAW, attenuation, multipliers=multipliers)
    assert back == pytest.approx(10.0**log_fraction, rel=1e-6)


def test_many_paths_at_once():
    law = rain_attenuation.attenuation_law([5.0, 12.0], 28.0, frequency_ghz=18.0, polarisation_tilt_deg=90.0)
    multipliers = wet_snow.path_multipliers(
        [900.0, 300.0], [1300.0, 500.0], mean_rain_height_m=[1500.0, 1600.0]
    )
    assert multipliers.shape == (2, 49)
    both = wet_snow.attenuation_db(law, 1e-4, multipliers=multipliers)
    second = wet_snow.attenuation_db(LAW, 1e-4, multipliers=multipliers[1])
    assert both.shape == (2,)
    assert both[1] == pytest.approx(second, rel=1e-9)
