"""Multipath occurrence and depth laws against published formulas' values (ITU-R P.530-17, -18)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference import cases

from hopyears.models.air import multipath

TABLE = "p530_multipath"


@pytest.mark.parametrize("row", cases(TABLE, "K_detailed"))
def test_geoclimatic_factor_detailed(row):
    found = multipath.geoclimatic_factor_detailed(row["inputs"]["dN1"], row["inputs"]["sa_m"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases(TABLE, "pw_detailed_P530-17") + cases(TABLE, "pw_quick_P530-17"))
def test_worst_month_deep_fade_law(row):
    given = row["inputs"]
    occurrence = multipath.worst_month_occurrence(
        given["K"],
        path_length_km=given["d_km"],
        inclination_mrad=given["eps_mrad"],
        frequency_ghz=given["f_GHz"],
        lower_antenna_m=given["hL_m"],
        detailed="detailed" in row["quantity"],
    )
    percent = 100.0 * occurrence * 10.0 ** (-given["A_dB"] / 10.0)
    assert percent == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases(TABLE, "pw_P530-18"))
def test_worst_month_deep_fade_law_of_edition_18(row):
    given = row["inputs"]
    occurrence = multipath.worst_month_occurrence_ed18(
        10.0 ** given["log10K"],
        path_length_km=given["d_km"],
        frequency_ghz=given["f_GHz"],
        first_antenna_m=given["he_m"],
        second_antenna_m=given["hr_m"],
        mean_terrain_m=given["ht_m"],
        refractivity_75=given["dN75"],
    )
    percent = 100.0 * occurrence * 10.0 ** (-given["A_dB"] / 10.0)
    if row["value"] * 10.0 ** (given["A_dB"] / 10.0) > 100.0:
        assert occurrence == 1.0  # our own cap
    else:
        assert percent == pytest.approx(row["value"], rel=row["rel_tol"])


def test_low_paths_of_edition_18_grow_by_the_gradient_along_the_path():
    """ITU-R P.530-18, 2.3.1 (numbers from memory): with antennas below the terrain's mean the exponent has
    17.85 v_sr, v_sr = dN75 d^1.5 f^0.5 / 24730, and nothing else of dN75."""
    low, high = (
        multipath.worst_month_occurrence_ed18(
            1e-9,
            path_length_km=10.0,
            frequency_ghz=9.0,
            first_antenna_m=100.0,
            second_antenna_m=100.0,
            mean_terrain_m=400.0,
            refractivity_75=gradient,
        )
        for gradient in (40.0, 50.0)
    )
    assert high < 1.0
    assert np.log10(high / low) == pytest.approx(17.85 * 10.0 * 1000.0**0.5 * 3.0 / 24730.0, rel=1e-9)


@pytest.mark.parametrize("row", cases(TABLE, "pw_all_percentages"))
def test_law_for_all_depths(row):
    found = multipath.exceedance(row["inputs"]["p0_percent"] / 100.0, row["inputs"]["A_dB"])
    assert 100.0 * found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases(TABLE, "delta_G"))
def test_reduction_to_the_average_year(row):
    given = row["inputs"]
    found = multipath.annual_reduction_db(given["lat"], given["d_km"], given["eps_mrad"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases(TABLE, "p_annual_A30"))
def test_average_year(row):
    given = row["inputs"]
    reduction = multipath.annual_reduction_db(given["lat"], given["d_km"], given["eps_mrad"])
    found = given["pw_percent"] * 10.0 ** (-reduction / 10.0)
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


def test_short_paths_have_no_multipath():
    def of(length):
        return multipath.worst_month_occurrence(
            1e-5, path_length_km=length, inclination_mrad=1, frequency_ghz=8, lower_antenna_m=100
        )

    assert of(5.0) == 0.0
    assert of(5.01) > 0.0
    assert multipath.exceedance(0.0, 10.0) == 0.0


def test_law_is_continuous_at_the_transition():
    for occurrence in (1e-4, 1e-2, 0.3, 3.0):
        transition = 25.0 + 1.2 * np.log10(100.0 * occurrence)
        below, above = multipath.exceedance(occurrence, [transition - 1e-9, transition + 1e-9])
        assert below == pytest.approx(above, rel=1e-6)
        assert multipath.exceedance(occurrence, 0.0) == pytest.approx(1.0 - np.exp(-1.0))


@given(occurrence=st.floats(1e-6, 2.0), depth=st.floats(0.5, 70.0))
def test_inverse_undoes_the_law(occurrence, depth):
    probability = multipath.exceedance(occurrence, depth)
    back = multipath.depth_exceeded_db(occurrence, probability)
    assert multipath.exceedance(occurrence, back) == pytest.approx(probability, rel=1e-6)


@given(occurrence=st.floats(1e-6, 2.0), depth=st.floats(3.0, 70.0))
def test_the_occurrence_follows_from_one_point_of_the_law(occurrence, depth):
    probability = multipath.exceedance(occurrence, depth)
    assert multipath.occurrence_of(depth, probability) == pytest.approx(occurrence, rel=1e-6)


@given(occurrence=st.floats(1e-5, 2.0), depth=st.floats(0.0, 60.0), step=st.floats(0.1, 20.0))
def test_deeper_is_rarer(occurrence, depth, step):
    assert multipath.exceedance(occurrence, depth + step) < multipath.exceedance(occurrence, depth)


def test_reduction_is_capped():
    assert multipath.annual_reduction_db(65.0, 5.0, 30.0) == multipath.LARGEST_REDUCTION_DB


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: multipath.exceedance(-0.1, 10.0), "occurrence is -0.1; must be at least 0"),
        (lambda: multipath.annual_reduction_db(95.0, 10.0, 1.0), "latitude_deg is 95.0; must be -90 to 90"),
        (lambda: multipath.geoclimatic_factor_detailed(-200, -1.0), "terrain_roughness_m is -1.0; must be"),
    ],
)
def test_refuses(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_a_path_inclines_alike_from_either_end():
    def of(inclination):
        path = {"path_length_km": 40.0, "frequency_ghz": 8.0, "lower_antenna_m": 100.0}
        occurrence = multipath.worst_month_occurrence(1e-5, inclination_mrad=inclination, **path)
        return float(occurrence), float(multipath.annual_reduction_db(50.0, 40.0, inclination))

    assert of(-5.0) == of(5.0) != of(0.0)
