"""Nights of multipath keep away from rain of both kinds, in a drawn block."""

import numpy as np
import pytest
from fade_shares import touched
from slow_nights import drawn_hours

from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.storm import DEFAULT_STORMS
from hopyears.sim.multipath.night_law import night_law
from hopyears.sim.multipath.night_loops import SLOT_S
from hopyears.sim.multipath.nights import NightPlaces, wet_hours
from hopyears.sim.multipath.still_air import LEAST_RAIN_MM_H, RAIN_NEAR_KM
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.rain_kernel import HopLine, rain_knots
from hopyears.sim.rain.storm_intervals import storm_intervals
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.rain.weather import map_weather
from hopyears.sim.streams import Streams


@pytest.mark.slow
@pytest.mark.parametrize(("place", "most"), [((49.0, 15.0), 0.02), ((60.4, 5.3), 0.05)])
def test_hardly_any_fading_in_rain_of_either_kind(place, most):
    """Share of the nights' activity in hours in which a hop of 20 km has 0.2 mm/h in the mean, over 4 years;
    still, clear air is common practice. Without rain's part in it the share is many times that."""
    weather = map_weather(place, Region(-25.0, -25.0, 25.0, 25.0), DEFAULT_POPULATION, DEFAULT_STORMS)
    field = draw_storms(Streams(5, 0), weather, Region(-25.0, -25.0, 25.0, 25.0), n_years=4)
    course = rain_knots(field, HopLine(-10.0, 0.0, 10.0, 0.0, 0.05, 1.0), lowest_threshold_db=0.2)
    wet = np.concatenate([[0], (course.attenuation_db > 0.2).astype(int), [0]])
    turns = np.flatnonzero(np.diff(wet))
    raining = course.time_s[turns[::2]], course.time_s[turns[1::2] - 1]
    ends = [[-10.0, 0.0], [10.0, 0.0]]
    near = storm_intervals(field, ends, distance_km=RAIN_NEAR_KM, least_peak_mm_h=LEAST_RAIN_MM_H)
    law = night_law(
        occurrence_worst=0.05,
        annual_reduction_db=6.0,
        latitude_deg=place[0],
        longitude_deg=place[1],
        terrain="hilly",
    )
    places = NightPlaces(("one",), (place[0],), (place[1],))
    shares = []
    for wet in (None, [wet_hours([near.of(0), near.of(1)], law, 4)]):
        (active,) = drawn_hours(Streams(5, 0), places, [law], 4, wet)
        in_rain = touched(*raining, active.start_s, SLOT_S)
        shares.append(active.occurrence[in_rain].sum() / active.occurrence.sum())
    assert shares[1] < most
    assert shares[0] > 5.0 * shares[1]
