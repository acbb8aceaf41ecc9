"""Power of a site by the clock: fuel that runs out, and a sun that rises by longitude."""

from dataclasses import replace

import numpy as np
import pytest
from bare_plant import HOUR, bare_plant, unit_kind
from plant_entries import generator, sun, supply

from hopyears.models.basics.calendar import month_of
from hopyears.models.basics.units import SECONDS_PER_DAY, SECONDS_PER_YEAR
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.plant import PlantSite
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.power import all_events
from hopyears.sim.streams import Streams


def simulated(power, longitude_deg=10.0):
    site = PlantSite("here", 50.0, longitude_deg, power=power)
    plant = bare_plant(0, unit_kind(1e9, 1.0), crews=1, site=site)
    return simulate_failures(plant, Streams(1, 0), 2 * SECONDS_PER_YEAR)


def test_a_generator_stops_when_its_fuel_is_spent():
    # Mains away for 10 h each time, no battery: dark for half an hour, then from 3.5 h on.
    engine = generator(start_failure=0.0, start_s=0.5 * HOUR, fuel_h=3.0)
    mains = {"mains_outages_per_year": 20.0, "mains_outage": Law.fixed(10.0)}
    log = simulated(supply(**mains, battery_h=0.0, battery_life_years=100.0, generator=engine))
    lost_s, back_s = log.sites.mains_lost.of(0)
    whole = (lost_s > 0.0) & (back_s - lost_s == pytest.approx(10 * HOUR)) & (back_s < log.duration_s)
    assert np.count_nonzero(whole) >= 5
    dark_s, lit_s = log.sites.power_down.of(0)
    for start_s in lost_s[whole]:
        inside = (dark_s >= start_s - 1.0) & (dark_s < start_s + 10 * HOUR)
        assert dark_s[inside] - start_s == pytest.approx([0.0, 3.5 * HOUR], abs=1e-3)
        assert lit_s[inside] - start_s == pytest.approx([0.5 * HOUR, 10 * HOUR], abs=1e-3)


@pytest.mark.parametrize(
    ("longitude_deg", "first_hour", "last_hour"), [(90.0, 0.0, 12.0), (-90.0, 12.0, 24.0)]
)
def test_a_solar_site_comes_back_by_its_own_day(longitude_deg, first_hour, last_hour):
    # The sun shines from 6 to 18 h of local solar time: from 0 to 12 h UTC at 90 degrees east. A small
    # battery is empty by night; power comes back while the sun shines.
    log = simulated(supply(solar=sun(20.0), battery_h=8.0, battery_life_years=100.0), longitude_deg)
    hour = log.sites.power_down.of(0)[1] % SECONDS_PER_DAY / HOUR
    assert len(hour) > 200
    assert np.mean((hour > first_hour) & (hour < last_hour)) > 0.99  # the block's end may cut the last


def test_the_sun_of_each_month_is_its_own():
    """More than is needed but in November, when there is hardly any: dark then, and at most days after."""
    harvest_h = tuple(2.0 if month == 10 else 60.0 for month in range(12))
    november = replace(sun(60.0), harvest_h=harvest_h)
    log = simulated(supply(solar=november, battery_h=72.0, battery_life_years=100.0))
    dark_s, lit_s = log.sites.power_down.of(0)
    assert np.sum(lit_s - dark_s) > 2 * 20 * SECONDS_PER_DAY
    assert set(month_of(dark_s).tolist()) == {10}
    assert np.all(month_of(lit_s - 3 * SECONDS_PER_DAY) == 10)


@pytest.mark.parametrize("end", [0.5, 7.5, 25.5])
def test_events_are_drawn_until_all_have_passed_the_end(end):
    asked = []

    def of(n_events):
        asked.append(n_events)
        times = np.arange(1.0, n_events + 1.0) * np.array([[1.0], [3.0]])
        return (np.where(times < end, times, np.inf),)

    (found,) = all_events(4.0, of)
    assert np.sum(np.isfinite(found[0])) == int(end)
    assert not np.isfinite(found[:, -1]).any()
    assert len(asked) == (1 if end < 13.0 else 2)  # 4 + 3 sqrt(4) + 3 are enough, but for the last
