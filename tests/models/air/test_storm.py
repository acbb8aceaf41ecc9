"""Drift of systems by latitude and month, as general circulation has it; how systems and storms gather."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hopyears.models.air.storm import DEFAULT_STORMS, drift_by_latitude


def test_westerlies_and_trades():
    """Peixoto and Oort 1992, chapter 7 (from memory): west winds poleward of the ridge, east winds within."""
    speed, heading, spread = np.moveaxis(drift_by_latitude([60.0, -60.0, 5.0, -5.0], 0), -1, 0)
    assert heading == pytest.approx([67.5, 112.5, 270.0, 270.0])
    assert speed == pytest.approx([DEFAULT_STORMS.mean_drift_km_h] * 2 + [24.0] * 2)
    assert spread == pytest.approx([DEFAULT_STORMS.drift_spread_deg] * 4)


def test_the_ridge_moves_with_the_sun():
    """At 26 degrees north systems go with the westerlies in January and with the trades in July."""
    _, january, spread = drift_by_latitude(26.0, 0)
    _, july, _ = drift_by_latitude(26.0, 6)
    assert january < 180.0 < july
    assert 45.0 < spread < 90.0


@given(st.floats(0.1, 90.0), st.integers(0, 11))
def test_half_a_year_turns_one_hemisphere_into_the_other(latitude_deg, month):
    north = drift_by_latitude(latitude_deg, month)
    south = drift_by_latitude(-latitude_deg, (month + 6) % 12)
    assert south[0] == pytest.approx(north[0])
    assert south[1] == pytest.approx((180.0 - north[1]) % 360.0)
    assert south[2] == pytest.approx(north[2])


def test_storms_of_wetter_months_have_more_cells_within_limits():
    """By rate and by amount: the larger; the closed form of either inverted half-way between the limits."""
    model = DEFAULT_STORMS
    middle = 0.5 * (model.fewest_cells + model.most_cells)
    rate = (middle / model.cells_per_rate) ** (1.0 / model.cells_power)
    assert model.cells_per_storm(0.1, 0.1) == model.fewest_cells
    assert model.cells_per_storm(50.0, 0.001) == model.cells_per_storm(1.0, 1.0) == model.most_cells
    assert model.cells_per_storm(rate, 1e-6) == pytest.approx(middle)
    assert model.cells_per_storm(1.0, middle / model.cells_per_amount) == pytest.approx(middle)
    assert model.peak_correlation == model.system_correlation + model.storm_correlation < 1.0


def test_systems_of_dry_months_hold_less():
    model = DEFAULT_STORMS
    amount = model.gather_amount_mm_h
    assert model.gathered_share(2.0, 0.0) == model.least_gathered
    assert model.gathered_share(2.0, 0.25 * amount) == pytest.approx(0.5 * (1.0 + model.least_gathered))
    assert model.gathered_share(amount, 1.0) == model.gathered_share(5.0, 1.0) == 1.0
    with pytest.raises(ValueError, match="least_gathered is 2"):
        replace(model, least_gathered=2.0)
