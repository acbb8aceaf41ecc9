"""The parts of the loops that draw storms, each against a library or an obvious rule; and what they draw."""

import numpy as np
import pytest
from pyproj import Proj
from scipy import stats

from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.storm import DEFAULT_STORMS
from hopyears.sim.rain import shape_rooms, storm_loops, system_loops
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.shape_rooms import ShapeRooms
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.streams import Streams

KEYS = np.random.default_rng(4).integers(0, 2**63, 3000).astype(np.uint64)
REGION = np.array([-30.0, -10.0, 20.0, 40.0])


def plain(loop, module=storm_loops):
    """A loop as it is written, not compiled."""
    return getattr(module, loop).py_func


@pytest.mark.parametrize("mean", [0.0, 0.3, 4.0, 150.0])
def test_poisson_numbers_are_those_of_scipy(mean):
    uniform = np.random.default_rng(1).random(200)
    found = [plain("_poisson")(each, mean) for each in uniform]
    np.testing.assert_array_equal(found, stats.poisson.ppf(uniform, mean))


def test_quantiles_lie_between_the_nodes_and_end_with_them():
    values = np.cumsum(np.random.default_rng(2).random(len(storm_loops.SCORES)))
    scores = np.concatenate([np.linspace(-5.99, 5.99, 300), storm_loops.SCORES[5:-5:7]])
    found = [plain("quantile")(values, score) for score in scores]
    np.testing.assert_allclose(found, np.interp(scores, storm_loops.SCORES, values), rtol=1e-12)
    assert plain("quantile")(values, -9.0) == values[0]
    assert plain("quantile")(values, 9.0) == pytest.approx(values[-1], abs=2e-3)


def test_two_normal_numbers_of_a_key_are_normal_and_independent():
    one, other = np.array([plain("normals")(key, 4) for key in KEYS]).T
    assert stats.kstest(one, "norm").pvalue > 0.01
    assert stats.kstest(other, "norm").pvalue > 0.01
    for a, b in ((one, other), (one**2, other**2)):
        assert abs(np.corrcoef(a, b)[0, 1]) < 4.0 / np.sqrt(len(KEYS))


@pytest.mark.parametrize("shape", [1.0, 3.0])
def test_lives_are_gamma_variables(shape):
    lives = [plain("_life")(key, 7, 2000.0, shape) for key in KEYS]
    assert stats.kstest(lives, stats.gamma(shape, scale=2000.0 / shape).cdf).pvalue > 0.01


def tracks(n=400):
    """Places [km], speeds [km/s] and reaches [km] about ``REGION``."""
    rng = np.random.default_rng(3)
    return zip(
        rng.uniform(-90, 90, (n, 2)), rng.normal(0.0, 0.01, (n, 2)), rng.uniform(1, 30, n), strict=True
    )


def test_a_line_is_wide_of_a_region_where_all_corners_lie_beyond_reach_on_one_side():
    corners = np.array([(x, y) for x in REGION[[0, 2]] for y in REGION[[1, 3]]])
    found, wanted = [], []
    for place, speed, reach in tracks():
        band = plain("band_of")(*speed, REGION, reach)
        found.append(plain("wide_of")(*place, *speed, band))
        side = (corners - place) @ np.array([speed[1], -speed[0]]) / np.hypot(*speed)
        wanted.append((side > reach).all() or (side < -reach).all())
    assert found == wanted
    assert 50 < sum(found) < 350


def test_a_track_meets_a_region_when_their_boxes_come_within_reach():
    found, wanted = [], []
    for place, speed, reach in tracks():
        found.append(plain("meets")(*place, *speed, 3000.0, REGION, reach))
        apart = [
            max(low - max(a, a + 3000.0 * v), min(a, a + 3000.0 * v) - high)
            for a, v, low, high in zip(place, speed, REGION[:2], REGION[2:], strict=True)
        ]
        wanted.append(max(apart) < reach)
    assert found == wanted
    assert 50 < sum(found) < 350


CENTRES = [(47.0, 9.0), (-35.0, 179.2), (68.0, -20.0)]


def azimuthal(latitude_deg, longitude_deg):
    """The plane that touches a sphere of 6,371 km there."""
    return Proj(proj="aeqd", lat_0=latitude_deg, lon_0=longitude_deg, R=6371.0, units="m")


@pytest.mark.parametrize(("latitude_deg", "longitude_deg"), CENTRES)
def test_a_place_takes_the_nodes_about_it_by_their_bilinear_weights(latitude_deg, longitude_deg):
    """PROJ gives its coordinates, also across the 180th meridian; a lot decides, here many."""
    rows, columns, step = 9, 11, 1.0
    first = np.array([latitude_deg - 4.3, (longitude_deg - 5.4 + 180.0) % 360.0 - 180.0])
    weather = np.array([*np.deg2rad([latitude_deg, longitude_deg, *first, step]), rows, columns])
    lots = (np.arange(300) + 0.5) / 300.0
    for x, y in np.random.default_rng(5).uniform(-150.0, 150.0, (12, 2)):
        longitude, latitude = azimuthal(latitude_deg, longitude_deg)(x, y, inverse=True)
        up = (latitude - first[0]) / step
        along = ((longitude - first[1] + 180.0) % 360.0 - 180.0) / step
        weights = np.zeros((rows, columns))
        low, left = int(up), int(along)
        shares = np.outer([1.0 - up + low, up - low], [1.0 - along + left, along - left])
        weights[low : low + 2, left : left + 2] = shares
        nodes = [plain("node_at")(x, y, weather, lot) for lot in lots]
        np.testing.assert_allclose(
            np.bincount(nodes, minlength=rows * columns) / 300.0, weights.ravel(), atol=2.0 / 300.0
        )
    assert plain("node_at")(1e4, 1e4, weather, 0.5) < rows * columns


def test_a_map_of_one_node_has_one():
    assert plain("node_at")(50.0, 80.0, np.array([0.8, 0.1, 0.8, 0.1, 0.02, 1, 1]), 0.7) == 0


@pytest.mark.parametrize(("latitude_deg", "longitude_deg"), CENTRES)
def test_systems_are_born_evenly_over_a_tile_and_know_where_north_is(latitude_deg, longitude_deg):
    south, west, north, east = (
        latitude_deg + 0.5,
        longitude_deg + 1.0,
        latitude_deg + 1.5,
        longitude_deg + 2.0,
    )
    tile, plane = np.deg2rad([south, west, north, east]), np.deg2rad([latitude_deg, longitude_deg])
    square = np.sin(tile[0]), np.sin(tile[2]), np.sin(plane[0]), np.cos(plane[0])
    projected = azimuthal(latitude_deg, longitude_deg)
    for up, along in np.random.default_rng(6).random((10, 2)):
        x, y, turn = plain("_place", system_loops)(tile, plane, square, up, along)
        # Even over the area: so much of the tile's belt lies below, as sines of the latitude tell.
        latitude = np.rad2deg(np.arcsin((1 - up) * np.sin(tile[0]) + up * np.sin(tile[2])))
        longitude = west + along * (east - west)
        assert (x, y) == pytest.approx(projected(longitude, latitude), abs=1e-6)
        ahead = np.subtract(projected(longitude, latitude + 0.001), (x, y))
        assert turn == pytest.approx(np.arctan2(*ahead), abs=0.1 * abs(turn) + 1e-4)


def shapes_of(asked, room=None):
    """Cells, storms, their systems, wide shapes, theirs."""
    rooms = ShapeRooms(room)
    rooms.draw(*asked)
    return rooms.filled


@pytest.fixture(scope="module")
def drawn():
    """Systems, and what the loop draws of them on a square of 80 km, in a year."""
    kept = []

    def noted(*given):
        kept.append(given[:-3])
        return storm_loops.shapes_near(*given)

    law = RainLaw(np.full(12, 2.0), np.full(12, 0.04))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shape_rooms, "shapes_near", noted)
        field = draw_storms(Streams(6, 0), law, Region(-40.0, -40.0, 40.0, 40.0), n_years=1)
    systems = kept[0][0]
    cells, storms, storm_system, wide, wide_system = shapes_of(kept[0])
    of_cells = np.repeat(np.arange(len(storms)), storms[:, 6].astype(int))
    return {
        "all": field,
        "asked": kept[0],
        "storms": (storms[:, [0, 2, 3, 4, 5]], systems[storm_system][:, [0, 1, 2, 3, 4]]),
        "cells": (cells[:, [0, 2, 3, 4, 5]], storms[of_cells][:, [0, 2, 3, 4, 5]]),
        "wide": (wide[:, [0, 2, 3, 4, 5]], systems[wide_system][:, [0, 1, 2, 3, 4]]),
    }


@pytest.mark.parametrize(
    ("what", "spread_km", "lasts_s"),
    [
        ("storms", DEFAULT_STORMS.system_spread_km, DEFAULT_STORMS.system_duration_s),
        ("cells", DEFAULT_STORMS.storm_spread_km, DEFAULT_STORMS.storm_duration_s),
        ("wide", DEFAULT_STORMS.system_spread_km, DEFAULT_STORMS.system_duration_s),
    ],
)
def test_what_a_parent_bears_is_born_while_it_lasts_and_scattered_about_it_as_it_drifts(
    drawn, what, spread_km, lasts_s
):
    """Storms and wide shapes of systems, cells of storms; deep in the square, where nothing is cut away."""
    own, parent = (rows[np.abs(drawn[what][0][:, 1:3]).max(axis=1) < 25.0] for rows in drawn[what])
    assert len(own) > 90
    np.testing.assert_array_equal(own[:, 3:], parent[:, 3:])
    age = own[:, 0] - parent[:, 0]
    assert age.min() >= 0.0
    assert age.max() <= lasts_s
    apart = own[:, 1:3] - parent[:, 1:3] - age[:, None] * parent[:, 3:]
    families = len(np.unique(parent[:, 0]))
    np.testing.assert_allclose(apart.std(axis=0), spread_km, rtol=4.0 / np.sqrt(families))
    assert np.all(np.abs(apart.mean(axis=0)) < 4.0 * spread_km / np.sqrt(families))
    assert abs(age.mean() / lasts_s - 0.5) < 4.0 * 0.29 / np.sqrt(families) + 0.02


def test_rooms_that_grow_hold_the_same_shapes_and_systems_of_parts_are_numbered_on(drawn):
    wanted = shapes_of(drawn["asked"])
    for one, other in zip(shapes_of(drawn["asked"], room=3), wanted, strict=True):
        np.testing.assert_array_equal(one, other)
    systems, keys, ceilings, days, *rest = drawn["asked"]
    rooms, half = ShapeRooms(5), len(systems) // 2
    for part in (slice(0, half), slice(half, None)):
        rooms.draw(systems[part], keys[part], ceilings[part], days[part], *rest)
    for one, other in zip(rooms.filled, wanted, strict=True):
        np.testing.assert_array_equal(one, other)
    field = drawn["all"]
    _, numbers = np.unique(np.concatenate([wanted[2], wanted[4]]), return_inverse=True)
    np.testing.assert_array_equal(np.concatenate([field.storm_system, field.wide_system]), numbers)


def test_cells_shrink_with_their_peak_and_wide_shapes_are_of_one_size(drawn):
    log_peak, radius_km = drawn["all"].cells[:, 6:8].T
    law, population = DEFAULT_STORMS, DEFAULT_POPULATION
    wanted = population.size_km * np.exp(-population.size_exponent * log_peak)
    np.testing.assert_allclose(
        radius_km, np.clip(wanted, population.smallest_km, population.largest_km), rtol=1e-12
    )
    assert np.unique(radius_km).size > 100
    np.testing.assert_array_equal(
        np.unique(drawn["all"].wide[:, 7:9], axis=0), [[law.wide_radius_km, law.wide_ratio]]
    )


def test_a_storm_ends_with_its_last_cell(drawn):
    field = drawn["all"]
    ends = np.maximum.reduceat(field.cells[:, :2].sum(axis=1), field.storm_first_cell[:-1])
    np.testing.assert_array_equal(field.storm_end_s, ends)


@pytest.mark.parametrize(("number", "what"), [(0, "systems"), (1, "storms"), (2, "wide"), (3, "cells")])
def test_where_a_place_has_half_of_what_the_wettest_has_half_of_them_are_left(drawn, number, what):
    """Births of systems, storms and wide shapes in a system, cells in a storm; who is left is as it was."""
    systems, keys, ceilings, days, region, laws, *rest = drawn["asked"]
    half = laws.copy()
    half[:, :, number] *= 0.5
    found = []
    for each in (laws, half):
        cells, storms, storm_system, wide, _ = shapes_of((systems, keys, ceilings, days, region, each, *rest))
        births = {"systems": storm_system, "storms": storms[:, 2], "wide": wide[:, 2], "cells": cells[:, 2]}
        found.append({name: set(row.tolist()) for name, row in births.items()})
    before, after = found
    assert all(after[name] <= before[name] for name in before)
    n = len(before[what])
    assert n > 100
    assert abs(len(after[what]) / n - 0.5) < 4.0 * 0.5 / np.sqrt(n)
    untouched = {"wide": "cells", "storms": "wide", "cells": "wide"}.get(what)
    if untouched:
        assert after[untouched] == before[untouched]


@pytest.mark.parametrize(
    ("number", "column"), [(0, "cells"), (0, "wide"), (1, "cells"), (2, "wide"), (3, "cells")]
)
def test_between_a_wet_and_a_half_as_wet_node_three_quarters_are_left(drawn, number, column):
    """Shapes are judged by the node that each takes, here the south wet, the network in the middle."""
    systems, keys, ceilings, days, region, laws, quantiles, weather, *rest = drawn["asked"]
    step = 0.06
    middle = np.array([*weather[:2], weather[0] - step / 2, weather[1] - step / 2, step, 2, 2])
    peaks, four, half = (np.repeat(each[:, :1], 4, axis=1) for each in (quantiles, laws, laws))
    half[:, 2:, number] *= 0.5
    counts = []
    for each in (four, half):
        asked = (systems, keys, ceilings, days, region, each, peaks, middle, *rest)
        cells, _, storm_system, wide, wide_system = shapes_of(asked)
        counts.append({"cells": len(cells), "wide": len(wide)})
    families = len(np.unique(storm_system if column == "cells" else wide_system))
    assert counts[1][column] / counts[0][column] == pytest.approx(0.75, abs=4.0 * 0.43 / np.sqrt(families))
