"""What is left out many at a time, against what ``storm_loops`` draws of the same words one by one."""

import numpy as np
import pytest
from scipy import stats

from hopyears.sim.rain import storm_loops, storm_sieve, system_loops
from hopyears.sim.rain.storm_sieve import BLUR, LANES
from hopyears.sim.streams import keyed_word, stirred, stirred_uniform

N = 25 * LANES
SPREAD_KM, LASTS_S, MEAN_LIFE_S, REACH_KM = 9.0, 7200.0, 2880.0, 6.0
REGION = np.array([-30.0, -10.0, 20.0, 40.0])
CENTRES = [(47.0, 9.0), (-35.0, 179.2), (63.0, -20.0)]


def plain(module, loop):
    """A loop as it is written, not compiled."""
    return getattr(module, loop).py_func


def normals(own, counter):
    return np.array(plain(storm_loops, "normals")(own, counter))


@pytest.fixture(scope="module")
def members():
    """Keys half-way, lives [s] at the most, and lives as they are, of members of one storm."""
    words, lives = np.empty(N, np.uint64), np.empty(N)
    plain(storm_sieve, "words_of")(np.uint64(77), 10, N, words)
    plain(storm_sieve, "lives_of")(words, N, 3, MEAN_LIFE_S / 3.0, lives)
    return words, lives, np.array([plain(storm_loops, "_life")(own, 7, MEAN_LIFE_S, 3.0) for own in words])


def test_a_logarithm_from_the_bits_is_close_for_small_and_close_for_large_ones():
    even = np.random.default_rng(7).random(500)
    numbers = [*even, *even**40, *(1.0 - even * 1e-6), 0.5, 1.0, 1.0 - 2.0**-53, 2.0**-54, 2.0**-500]
    found = np.array([plain(storm_sieve, "_minus_log")(each) for each in numbers])
    wanted = -np.log(numbers)
    assert np.all(np.abs(found - wanted) <= np.minimum(1e-5, 5e-5 * wanted) + 1e-12)


def test_cosine_and_sine_by_series_are_close_all_around():
    turns = np.linspace(0.0, 1.0, 2001)
    wanted = np.cos(2.0 * np.pi * turns), np.sin(2.0 * np.pi * turns)
    np.testing.assert_allclose(plain(storm_sieve, "turned")(turns), wanted, atol=2e-5)


def test_two_rough_normal_numbers_are_close():
    for own in np.random.default_rng(8).integers(0, 2**63, 500).astype(np.uint64):
        assert plain(storm_sieve, "rough_normals")(own, 4) == pytest.approx(normals(own, 4), abs=0.5 * BLUR)


def test_a_rough_life_is_a_little_longer(members):
    _, most, lives = members
    assert np.all(most > lives)
    assert np.all(most - lives < 2e-4 * MEAN_LIFE_S / 3.0)


@pytest.mark.parametrize("place", [(-60.0, 0.0), (0.0, 10.0), (40.0, 45.0), (20.0, -60.0)])
def test_only_members_that_cannot_meet_the_region_are_left_out(members, place):
    words, most, lives = members
    track = (*place, 0.011, 0.004)
    band = plain(storm_loops, "band_of")(*track[2:], REGION, REACH_KM)
    x, y, near = most.copy(), np.empty(N), np.empty(N, np.bool_)
    plain(storm_sieve, "may_meet")(words, N, track, REGION, band, (SPREAD_KM, LASTS_S), REACH_KM, x, y, near)
    meet, middles = np.empty(N, np.bool_), np.empty((N, 2))
    for i, own in enumerate(words):
        age = stirred_uniform(own, 0) * LASTS_S
        begin = np.array(track[:2]) + np.array(track[2:]) * age + SPREAD_KM * normals(own, 1)
        meet[i] = not plain(storm_loops, "wide_of")(*begin, *track[2:], band)
        meet[i] &= plain(storm_loops, "meets")(*begin, *track[2:], lives[i], REGION, REACH_KM)
        middles[i] = begin + 0.5 * lives[i] * np.array(track[2:])
    assert np.all(near[meet])
    assert np.count_nonzero(near & ~meet) < 0.02 * N
    off_km = BLUR * SPREAD_KM + 0.5 * np.hypot(*track[2:]) * (most - lives).max()
    assert np.hypot(*(middles - np.stack([x, y], axis=1)).T).max() < off_km


def test_those_that_are_near_come_to_the_front_in_their_order():
    rng = np.random.default_rng(9)
    rows, near = (rng.integers(0, 99, 50).astype(np.uint64), *rng.random((2, 50))), rng.random(50) < 0.3
    moved = [row.copy() for row in rows]
    count = plain(storm_sieve, "gather")(near, 50, *moved)
    assert count == np.count_nonzero(near)
    for row, was in zip(moved, rows, strict=True):
        np.testing.assert_array_equal(row[:count], was[near])


def fallen(places, words, weather, tops):
    """Nodes, and whether members may fall at places known to 1 km."""
    x, y = (np.resize(row, N) for row in np.transpose(places))
    nodes, near, plane = np.empty(N, np.int64), np.empty(N, np.bool_), plain(storm_sieve, "plane_of")(weather)
    plain(storm_sieve, "may_fall")(words, N, x, y, 1.0, plane, 2.0, tops, nodes, near)
    return nodes, near


@pytest.mark.parametrize(("latitude_deg", "longitude_deg"), CENTRES)
@pytest.mark.parametrize("half_km", [60.0, 280.0])
def test_a_rough_node_is_the_node_or_unsure_and_its_law_decides(
    members, latitude_deg, longitude_deg, half_km
):
    """Also for a place that is a little beside, across the 180th meridian and where it lies far off."""
    words, rows, columns = members[0], 9, 11
    first = latitude_deg - 4.3, (longitude_deg - 5.4 + 180.0) % 360.0 - 180.0
    weather = np.array([*np.deg2rad([latitude_deg, longitude_deg, *first, 1.0]), rows, columns])
    rng = np.random.default_rng(8)
    places, tops = rng.uniform(-half_km, half_km, (N, 2)), rng.uniform(0.0, 2.0, rows * columns)
    nodes, near = fallen(places + rng.uniform(-0.7, 0.7, (N, 2)), words, weather, tops)
    exact = np.array(
        [
            plain(storm_loops, "node_at")(*at, weather, stirred_uniform(own, 6))
            for at, own in zip(places, words, strict=True)
        ]
    )
    sure = nodes >= 0
    np.testing.assert_array_equal(nodes[sure], exact[sure])
    falls = 2.0 * np.array([stirred_uniform(own, 3) for own in words]) < tops[exact]
    np.testing.assert_array_equal(near[sure], falls[sure])
    assert np.all(near[~sure])
    assert np.count_nonzero(~sure) < (0.15 if half_km < 100.0 else 0.3) * N
    assert np.all(fallen([(1e9, 0.0)], words, weather, tops)[0] == -1)


def test_a_map_of_one_node_has_one_however_far_off(members):
    weather = np.array([0.8, 0.1, 0.8, 0.1, 0.02, 1.0, 1.0])
    for place in ((0.0, 0.0), (1e9, 0.0)):
        assert np.all(fallen([place], members[0], weather, np.ones(1))[0] == 0)


def test_systems_that_are_too_slow_are_left_out_in_order():
    words, least = np.empty(N, np.uint64), 0.7
    count = plain(system_loops, "_fast")(
        np.uint64(stirred(np.uint64(5))), 40, N - 3, least, words, np.empty(N, np.bool_)
    )
    wanted = [np.uint64(keyed_word(np.uint64(5), i)) for i in range(40, 40 + N - 3)]
    np.testing.assert_array_equal(
        words[:count], [each for each in wanted if stirred_uniform(np.uint64(stirred(each)), 4) >= least]
    )


@pytest.mark.parametrize(
    ("centre_deg", "tile_deg"),
    [
        ((47.0, 9.0), (46.0, 4.0, 48.0, 7.0)),
        ((47.0, 9.0), (52.0, 12.0, 54.0, 15.0)),
        ((-35.0, 179.2), (-36.0, -177.0, -34.0, -174.5)),
        ((68.0, -20.0), (74.0, -50.0, 76.0, -40.0)),
        ((86.0, 10.0), (88.0, -60.0, 90.0, 60.0)),
        ((5.0, 100.0), (-20.0, 135.0, -18.0, 137.0)),
    ],
)
def test_only_systems_that_cannot_come_near_are_left_out(centre_deg, tile_deg):
    """Near and far, across the 180th meridian, where a tile is wide and where the series are not good."""
    rng = np.random.default_rng(11)
    words, speeds = rng.integers(0, 2**63, N).astype(np.uint64), rng.gamma(3.0, 0.006, N)
    tile, plane, drift = np.deg2rad(tile_deg), np.deg2rad(centre_deg), (-1.3, 0.9)
    model = np.array([219.0, 20_160.0, 57_600.0])
    square = np.sin(tile[0]), np.sin(tile[2]), np.sin(plane[0]), np.cos(plane[0])
    near, comes = np.empty(N, np.bool_), np.empty(N, np.bool_)
    plain(system_loops, "_may_come")(words, N, speeds, tile, plane, square, drift, REGION, model, near)
    for i, (word, speed) in enumerate(zip(words, speeds, strict=True)):
        own = np.uint64(stirred(word))
        chances = stirred_uniform(own, 2), stirred_uniform(own, 3)
        x, y, north = plain(system_loops, "_place")(tile, plane, square, *chances)
        heading = drift[0] + drift[1] * normals(own, 5)[0] + north
        vx, vy = speed * np.sin(heading), speed * np.cos(heading)
        x, y = x - model[1] * vx, y - model[1] * vy
        band = plain(storm_loops, "band_of")(vx, vy, REGION, model[0])
        comes[i] = not plain(storm_loops, "wide_of")(x, y, vx, vy, band)
        comes[i] &= plain(storm_loops, "meets")(x, y, vx, vy, model[2], REGION, model[0])
    assert np.all(near[comes])
    known = tile_deg[3] - tile_deg[1] < 30.0 and abs(tile_deg[0] - centre_deg[0]) < 20.0
    assert np.count_nonzero(near & ~comes) < 0.02 * N if known else np.all(near)


@pytest.mark.parametrize("mean", [0.0, 0.3, 4.0, 40.0, 700.0])
def test_there_is_room_for_all_members(mean):
    """scipy.stats: one in 10^16 has more."""
    words = plain(storm_sieve, "member_rooms")(mean)[0]
    assert stats.poisson.sf(len(words), mean) < 1e-16
    assert len(words) % LANES == 0
