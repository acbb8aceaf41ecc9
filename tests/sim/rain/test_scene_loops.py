"""What shapes of a snapshot do to a hop, by quadrature, and where they are placed."""

import numpy as np
import pytest
from cell_profile import relative_rate
from scipy.special import erf

from hopyears.models.air.path_rain import hop_numbers
from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.basics.kernel import kernel
from hopyears.sim.rain import scene_loops

PROFILE = DEFAULT_POPULATION.profile


def attenuation_db(length_km, k, alpha, *shapes):
    """Of a hop along x about the origin; shapes: x, y [km], peak [mm/h], radius [km], ratio, bearing."""
    x, y, peak, radius, ratio, bearing = (np.array(column, float) for column in zip(*shapes, strict=True))
    near = np.ones(len(x), bool)
    scenes = (np.array([0, len(x)]), x, y, near, np.log(peak), radius, ratio, bearing, np.array([[0.5, 0.5]]))
    return summed((length_km, k, alpha), scenes, (3.0, 3.0), (0.0, 0.0))[0]


def summed(hop, scenes, reach_in_radii, shift):
    """Attenuation of one hop in one scene, and the share of its known shape times the area."""
    hops = scene_loops.batches([hop_numbers(PROFILE, *hop)])
    profile = (PROFILE.inner_weight, PROFILE.inner_radius, PROFILE.outer_radius)
    found = scene_loops.sum_scenes(hops, profile, scenes, 0.0, reach_in_radii, shift)
    return tuple(float(each[0, 0]) for each in found)


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


@pytest.mark.parametrize("length_km", [0.0, 8.0])
def test_known_shapes_are_placed_with_the_density_that_is_told(length_km):
    """Places run from a reach before the hop to a reach behind it; their slope is one over the density."""
    uniform = (np.arange(4000) + 0.5) / 4000
    place, per_density = np.array([scene_loops.placed(each, length_km, 6.0) for each in uniform]).T
    slope = np.diff(place) * 4000
    jump = np.abs(slope) > 100.0  # from the end of the hop to a reach before it, and over the hop
    assert jump.sum() == (2 if length_km else 0)
    middle = 0.5 * (per_density[1:] + per_density[:-1])
    np.testing.assert_allclose(slope[~jump], middle[~jump], rtol=1e-3, atol=0.02)
    assert (place.min(), place.max()) == pytest.approx((-6.0, length_km + 6.0), abs=0.02)


@pytest.mark.parametrize("head", [SHOWER, WIDE])
def test_a_scene_not_yet_placed_lies_as_its_known_shape_is_placed(head):
    """Also with the hop shifted from that for which it was placed."""
    length_km, place, shift, radii = 8.0, (0.2, 0.9), (0.7, -0.4), (3.0, 2.0)
    x, y, peak, radius, ratio, bearing = (np.array(each) for each in zip(head, BESIDE, strict=True))
    far = (np.array([0, 2]), x, y, np.zeros(2, bool), np.log(peak), radius, ratio, bearing, np.array([place]))
    total, share_area = summed((length_km, 1.0, 1.0), far, radii, shift)
    reach = radii[0] * radius[0] if ratio[0] == 0.0 else radii[1] * radius[0] * np.sqrt(ratio[0])
    across, spread = scene_loops.placed(place[0], 0.0, reach)
    along, extent = scene_loops.placed(place[1], length_km, reach)
    moved = (along - 0.5 * length_km - shift[0], across - shift[1])
    known, other = (
        attenuation_db(length_km, 1.0, 1.0, (moved[0] + shape[0], moved[1] + shape[1], *shape[2:]))
        for shape in (head, BESIDE)
    )
    assert known > 0.0
    assert total == pytest.approx(known + other, rel=1e-6)
    assert share_area == pytest.approx(known / total * spread * extent, rel=1e-6)
