import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference import cases

from hopyears.models.air import rain_attenuation as rain
from hopyears.models.air import rain_scaling


def law_of(inputs):
    return rain.attenuation_law(
        inputs["d_km"],
        inputs["R001"],
        frequency_ghz=inputs["f_GHz"],
        polarisation_tilt_deg=rain.TILT_DEG[inputs["pol"]],
    )


paths = st.builds(
    lambda d, rate, f, tilt: rain.attenuation_law(d, rate, frequency_ghz=f, polarisation_tilt_deg=tilt),
    st.floats(0.1, 80),
    st.floats(1, 150),
    st.floats(4, 100),
    st.floats(0, 90),
)


@pytest.mark.parametrize("row", cases("p838_specific_attenuation"))
def test_specific_attenuation(row):
    given_rain = row["inputs"]
    tilt = rain.TILT_DEG[given_rain["pol"]]
    k, alpha = rain.coefficients(given_rain["f_GHz"], polarisation_tilt_deg=tilt)
    gamma = rain.specific_attenuation_db_km(given_rain.get("R_mmh", 0.0), k=k, alpha=alpha)
    assert {"k": k, "alpha": alpha, "gamma_R": gamma}[row["quantity"]] == pytest.approx(
        row["value"], rel=row["rel_tol"]
    )


@pytest.mark.parametrize("row", cases("official_examples", topic="P.838-3"))
def test_official_examples_of_specific_attenuation(row):
    path = row["inputs"]
    k, alpha = rain.coefficients(path["f"], polarisation_tilt_deg=path["tau"], elevation_deg=path["el"])
    gamma = rain.specific_attenuation_db_km(path["R"], k=k, alpha=alpha)
    assert [k, alpha, gamma] == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases("p530_rain", "A_p"))
def test_attenuation_exceeded(row):
    found = rain.attenuation_db(law_of(row["inputs"]), row["inputs"]["p_percent"] / 100)
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("row", cases("p530_rain", "p_for_A_30dB"))
def test_exceedance(row):
    assert 100 * rain.exceedance(law_of(row["inputs"]), 30.0) == pytest.approx(
        row["value"], rel=row["rel_tol"]
    )


@pytest.mark.parametrize("row", cases("p530_rain", "distance_factor_r"))
def test_path_factor(row):
    path = row["inputs"]
    _, alpha = rain.coefficients(path["f_GHz"], polarisation_tilt_deg=rain.TILT_DEG[path["pol"]])
    found = rain.path_factor(path["d_km"], path["R001"], alpha=alpha, frequency_ghz=path["f_GHz"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize(
    "row", [*cases("p530_rain", "C1"), *cases("p530_rain", "C2"), *cases("p530_rain", "C3")]
)
def test_exponents(row):
    found = rain.exponents(row["inputs"]["f_GHz"])[int(row["quantity"][1]) - 1]
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@pytest.mark.parametrize("tilt", [0.0, 45.0, 90.0])
@pytest.mark.parametrize(
    ("length", "frequency", "rate"), [(2, 38, 30), (8, 23, 42), (20, 15, 60), (40, 7, 25)]
)
def test_agrees_with_the_general_library_where_it_reads_the_text_alike(length, frequency, rate, tilt):
    # itur 0.4.0, P.530-17: at 0.01 % and below 10 GHz its reading of C0 does not matter.
    from itur.models.itu530 import rain_attenuation

    law = rain.attenuation_law(length, rate, frequency_ghz=frequency, polarisation_tilt_deg=tilt)
    for percent in (0.01,) if frequency >= 10 else (0.001, 0.01, 0.1, 1.0):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs = rain_attenuation(48, 10, length, frequency, 0, percent, tau=tilt, R001=rate).value
        # C1 0.12^... leaves 1e-5 of its own at 0.01 %, alike in both
        assert rain.attenuation_db(law, percent / 100) == pytest.approx(float(theirs), rel=2e-5)


@given(paths, st.floats(-9, 0))
def test_exceedance_and_attenuation_undo_each_other(law, log_fraction):
    attenuation = rain.attenuation_db(law, 10.0**log_fraction)
    assert np.log10(rain.exceedance(law, attenuation)) == pytest.approx(log_fraction, abs=1e-7)


@given(paths)
def test_rarer_is_always_deeper(law):
    attenuation = rain.attenuation_db(law, np.logspace(-10, 0, 400))
    assert np.all(np.diff(attenuation) < 0)


@pytest.mark.parametrize("frequency", [6.0, 23.0, 80.0])
def test_the_law_below_a_thousandth_of_a_percent_joins_without_a_kink(frequency):
    law = rain.attenuation_law(5.0, 40.0, frequency_ghz=frequency, polarisation_tilt_deg=90.0)
    step = 1e-4
    fractions = 1e-5 * 10.0 ** np.array([-step, 0.0, step])
    logs = np.log10(rain.attenuation_db(law, fractions))
    assert logs[0] - logs[1] == pytest.approx(logs[1] - logs[2], rel=1e-3)


def test_shapes_broadcast_over_paths_and_fractions():
    law = rain.attenuation_law(
        np.array([3.0, 10.0, 30.0]), 40.0, frequency_ghz=18.0, polarisation_tilt_deg=90.0
    )
    table = rain.attenuation_db(law, np.array([[1e-5], [1e-4]]))
    assert table.shape == (2, 3)
    assert rain.exceedance(law, table) == pytest.approx(np.broadcast_to([[1e-5], [1e-4]], (2, 3)))


def test_no_rain_no_attenuation():
    law = rain.attenuation_law([5.0, 5.0], [0.0, 30.0], frequency_ghz=18.0, polarisation_tilt_deg=90.0)
    assert rain.attenuation_db(law, 1e-4)[0] == 0.0
    assert rain.exceedance(law, 3.0)[0] == 0.0
    assert rain.exceedance(law, [0.0, -2.0]) == pytest.approx([1.0, 1.0])
    assert 0.0 < rain.exceedance(law, 1e-9)[1] <= 1.0
    assert rain.exceedance(law, np.inf)[1] == 0.0


def test_bad_probability_is_refused():
    law = rain.attenuation_law(5.0, 30.0, frequency_ghz=18.0, polarisation_tilt_deg=90.0)
    with pytest.raises(ValueError, match=r"probability is 0.0 to 0.1; must be above 0, at most 1"):
        rain.attenuation_db(law, [0.0, 0.1])
    with pytest.raises(ValueError, match="read-only"):
        law.c1[()] = 2.0


@pytest.mark.parametrize("row", [*cases("p530_rain", "A_V_from_A_H"), *cases("p530_rain", "A_H_from_A_V")])
def test_polarisation_scaling(row):
    if row["quantity"] == "A_V_from_A_H":
        found = rain_scaling.vertical_from_horizontal_db(row["inputs"]["A_H_dB"])
    else:
        found = rain_scaling.horizontal_from_vertical_db(row["inputs"]["A_V_dB"])
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@given(st.floats(0, 2000))
def test_polarisation_scaling_undoes_itself(attenuation):
    there = rain_scaling.vertical_from_horizontal_db(attenuation)
    assert there <= attenuation
    assert rain_scaling.horizontal_from_vertical_db(there) == pytest.approx(attenuation, rel=1e-9, abs=1e-12)


def test_polarisation_scaling_beyond_its_reach_is_infinite():
    assert rain_scaling.horizontal_from_vertical_db(300.0) == np.inf


@pytest.mark.parametrize("row", cases("p530_rain", "N10s"))
def test_events(row):
    fraction = row["inputs"]["p_percent"] / 100
    assert rain_scaling.event_count_per_year(fraction) == pytest.approx(row["value"], rel=row["rel_tol"])


def test_no_time_in_a_fade_is_no_event():
    assert rain_scaling.event_count_per_year(0.0) == 0.0
    assert rain_scaling.event_count_per_year(1e-7) == pytest.approx(0.315576)  # 3.16 s a year, 10 s each
