import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from reference import cases, rows
from scipy.stats import norm

from hopyears.models.air import rain_law
from hopyears.models.basics.calendar import MONTH_DAYS

laws = st.builds(
    rain_law.rain_law,
    arrays(np.float64, 12, elements=st.floats(-30, 35)),
    arrays(np.float64, 12, elements=st.floats(0.1, 900)),
)
TEMPERATE = rain_law.rain_law(
    [-1, 0, 4, 8, 12, 15, 17, 17, 13, 9, 3, 0], [40, 39, 51, 72, 104, 131, 124, 116, 88, 71, 64, 52]
)


@pytest.mark.parametrize("row", cases("p837_monthly", "T_MT_r_P0"))
def test_monthly_parameters(row):
    given_month = row["inputs"]
    month = given_month["month"] - 1
    law = rain_law.rain_law(np.full(12, given_month["T_C"]), np.full(12, given_month["MT_mm"]))
    found = law.mean_rate_mm_h[month], 100 * law.rain_probability[month]
    assert found == pytest.approx(row["value"], rel=row["rel_tol"])


def test_monthly_exceedance_of_the_same_places():
    months = {
        (r["inputs"]["lat"], r["inputs"]["lon"], r["inputs"]["month"]): r["inputs"]
        for r in rows("p837_monthly", "T_MT_r_P0")
    }
    checked = 0
    for row in rows("p837_monthly", "P_month_R_exceeded"):
        place = row["inputs"]
        month = months.get((place["lat"], place["lon"], place["month"]))
        if month is None:
            continue
        law = rain_law.rain_law(np.full(12, month["T_C"]), np.full(12, month["MT_mm"]))
        found = 100 * rain_law.monthly_exceedance(law, place["R_mmh"])[place["month"] - 1]
        assert found == pytest.approx(row["value"], rel=row["rel_tol"]), row["id"]
        checked += 1
    assert checked >= 5  # the others need the maps: see the climate tests


def test_annual_law_is_the_mean_over_the_days():
    by_hand = sum(
        days * p0 * norm.sf((np.log(20.0) - np.log(r) + 0.7938) / 1.26)
        for days, p0, r in zip(MONTH_DAYS, TEMPERATE.rain_probability, TEMPERATE.mean_rate_mm_h, strict=True)
    )
    assert rain_law.annual_exceedance(TEMPERATE, 20.0) == pytest.approx(by_hand / 365.25, rel=1e-12)


def test_rainfall_of_the_law_is_that_of_the_map():
    # The mean rate while it rains times the rainy hours gives the rainfall back, by definition of P0.
    hours = 24.0 * MONTH_DAYS * TEMPERATE.rain_probability
    assert hours * TEMPERATE.mean_rate_mm_h == pytest.approx(
        [40, 39, 51, 72, 104, 131, 124, 116, 88, 71, 64, 52], rel=1e-12
    )


def test_probability_of_rain_stops_at_seventy_percent():
    law = rain_law.rain_law(np.zeros(12), np.full(12, 1000.0))
    assert law.rain_probability == pytest.approx(np.full(12, 0.70))
    assert law.mean_rate_mm_h == pytest.approx(1000.0 / (24.0 * MONTH_DAYS * 0.70))


@settings(max_examples=30)
@given(laws, st.floats(-6, -0.5))
def test_inverses_undo(law, log_share):
    fraction = rain_law.annual_rain_probability(law) * 10.0**log_share
    rate = rain_law.annual_rain_rate_mm_h(law, fraction)
    assert rain_law.annual_exceedance(law, rate) == pytest.approx(fraction, rel=1e-9)
    month_rate = rain_law.monthly_rain_rate_mm_h(law, law.rain_probability[5] * 10.0**log_share)[5]
    back = rain_law.monthly_exceedance(law, month_rate)[5]
    assert back == pytest.approx(law.rain_probability[5] * 10.0**log_share, rel=1e-9)


@given(laws, st.floats(0, 200), st.floats(0, 200))
def test_harder_rain_is_rarer_and_no_month_is_worse_than_the_worst(law, one, other):
    low, high = sorted((one, other))
    assert rain_law.annual_exceedance(law, low) >= rain_law.annual_exceedance(law, high)
    worst = rain_law.monthly_exceedance(law, one).max()
    assert worst >= rain_law.annual_exceedance(law, one) * (1 - 1e-12)
    assert worst == rain_law.monthly_exceedance(law, one)[rain_law.worst_month(law, one)]


def test_ends_of_the_law():
    wet = rain_law.annual_rain_probability(TEMPERATE)
    assert rain_law.annual_exceedance(TEMPERATE, [0.0, -1.0]) == pytest.approx([wet, wet])
    assert rain_law.annual_rain_rate_mm_h(TEMPERATE, [wet * 1.001, 1.0]) == pytest.approx([0.0, 0.0])
    dry = rain_law.rain_law(np.full(12, 25.0), np.zeros(12))
    assert rain_law.annual_exceedance(dry, [0.0, 5.0]) == pytest.approx([0.0, 0.0])
    assert rain_law.annual_rain_rate_mm_h(dry, 1e-6) == 0.0
    assert rain_law.monthly_rain_rate_mm_h(dry, [1e-6, 1e-4]).shape == (2, 12)


def test_scaling_to_a_measured_rate_keeps_the_rainy_hours():
    law = rain_law.scaled_to_rate(TEMPERATE, 45.0)
    assert rain_law.annual_rain_rate_mm_h(law, 1e-4) == pytest.approx(45.0, rel=1e-9)
    assert law.rain_probability == pytest.approx(TEMPERATE.rain_probability)


def test_bad_input_names_field_value_and_range():
    with pytest.raises(
        ValueError, match=r"temperature_c is an array of shape \(11,\); must be twelve values"
    ):
        rain_law.rain_law(np.zeros(11), np.zeros(12))
    with pytest.raises(ValueError, match=r"rainfall_mm is -1.0; must be at least 0"):
        rain_law.rain_law(np.zeros(12), np.full(12, -1.0))
    with pytest.raises(ValueError, match=r"temperature_c is .*nan.*; must be finite"):
        rain_law.rain_law(np.full(12, np.nan), np.zeros(12))
    with pytest.raises(ValueError, match=r"temperature_c is .*288.*; must be -90 to 60"):
        rain_law.rain_law(np.full(12, 288.0), np.zeros(12))
    with pytest.raises(ValueError, match=r"probability is 0.0; must be above 0"):
        rain_law.annual_rain_rate_mm_h(TEMPERATE, [0.0, 1e-3])
    with pytest.raises(ValueError, match="rain_rate_001_mm_h is -3; must be above 0"):
        rain_law.scaled_to_rate(TEMPERATE, -3)
    with pytest.raises(ValueError, match=r"rain_probability is .*; must be 0 to 1"):
        rain_law.RainLaw(np.ones(12), np.full(12, 1.2))
    with pytest.raises(ValueError, match=r"mean_rate_mm_h is 0.0; must be above 0"):
        rain_law.RainLaw(np.zeros(12), np.full(12, 0.2))
    with pytest.raises(ValueError, match="read-only"):
        TEMPERATE.mean_rate_mm_h[0] = 1.0
