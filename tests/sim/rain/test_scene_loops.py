"""What shapes of a snapshot do to a hop, by quadrature; the node of the map that a place takes, by PROJ."""

import numpy as np
import pytest
from cell_profile import relative_rate
from pyproj import Proj
from scipy.special import erf

from hopyears.models.air.path_rain import hop_numbers
from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.basics.kernel import kernel
from hopyears.sim.rain import scene_loops, storm_loops

PROFILE = DEFAULT_POPULATION.profile


def attenuation_db(length_km, k, alpha, *shapes):
    """Of a hop along x about the origin; shapes: x, y [km], peak [mm/h], radius [km], ratio, bearing."""
    x, y, peak, radius, ratio, bearing = (np.array(column, float) for column in zip(*shapes, strict=True))
    near = np.ones(len(x), bool)
    scenes = (np.array([0, len(x)]), x, y, near, np.log(peak), radius, ratio, bearing, np.array([[0.5, 0.5]]))
    hops = scene_loops.batches([hop_numbers(PROFILE, length_km, k, alpha)])
    profile = (PROFILE.inner_weight, PROFILE.inner_radius, PROFILE.outer_radius)
    return float(scene_loops.sum_scenes(hops, profile, scenes, 0.0, (3.0, 3.0), (0.0, 0.0))[0][0, 0])


def rate_mm_h(at_x_km, x, y, peak, radius, ratio, bearing):
    """Rate of one shape at places on the x axis, as it is defined; the bearing is that along the hop."""
    dx, dy = at_x_km - x, -y
    if ratio == 0.0:
        return peak * relative_rate(PROFILE, np.hypot(dx, dy) / radius)
    along, across = dx * np.cos(bearing) - dy * np.sin(bearing), dx * np.sin(bearing) + dy * np.cos(bearing)
    return peak * np.exp(-(along**2 / ratio + across**2 * ratio) / (2.0 * radius**2))


SHOWER, BESIDE = (1.0, 0.4, 60.0, 2.0, 0.0, 0.0), (-3.0, -2.5, 30.0, 4.0, 0.0, 0.0)
FAINT = (0.0, 0.2, 2.0, 1.5, 0.0, 0.0)
WIDE = (2.0, -4.0, 8.0, 12.0, 2.0, 0.7)


@pytest.mark.parametrize("alpha", [0.8, 1.2])
@pytest.mark.parametrize("length_km", [3.0, 20.0])
@pytest.mark.parametrize("shapes", [(SHOWER,), (BESIDE,), (FAINT,), (WIDE,), (SHOWER, BESIDE, WIDE)])
def test_attenuation_of_shapes_by_quadrature(shapes, length_km, alpha):
    place = (np.arange(4000) + 0.5) / 4000 * length_km - 0.5 * length_km
    rate = sum(rate_mm_h(place, *shape) for shape in shapes)
    exact = length_km * float(np.mean(0.1 * rate**alpha))
    assert attenuation_db(length_km, 0.1, alpha, *shapes) == pytest.approx(exact, rel=0.02)


def test_a_point_has_the_rate_itself():
    rate = sum(float(rate_mm_h(0.0, *shape)) for shape in (SHOWER, BESIDE, WIDE))
    assert attenuation_db(0.0, 0.1, 1.2, SHOWER, BESIDE, WIDE) == pytest.approx(0.1 * rate**1.2, rel=1e-9)


@kernel
def _over_a_grid(x):
    between, faded = np.empty((len(x), len(x))), np.empty(len(x))
    for i in range(len(x)):
        faded[i] = scene_loops.decay(x[i] * x[i] / 2.0)
        for j in range(len(x)):
            between[i, j] = scene_loops.erf_between(x[i], x[j])
    return between, faded


def test_the_error_function_and_the_exponential_are_as_near_as_they_say():
    """Abramowitz and Stegun 7.1.28: each within 3e-7; scipy's functions are the judges."""
    x = np.linspace(-6.5, 6.5, 301)
    between, faded = _over_a_grid(x)
    np.testing.assert_allclose(between, erf(x) - erf(x)[:, None], atol=6e-7)
    near = np.abs(x) < 6.0
    np.testing.assert_allclose(faded[near], np.exp(-(x[near] ** 2) / 2.0), rtol=3e-9)
    assert np.all(faded[np.abs(x) > 6.0] == 0.0)


@pytest.mark.parametrize("place_km", [(0.0, 0.0), (120.0, -60.0), (-170.0, 140.0)])
def test_a_place_takes_the_nodes_about_it_by_their_bilinear_shares(place_km):
    """PROJ's azimuthal equidistant plane on the sphere gives the coordinates; a lot decides, here many."""
    centre, first, rows, columns = (47.3, 9.6), (44.0, 5.0), 8, 10
    plane = Proj(proj="aeqd", lat_0=centre[0], lon_0=centre[1], R=6_371_000.0)
    longitude, latitude = plane(*(1000.0 * each for each in place_km), inverse=True)
    grid = np.array([*np.deg2rad((*centre, *first, 1.0)), rows, columns])
    n = 2000
    found = np.zeros(rows * columns)
    for lot in (np.arange(n) + 0.5) / n:
        found[storm_loops._node(*place_km, grid, lot)] += 1.0 / n
    up, along = latitude - first[0], longitude - first[1]
    wanted = np.zeros((rows, columns))
    row, column = int(up), int(along)
    for i, vertical in ((row, 1.0 - up + row), (row + 1, up - row)):
        for j, across in ((column, 1.0 - along + column), (column + 1, along - column)):
            wanted[i, j] += vertical * across
    np.testing.assert_allclose(found, wanted.ravel(), atol=2.0 / n)
