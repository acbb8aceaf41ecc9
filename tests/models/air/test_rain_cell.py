"""Cells: how the area above a rate grows, their size over life and peak."""

import numpy as np
import pytest
from cell_profile import area_above

from hopyears.models.air.rain_cell import (
    GAUSSIAN,
    PEAKED,
    CellPopulation,
    CellProfile,
    area_slopes,
    largest_radius_km,
    radius_km,
)

PROFILES = [GAUSSIAN, PEAKED, CellProfile(0.3, 0.6, 1.3)]


@pytest.mark.parametrize("profile", PROFILES)
def test_slopes_of_the_area_above_a_rate(profile):
    """Against differences of areas read from the profile itself."""
    depth, step = np.array([0.3, 1.0, 2.5, 6.0]), 0.02
    less, here, more = (area_above(profile, depth + way * step) for way in (-1, 0, 1))
    slope, curve = area_slopes(profile, depth)
    np.testing.assert_allclose(slope, (more - less) / (2.0 * step), rtol=2e-3)
    np.testing.assert_allclose(curve, (more - 2.0 * here + less) / step**2, atol=0.02 * slope.max())


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
