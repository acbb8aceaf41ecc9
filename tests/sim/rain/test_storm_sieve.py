"""What is left out many at a time, against what ``storm_loops`` draws of the same words one by one."""

import numpy as np
import pytest
from scipy import stats

from hopyears.sim.rain import storm_loops, storm_sieve
from hopyears.sim.rain.storm_sieve import BLUR, LANES, NOWHERE
from hopyears.sim.streams import keyed_uniform

N = 25 * LANES
SPREAD_KM, LASTS_S, MEAN_LIFE_S, REACH_KM = 9.0, 7200.0, 2880.0, 6.0
REGION = np.array([-30.0, -10.0, 20.0, 40.0])
CENTRES = [(47.0, 9.0), (-35.0, 179.2), (63.0, -20.0)]


def plain(module, loop):
    """A loop as it is written, not compiled."""
    return getattr(module, loop).py_func


@pytest.fixture(scope="module")
def members():
    """Keys, lives [s] at the most, and lives as they are, of members of one storm."""
    words, lives = np.empty(N, np.uint64), np.empty(N)
    plain(storm_sieve, "words_of")(np.uint64(77), 10, N, words, lives)
    for part in range(3):
        plain(storm_sieve, "add_lives")(words, N, 7 + part, MEAN_LIFE_S / 3.0, lives)
    return words, lives, np.array([plain(storm_loops, "_life")(own, 7, MEAN_LIFE_S, 3.0) for own in words])


def test_a_life_from_the_table_is_a_little_longer(members):
    _, most, lives = members
    assert np.all(most >= lives)
    assert np.median(most / lives) < 1.01


@pytest.mark.parametrize("place", [(-60.0, 0.0), (0.0, 10.0), (40.0, 45.0), (20.0, -60.0)])
def test_only_members_that_cannot_meet_the_region_are_left_out(members, place):
    words, most, lives = members
    track = (*place, 0.011, 0.004)
    band = plain(storm_loops, "band_of")(*track[2:], REGION, REACH_KM)
    x, y, near = most.copy(), np.full(N, REACH_KM), np.empty(N, np.bool_)
    spreads = (SPREAD_KM, LASTS_S)
    plain(storm_sieve, "may_meet")(words, N, track, REGION, band, spreads, x, y, near)
    meet, begins = np.empty(N, np.bool_), np.empty((N, 2))
    for i, own in enumerate(words):
        age = keyed_uniform(own, 0) * LASTS_S
        apart = np.array(plain(storm_loops, "normals")(own, 1))
        begins[i] = np.array(track[:2]) + np.array(track[2:]) * age + SPREAD_KM * apart
        meet[i] = not plain(storm_loops, "wide_of")(*begins[i], *track[2:], band)
        meet[i] &= plain(storm_loops, "meets")(*begins[i], *track[2:], lives[i], REGION, REACH_KM)
    assert np.all(near[meet])
    assert np.count_nonzero(near & ~meet) < 0.1 * N
    known = x < NOWHERE
    assert np.count_nonzero(~known) < 0.05 * N
    assert np.hypot(*(begins - np.stack([x, y], axis=1))[known].T).max() < BLUR * SPREAD_KM


def test_a_reach_from_the_table_is_a_little_more(members):
    words, _, _ = members
    reaches, found = np.linspace(20.0, 2.0, len(storm_loops.SCORES)), np.empty(N)
    scores = storm_loops.SCORES[0], 1.0 / (storm_loops.SCORES[1] - storm_loops.SCORES[0]), 479.0
    plain(storm_sieve, "add_reaches")(words, N, 4, 0.8, 0.3, scores, reaches, found)
    exact = [
        plain(storm_loops, "quantile")(reaches, 0.8 + 0.3 * plain(storm_loops, "normals")(own, 4)[0])
        for own in words
    ]
    assert np.all(found >= exact)
    assert np.median(found - exact) < 0.1


@pytest.mark.parametrize(("latitude_deg", "longitude_deg"), CENTRES)
def test_a_rough_node_is_the_node_or_unsure(latitude_deg, longitude_deg):
    """Also for a place that is a little beside, across the 180th meridian and where it lies far off."""
    rows, columns = 9, 11
    first = latitude_deg - 4.3, (longitude_deg - 5.4 + 180.0) % 360.0 - 180.0
    weather = np.array([*np.deg2rad([latitude_deg, longitude_deg, *first, 1.0]), rows, columns])
    plane, rng, unsure = plain(storm_sieve, "plane_of")(weather), np.random.default_rng(8), 0
    for _ in range(400):
        place, lot = rng.uniform(-280.0, 280.0, 2), rng.random()
        beside = place + rng.uniform(-0.7, 0.7, 2)
        rough = plain(storm_sieve, "rough_node")(*beside, 1.0, plane, lot)
        unsure += rough < 0
        assert rough in (-1, plain(storm_loops, "node_at")(*place, weather, lot))
    assert unsure < 130
    assert plain(storm_sieve, "rough_node")(NOWHERE, 0.0, 1.0, plane, 0.5) == -1


def test_a_map_of_one_node_has_one_however_far_off():
    plane = plain(storm_sieve, "plane_of")(np.array([0.8, 0.1, 0.8, 0.1, 0.02, 1.0, 1.0]))
    assert plain(storm_sieve, "rough_node")(NOWHERE, 0.0, 1.0, plane, 0.7) == 0


@pytest.mark.parametrize("mean", [0.0, 0.3, 4.0, 40.0, 700.0])
def test_there_is_room_for_all_members(mean):
    """scipy.stats: one in 10^16 has more."""
    words = plain(storm_loops, "_rooms")(mean)[0]
    assert stats.poisson.sf(len(words), mean) < 1e-16
    assert len(words) % LANES == 0
