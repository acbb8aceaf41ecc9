import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reference import cases

from hopyears.models.air import cross_polar


@pytest.mark.parametrize("row", cases("p530_xpd_snow", "P_XP"))
def test_outage_in_clear_air(row):
    path = row["inputs"]
    margin = cross_polar.clear_air_margin_db(
        path["P0"],
        antenna_discrimination_db=path["XPDg_dB"],
        required_c_i_db=path["C0_I_dB"],
        canceller_db=path["XPIF_dB"],
        coupling=path["kXP"],
    )
    assert cross_polar.clear_air_outage(path["P0"], margin) == pytest.approx(row["value"], rel=row["rel_tol"])


def test_antennas_better_than_35_db_count_as_40():
    margins = cross_polar.clear_air_margin_db(
        0.01, antenna_discrimination_db=[34, 35, 36, 45], required_c_i_db=20
    )
    assert np.diff(margins) == pytest.approx([1.0, 0.0, 0.0])
    # P.530-18, section 4.1: XPD0 = XPDg + 5 up to 35, else 40; both branches meet at 35


@pytest.mark.parametrize("row", cases("p530_xpd_snow", "P_XPR"))
def test_outage_in_rain(row):
    path = row["inputs"]
    found = cross_polar.rain_outage(
        path["A001_dB"],
        frequency_ghz=path["f_GHz"],
        required_c_i_db=path["C0_I_dB"],
        canceller_db=path["XPIF_dB"],
        u0_db=path["U0"],
    )
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


@given(st.floats(1, 90), st.floats(6, 42), st.floats(10, 40), st.floats(0, 25))
def test_outage_in_rain_behaves(attenuation_001, frequency, required, canceller):
    at = {"frequency_ghz": frequency, "required_c_i_db": required}
    plain = cross_polar.rain_outage(attenuation_001, **at)
    helped = cross_polar.rain_outage(attenuation_001, canceller_db=canceller, **at)
    assert 0.0 < helped <= plain <= 1.0
    assert cross_polar.rain_outage(0.0, **at) == 0.0


@given(st.floats(0.1, 80), st.floats(6, 42), st.floats(0, 25))
def test_discrimination_at_the_limiting_attenuation_is_the_requirement(attenuation, frequency, canceller):
    discrimination = cross_polar.rain_discrimination_db(attenuation, frequency_ghz=frequency)
    limit = cross_polar.limiting_attenuation_db(
        frequency_ghz=frequency, required_c_i_db=discrimination + canceller, canceller_db=canceller
    )
    assert limit == pytest.approx(attenuation, rel=1e-9)


def test_discrimination_by_hand_and_without_rain():
    # U = 15 + 30 log10(18) = 52.66, V = 12.8 * 18^0.19 = 22.17; at 20 dB: 52.66 - 28.84
    assert cross_polar.rain_discrimination_db(20.0, frequency_ghz=18.0) == pytest.approx(23.82, abs=0.02)
    assert cross_polar.rain_discrimination_db([0.0, -1.0], frequency_ghz=18.0) == pytest.approx(
        [np.inf, np.inf]
    )
    below, above = cross_polar.rain_discrimination_db(20.0, frequency_ghz=[20.0, 20.0001])
    assert below == pytest.approx(above, abs=0.05)  # V = 22.6 on both sides of 20 GHz


margins = {
    "clear_snr_db": st.floats(20, 70),
    "required_snr_db": st.floats(5, 38),
    "frequency_ghz": st.floats(6, 42),
    "canceller_db": st.floats(0, 25),
    "antenna_discrimination_db": st.floats(25, 45),
}


def budget_db(attenuation_db, *, clear_snr_db, frequency_ghz, canceller_db, antenna_discrimination_db):
    """Signal over the sum of noise and what crosses over in rain and antennas, after the canceller."""
    in_rain_db = cross_polar.rain_discrimination_db(attenuation_db, frequency_ghz=frequency_ghz)
    losses_db = np.array(
        [clear_snr_db - attenuation_db, in_rain_db + canceller_db, antenna_discrimination_db + canceller_db]
    )
    return -10.0 * np.log10(np.sum(10.0 ** (-losses_db / 10.0)))


@given(**margins)
def test_co_channel_margin_is_where_the_ratio_meets_the_requirement(**link):
    required = link.pop("required_snr_db")
    margin = cross_polar.co_channel_fade_margin_db(required_snr_db=required, **link)
    if budget_db(0.0, **link) <= required:
        assert margin == pytest.approx(0.0, abs=1e-9)
        return
    assert budget_db(margin, **link) == pytest.approx(required, abs=1e-6)
    assert margin <= link["clear_snr_db"] - required


def test_co_channel_margin_between_its_two_limits():
    link = {"required_snr_db": [10.0, 20.0, 30.0], "frequency_ghz": 18.0}
    noise_only = cross_polar.co_channel_fade_margin_db(clear_snr_db=55.0, canceller_db=200.0, **link)
    assert noise_only == pytest.approx([45.0, 35.0, 25.0], abs=1e-6)
    no_noise = cross_polar.co_channel_fade_margin_db(clear_snr_db=1000.0, canceller_db=15.0, **link)
    by_p530 = cross_polar.limiting_attenuation_db(
        frequency_ghz=18.0, required_c_i_db=np.array([10.0, 20.0, 30.0]), canceller_db=15.0
    )
    assert no_noise == pytest.approx(by_p530, rel=1e-6)


def test_better_canceller_never_costs_margin():
    margins_db = cross_polar.co_channel_fade_margin_db(
        clear_snr_db=60.0, required_snr_db=25.0, frequency_ghz=18.0, canceller_db=np.arange(0.0, 40.0)
    )
    assert np.all(np.diff(margins_db) > 0)
