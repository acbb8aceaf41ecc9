from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from interval_rows import intervals_of_rows
from plant_entries import generator, sun, supply
from scipy.integrate import quad

from hopyears.models.air.storm_rate import event_times_s
from hopyears.models.basics.intervals import empty_intervals
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.power import (
    battery_capacity_s,
    battery_down,
    dark_h_per_year,
    fair_weather_rate,
)
from hopyears.models.equipment.solar import Solar, daily_harvest_h, solar_down


def test_battery_runs_down_and_recharges():
    lost = intervals_of_rows([[(0.0, 3.0), (5.0, 9.0), (100.0, 103.0)], [(0.0, 5.0)]])
    dark = battery_down(lost, np.full(4, 4.0), np.array([8.0, 8.0]))
    # Site 0: 1 of 4 left after the first outage, 2 h of charging add 1, so dark from 5 + 2.
    assert dark.of(0)[0].tolist() == [7.0]
    assert dark.of(0)[1].tolist() == [9.0]
    assert dark.of(1)[0].tolist() == [4.0]


@given(
    st.lists(st.tuples(st.floats(0.1, 5), st.floats(0.1, 5)), min_size=1, max_size=8),
    st.floats(0.0, 6.0),
    st.floats(0.5, 20.0),
)
def test_more_battery_is_less_darkness(gaps, battery, recharge):
    edges = np.cumsum([step for pair in gaps for step in pair])
    lost = intervals_of_rows([list(zip(edges[0::2], edges[1::2], strict=True))])
    n = len(lost.start_s)
    less = battery_down(lost, np.full(n, battery), np.array([recharge])).total_s()[0]
    # The same charging current: the time to recharge grows with the capacity.
    if battery > 0.1:
        more = battery_down(lost, np.full(n, 2 * battery), np.array([2 * recharge])).total_s()[0]
        assert more <= less + 1e-9
    assert 0.0 <= less <= lost.total_s()[0] + 1e-9


def test_ageing_battery():
    years = np.array([0.0, 0.5, 0.999999, 1.0])
    capacity_h = battery_capacity_s(years, np.full(4, 10.0), np.ones(4), np.zeros(4), np.full(4, 0.8)) / 3600
    np.testing.assert_allclose(capacity_h, [10.0, 9.0, 8.0, 10.0], atol=1e-4)


def test_dark_time_of_a_supply():
    plain = supply(
        mains_outages_per_year=2.0, mains_outage=Law.exponential(2.0), battery_h=4.0, battery_end_share=1.0
    )
    assert dark_h_per_year(plain) == pytest.approx(2.0 * 2.0 * np.exp(-2.0))
    assert dark_h_per_year(plain, storm_share=0.1) == pytest.approx(4.0 * np.exp(-2.0) * (0.9 + 0.6))
    backed = replace(plain, generator=generator(start_failure=0.02, start_s=360.0, fuel_h=1e6))
    assert dark_h_per_year(backed) == pytest.approx(0.02 * dark_h_per_year(plain))
    with pytest.raises(ValueError, match="solar is set"):
        dark_h_per_year(supply(solar=sun(30.0)))


def test_fair_weather_rate_keeps_the_mean():
    rate = fair_weather_rate(1.5, 6.0, 0.08)
    assert rate * (0.92 + 6.0 * 0.08) == pytest.approx(1.5)


def test_event_times_follow_the_rate():
    storms = intervals_of_rows([[(10.0, 20.0), (30.0, 40.0)], []])
    gaps = np.array([[5.0, 10.0, 30.0, 1.0], [5.0, 10.0, 30.0, 1e9]])
    times = event_times_s(
        gaps, storms, span_s=(0.0, 60.0), rate_outside=np.ones(2), rate_inside=np.array([3.0, 3.0])
    )
    # Row 0: expected number 10 at 10 s, 40 at 20 s, 50 at 30 s: 5, 15, 45, 46.
    np.testing.assert_allclose(times[0], [5.0, 10.0 + 5.0 / 3.0, 25.0, 26.0])
    np.testing.assert_allclose(times[1], [5.0, 15.0, 45.0, np.inf])
    paused = event_times_s(
        gaps[1:], empty_intervals(1), span_s=(0.0, 60.0), rate_outside=np.ones(1), rate_inside=np.ones(1),
        pause_s=np.full((1, 4), 7.0),
    )  # fmt: skip
    np.testing.assert_allclose(paused[0], [5.0, 22.0, 59.0, np.inf])


def test_no_events_where_there_is_no_rate():
    storms = intervals_of_rows([[(10.0, 20.0)]])
    times = event_times_s(
        np.ones((1, 3)), storms, span_s=(0.0, 100.0), rate_outside=np.zeros(1), rate_inside=np.full(1, 0.2)
    )
    np.testing.assert_allclose(times[0], [15.0, np.inf, np.inf])


@given(st.floats(1.0, 40.0), st.floats(6.0, 100.0))
def test_solar_site_uses_what_it_harvests(daily_h, battery_h):
    n_days = 200
    dark = solar_down(
        np.full(n_days, daily_h), battery_s=battery_h * 3600, reconnect_share=0.2, first_midnight_s=0.0
    )
    lit_h = n_days * 24 - dark.total_s()[0] / 3600
    assert lit_h <= n_days * daily_h + battery_h + 1e-6
    if daily_h <= 12.0:
        # By day the load takes all that comes and nothing is thrown away: energy in = energy out.
        assert lit_h >= n_days * daily_h - 0.2 * battery_h - 1e-6


def test_solar_site_with_sun_enough_is_never_dark():
    dark = solar_down(np.full(100, 30.0), battery_s=20 * 3600.0, reconnect_share=0.2, first_midnight_s=0.0)
    assert len(dark.start_s) == 0


def test_daily_harvest_has_its_mean_and_persistence():
    normal = np.random.default_rng(3).standard_normal(100_000)
    harvest = daily_harvest_h(np.full(100_000, 20.0), normal, ln_sd=0.6, day_correlation=0.4)
    logs = np.log(harvest)
    # The mean of 1e5 lognormals correlated by 0.4: standard error about 20 x 0.66 x 1.5 / sqrt(1e5) = 0.06.
    assert harvest.mean() == pytest.approx(20.0, abs=4 * 0.065)
    assert np.corrcoef(logs[1:], logs[:-1])[0, 1] == pytest.approx(0.4, abs=4 * 0.003)


def test_impossible_supplies_are_refused():
    with pytest.raises(ValueError, match="battery_h is -1; must be at least 0"):
        supply(battery_h=-1)
    with pytest.raises(ValueError, match=r"charge to switch on again is 0.0 s; must be above 0"):
        solar_down(np.full(9, 9.0), battery_s=0.0, reconnect_share=0.2, first_midnight_s=0.0)
    with pytest.raises(ValueError, match="must be 12 numbers"):
        Solar((1.0,) * 11, ln_sd=0.6, day_correlation=0.4, reconnect_share=0.2)
    with pytest.raises(ValueError, match="day_correlation is 1"):
        Solar((1.0,) * 12, ln_sd=0.6, day_correlation=1.0, reconnect_share=0.2)


@pytest.mark.parametrize("end_share", [1.0, 0.5])
def test_dark_time_with_ageing_batteries_and_a_generator_that_runs_dry(end_share):
    """The same by quadrature over the battery's age; a start that fails leaves the battery alone."""
    backed = supply(
        mains_outages_per_year=2.0,
        mains_outage=Law.exponential(5.0),
        battery_h=4.0,
        battery_end_share=end_share,
        generator=generator(start_failure=0.1, start_s=1800.0, fuel_h=6.0),
    )

    def dark_h(age):
        battery_h = 4.0 * (1.0 - (1.0 - end_share) * age)
        alone, fuel_out = np.exp(-battery_h / 5.0), np.exp(-(0.5 + 6.0 + battery_h) / 5.0)
        waiting = max(
            alone - np.exp(-0.5 / 5.0), 0.0
        )  # dark until the engine runs: a battery of half an hour
        return 2.0 * 5.0 * (0.1 * alone + 0.9 * (waiting + fuel_out))

    assert dark_h_per_year(backed) == pytest.approx(quad(dark_h, 0.0, 1.0)[0], rel=1e-4)
