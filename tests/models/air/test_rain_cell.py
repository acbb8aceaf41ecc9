"""Cells against numerical integrals: the law that their number gives, and what they do to a hop."""

import numpy as np
import pytest
from scipy.special import ndtr

from hopyears.models.air.rain_cell import (
    GAUSSIAN,
    PEAKED,
    CellPopulation,
    CellProfile,
    area_above,
    largest_radius_km,
    radius_km,
    relative_rate,
    standard_density,
)
from hopyears.models.air.rain_law import SIGMA

PROFILES = [GAUSSIAN, PEAKED, CellProfile(0.3, 0.6, 1.3)]


@pytest.mark.parametrize("profile", PROFILES)
def test_area_above_is_where_the_profile_is_above(profile):
    depth = np.array([0.01, 0.3, 1.0, 2.5, 6.0])
    edge = np.sqrt(area_above(profile, depth) / np.pi)
    np.testing.assert_allclose(relative_rate(profile, edge), np.exp(-depth), rtol=1e-9)
    assert area_above(profile, np.array([-1.0, 0.0])) == pytest.approx([0.0, 0.0])


def test_one_gaussian_gives_rayleigh_peaks():
    z, density = standard_density(GAUSSIAN)
    expected = z * np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi) / (SIGMA * 2.0 * np.pi)
    np.testing.assert_allclose(density[1:], expected[1:], rtol=1e-3, atol=1e-9)


@pytest.mark.parametrize("profile", PROFILES)
def test_density_gives_back_the_law_above_the_median(profile):
    level = np.array([0.0, 0.25, 0.5, 1.0, 2.0, 3.0, 4.0])
    z, density = standard_density(profile)
    areas = area_above(profile, SIGMA * (z - level[:, None]))
    np.testing.assert_allclose(np.trapezoid(density * areas, z, axis=-1) / ndtr(-level), 1.0, atol=0.01)
    assert np.all(density >= 0.0)


def test_a_wrong_density_does_not_give_the_law():
    z, density = standard_density(GAUSSIAN)
    level = np.array([2.0, 3.0])
    areas = area_above(PEAKED, SIGMA * (z - level[:, None]))
    wrong = np.trapezoid(density * areas, z, axis=-1)
    assert np.all(np.abs(wrong / ndtr(-level) - 1.0) > 0.1)


def test_dead_cells_have_no_size():
    assert radius_km(3.0, np.array([-0.1, 0.0, 1.0, 1.2])) == pytest.approx(np.zeros(4), abs=1e-6)


def test_cells_stay_within_their_limits():
    population = CellPopulation()
    radii = largest_radius_km(population, np.linspace(-3.0, 7.0, 50))
    assert radii.min() >= population.smallest_km
    assert radii.max() <= population.largest_km
    assert np.all(np.diff(radii) <= 0.0)


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: CellProfile(1.2, 0.5, 1.0), "inner_weight is 1.2; must be 0 to 1"),
        (lambda: CellProfile(0.5, 2.0, 1.0), "inner_radius is 2.0; must be above 0 and at most outer_radius"),
        (lambda: CellPopulation(size_km=0.0), "size_km is 0.0; must be above 0"),
        (lambda: CellPopulation(largest_km=0.5), "largest_km is 0.5; must be at least smallest_km"),
    ],
)
def test_impossible_cells_are_refused(make, text):
    with pytest.raises(ValueError, match=text.replace(".", r"\.")):
        make()
