"""One fade's shape, and the curves from raw depth to depth."""

import numpy as np
import pytest

from hopyears.models.air import fade_shape, multipath

UNEVEN = fade_shape.Activity(
    level=np.array([0.5, 5.0, 60.0]),
    worst_month=np.array([0.15, 0.08, 0.06]),
    other_months=np.array([0.1, 0.06, 0.00379]),
)


def test_reference_duration():
    assert fade_shape.mean_duration_s(46.0) == 410.0
    assert fade_shape.mean_duration_s([1.0, 400.0]).tolist() == [100.0, 600.0]
    with pytest.raises(ValueError, match=r"path_length_km is 0.0; must be above 0"):
        fade_shape.mean_duration_s(0.0)


def test_mean_duration_and_time_share_of_uniform_closest_approaches():
    """Integrals over b by the midpoint rule: the law of time and the law of durations."""
    duration, occurrence, x = 300.0, 0.2, 0.01
    impact = (np.arange(20_000) + 0.5) / 20_000 * np.sqrt(x)
    slowness = 2.0 * duration / np.pi
    # The level (v t)^2 + b^2 stays below x for 2 sqrt(x - b^2)/v.
    mean = float(np.mean(2.0 * slowness * np.sqrt(x - impact**2)))
    density = fade_shape.approach_density_per_s(occurrence, duration)
    assert mean == pytest.approx(duration * np.sqrt(x), rel=1e-4)
    assert density * 2.0 * np.sqrt(x) * mean == pytest.approx(occurrence * x, rel=1e-4)


@pytest.mark.parametrize("occurrence", [0.002, 0.05, 0.8])
def test_map_meets_both_laws(occurrence):
    """Put the curves back into the raw law: P.530's worst month and year come out."""
    year = occurrence / 6.0
    table = fade_shape.depth_map(occurrence, year, year, UNEVEN)
    depth = np.array([10.0, 15.0, 20.0, 25.0, 30.0, 45.0])
    raw = table.raw_threshold(depth)
    covered = -np.expm1(-raw[:, :, None] * year * UNEVEN.level)
    worst, other = covered[1] @ UNEVEN.worst_month, covered[0] @ UNEVEN.other_months
    assert worst == pytest.approx(multipath.exceedance(occurrence, depth), rel=0.003)
    assert (worst + 11.0 * other) / 12.0 == pytest.approx(multipath.exceedance(year, depth), rel=0.003)


@pytest.mark.parametrize("worst_month", [False, True])
def test_map_and_back(worst_month):
    table = fade_shape.depth_map(0.05, 0.01, 0.01, UNEVEN)
    depth = np.linspace(8.0, 140.0, 50)
    raw = table.raw_threshold(depth)[int(worst_month)]
    assert np.all(np.diff(raw) < 0)
    assert table.depth(raw, worst_month=worst_month) == pytest.approx(depth, abs=1e-6)


def test_map_ends():
    table = fade_shape.depth_map(0.05, 0.01, 0.01, UNEVEN)
    assert table.raw_threshold(np.inf).tolist() == [0.0, 0.0]
    assert np.array_equal(table.raw_threshold(-3.0), table.raw_threshold(fade_shape.SHALLOWEST_DB))
    assert table.raw_threshold(0.0).max() <= fade_shape.LARGEST_RAW
