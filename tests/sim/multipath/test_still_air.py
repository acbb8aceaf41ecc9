"""Nights over the globe, and hours that rain takes."""

import numpy as np
import pytest
from fade_shares import night_places, touched
from hypothesis import given
from hypothesis import strategies as st
from slow_nights import drawn_hours, out_of_rain

from hopyears.models.basics.calendar import month_edges_s
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.multipath.night_law import night_law
from hopyears.sim.multipath.night_loops import SLOT_S
from hopyears.sim.multipath.nights import wet_hours
from hopyears.sim.multipath.still_air import (
    MOST_NIGHTS,
    NightWeather,
    move_out_of_rain,
    rain_of,
    sort_stillest,
    tile_weights,
)
from hopyears.sim.streams import Streams


def shared(first, second):
    """Correlation of the weighted sums of two places."""
    a, b = tile_weights(*first), tile_weights(*second)
    square = sum(w * w for w in a.values()) * sum(w * w for w in b.values())
    return sum(w * b.get(tile, 0.0) for tile, w in a.items()) / np.sqrt(square)


@given(st.floats(-78.0, 78.0), st.floats(-180.0, 180.0), st.floats(0.0, 60.0), st.floats(0.0, 2.0 * np.pi))
def test_nights_correlate_by_distance_alone(latitude, longitude, distance_km, bearing):
    """exp(-(d/20 km)^2) anywhere, also across the date line, within 0.03."""
    north = latitude + distance_km * np.cos(bearing) / 111.19
    east = longitude + distance_km * np.sin(bearing) / (111.19 * np.cos(np.radians((latitude + north) / 2)))
    if not -180.0 <= east <= 180.0:
        east -= np.copysign(360.0, east)
    wanted = np.exp(-((distance_km / 20.0) ** 2))
    assert shared((latitude, longitude), (north, east)) == pytest.approx(wanted, abs=0.03)


def test_nights_of_a_place_are_the_weighted_sum_of_its_tiles():
    place = 45.0, 11.0
    weather = NightWeather(Streams(4, 0), 400, [(45.4, 11.3), place])  # which have some tiles in common
    weights = tile_weights(*place)
    tiles = [Streams(4, 0).generator("nights", *tile).standard_normal(400) for tile in weights]
    shares = np.array(list(weights.values()))
    np.testing.assert_allclose(weather.at(1), shares @ tiles / np.linalg.norm(shares), rtol=0, atol=1e-12)


def test_nights_are_standard_normal_anywhere():
    """Mean and variance of 36,525 nights, within 4 standard errors."""
    weather = NightWeather(Streams(1, 0), 36_525, [(50.0, 10.0), (0.01, -179.99), (-71.3, 3.0)])
    for place in range(3):
        numbers = weather.at(place)
        assert abs(numbers.mean()) < 4.0 / np.sqrt(36_525)
        assert abs(numbers.var() - 1.0) < 4.0 * np.sqrt(2.0 / 36_525)


@st.composite
def month_with_rain(draw):
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    n = draw(st.integers(1, 31))
    level = np.where(random.random(n) < draw(st.floats(0.0, 1.0)), random.random(n), 0.0)
    return level, random.random(n), random.random(n) < draw(st.floats(0.0, 1.0)), draw(st.integers(0, 20))


@given(month_with_rain())
def test_rain_takes_the_weakest_activity_of_its_month_and_hour(drawn):
    """A month keeps its activities at an hour; none in rain is stronger than any in the dry."""
    level, stillness, rain, begins = drawn
    goes = moved_out(level, stillness, rain, begins)
    assert np.array_equal(np.sort(goes), np.arange(len(level)))
    assert np.array_equal(goes, out_of_rain(level, stillness, rain))
    after = level[np.argsort(goes)]
    assert after[rain].max(initial=0.0) <= after[~rain].min(initial=np.inf)


def moved_out(level, stillness, rain, begins):
    """Where the activity of each night of a month goes that begins with this night of the block."""
    room, goes = np.empty((3, MOST_NIGHTS), dtype=np.int64), np.empty(len(level), dtype=np.int32)
    sort_stillest(stillness, room[0])
    row = np.packbits(np.concatenate([np.ones(begins, dtype=bool), rain]), bitorder="little")
    move_out_of_rain(level, rain_of(row, begins, begins + len(level)), room, goes)
    return goes


def test_without_rain_nothing_moves():
    level = np.random.default_rng(2).random(30)
    assert np.array_equal(moved_out(level, level, np.zeros(30, dtype=bool), 0), np.arange(30))


def test_no_fading_while_rain_is_near_and_the_same_law():
    """Rain for 4 h every fourth day: months keep their hours' activities, and all fading is in the dry."""
    law = night_law(
        occurrence_worst=0.05, annual_reduction_db=6.0, latitude_deg=45.0, longitude_deg=0.0, terrain="hilly"
    )
    start_s = np.arange(22.7 * 3600.0, 10 * SECONDS_PER_YEAR, 4 * 86_400.0)
    rain = start_s, start_s + 4 * 3600.0
    places = night_places([0.0])
    (free,) = drawn_hours(Streams(3, 0), places, [law], 10)
    (kept,) = drawn_hours(Streams(3, 0), places, [law], 10, [wet_hours([rain], law, 10)])
    assert touched(*rain, free.start_s, SLOT_S).any()
    assert not touched(*rain, kept.start_s, SLOT_S).any()
    for first, last in zip(month_edges_s(10)[:-1], month_edges_s(10)[1:], strict=True):
        before, after = (
            hop.occurrence[(hop.start_s >= first) & (hop.start_s < last)] for hop in (free, kept)
        )
        assert np.sort(before) == pytest.approx(np.sort(after))


@pytest.mark.parametrize("longitude_deg", [0.0, 137.3])
def test_rain_is_near_an_hour_that_it_touches(longitude_deg):
    """At either end; hours beyond the block's end are those of its beginning."""
    law = night_law(
        occurrence_worst=0.05, annual_reduction_db=6.0, latitude_deg=45.0, longitude_deg=longitude_deg
    )
    random, near = np.random.default_rng(3), []
    for _ in range(2):
        edges_s = np.sort(random.choice(2 * 8766 * 4, 1400, replace=False)) * 900.0
        near.append((edges_s[::2].copy(), edges_s[1::2].copy()))
    near[0][0][0], near[1][0][0] = 0.0, 1.0
    evening_s = np.arange(730) * 86_400.0 + law.night_start_s
    slots_s = (evening_s + np.arange(10)[:, None] * SLOT_S) % (2 * SECONDS_PER_YEAR)
    wanted = np.any([touched(*each, slots_s, SLOT_S) for each in near], axis=0)
    assert 0.05 < wanted.mean() < 0.95
    found = np.unpackbits(wet_hours(near, law, 2), axis=1, count=730, bitorder="little")
    assert np.array_equal(found, wanted)
