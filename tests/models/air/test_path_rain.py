"""Rates that add along a hop: closed forms against numerical integrals, for one shape and for many."""

import numpy as np
import pytest
from cell_profile import relative_rate
from hypothesis import given
from hypothesis import strategies as st
from rain_checks import attenuation_by_quadrature_db, cells_field
from scipy.integrate import quad

from hopyears.models.air.path_rain import (
    Chords,
    chord_rain,
    ellipse_chord,
    hop_attenuation_db,
    n_stretches,
    own_mean_share,
)
from hopyears.models.air.rain_cell import GAUSSIAN, PEAKED, CellProfile, largest_radius_km
from hopyears.sim.rain.rain_kernel import HopLine, attenuation_at

PROFILES = [GAUSSIAN, PEAKED, CellProfile(0.3, 0.6, 1.3), CellProfile(1.0, 0.5, 1.0)]
LENGTHS_KM = (0.1, 0.5, 2.0, 5.0, 8.0, 10.0, 20.0, 40.0, 60.0)


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize(
    ("across", "along", "length", "radius"),
    [(0.0, 5.0, 10.0, 2.0), (1.5, 2.0, 10.0, 2.0), (0.7, -1.0, 4.0, 3.0), (4.0, 12.0, 20.0, 2.5)],
)
def test_the_path_integral_of_a_rate_is_exact(profile, across, along, length, radius):
    integral, greatest = chord_rain(Chords(across, along, radius, np.log(40.0), profile), 0.0, length)
    rate = lambda s: 40.0 * float(relative_rate(profile, np.hypot(across, s - along) / radius))  # noqa: E731
    exact = quad(rate, 0.0, length, points=[min(max(along, 0.0), length)], limit=200)[0]
    assert float(integral) == pytest.approx(exact, rel=1e-9)
    assert float(greatest) == pytest.approx(rate(min(max(along, 0.0), length)), rel=1e-12)


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("alpha", [0.6, 0.85, 1.0, 1.25, 1.6])
def test_own_mean_of_an_endless_chord_by_quadrature(profile, alpha):
    """(P / I)^(1 / (alpha - 1)); at alpha = 1 its limit, which alphas beside it enclose."""
    found = own_mean_share(profile, alpha)
    if alpha == 1.0:
        assert own_mean_share(profile, 0.99) < found < own_mean_share(profile, 1.01)
        return
    rate = lambda x: float(relative_rate(profile, x))  # noqa: E731
    powered = quad(lambda x: rate(x) ** alpha, 0.0, 40.0, limit=400)[0]
    assert found == pytest.approx(
        (powered / quad(rate, 0.0, 40.0, limit=400)[0]) ** (1.0 / (alpha - 1.0)), rel=1e-5
    )


def test_uniform_rain_is_exact():
    """Shapes far wider than the hop: k (sum of rates)^alpha times the length."""
    wide = Chords(np.zeros(3), np.array([2.0, 3.0, 9.0]), 1e5, np.log([4.0, 1.0, 7.0]), GAUSSIAN)
    for alpha in (0.65, 1.0, 1.5):
        found, _ = hop_attenuation_db([wide], path_length_km=12.0, k=0.1, alpha=alpha)
        assert float(found) == pytest.approx(0.1 * 12.0**alpha * 12.0, rel=1e-6)


def test_the_sum_of_powers_is_far_off():
    """Negative control: two equal rates, each by itself, are 2^(1 - alpha) times too much."""
    one = Chords(np.zeros(1), 1.0, 50.0, np.log(10.0), GAUSSIAN)
    two = Chords(np.zeros(2), 1.0, 50.0, np.log(10.0), GAUSSIAN)
    alone, _ = hop_attenuation_db([one], path_length_km=2.0, k=1.0, alpha=0.7)
    both, _ = hop_attenuation_db([two], path_length_km=2.0, k=1.0, alpha=0.7)
    assert 2.0 * float(alone) / float(both) == pytest.approx(2.0**0.3, rel=1e-3)


def _storm_field(rng, median_mm_h, *, wide):
    """Storms of a dozen cells at one instant, of the population's sizes; wide shapes below if asked."""
    showers, shapes = [], []
    for storm in range(rng.poisson(3) + 1):
        centre = rng.uniform(-15.0, 15.0, 2) if storm == 0 else rng.uniform(-40.0, 40.0, 2)
        score = 0.8 + np.sqrt(0.9) * rng.standard_normal()
        for _ in range(rng.poisson(5 if wide else 13) + 1):
            x, y = centre + 13.0 * np.sqrt(rng.gamma(3.0, 1.0 / 3.0)) * rng.standard_normal(2)
            peak = median_mm_h * np.exp(1.26 * (score + np.sqrt(0.1) * rng.standard_normal()))
            showers.append({"x": x, "y": y, "peak": peak, "life": 3000.0, "birth": -rng.uniform(0.0, 3000.0)})
    for _ in range(rng.poisson(2) + 1 if wide else 0):
        x, y = rng.uniform(-40.0, 40.0, 2)
        peak = median_mm_h * np.exp(1.26 * rng.normal(0.5, 0.6))
        life = {"life": 9000.0, "birth": -rng.uniform(0.0, 9000.0)}
        shapes.append(
            {"x": x, "y": y, "peak": peak, "ratio": 2.0, "bearing": rng.uniform(0.0, np.pi), **life}
        )
    showers = [
        {**each, "radius": float(largest_radius_km(POPULATION, np.log(each["peak"])))} for each in showers
    ]
    return cells_field(showers, wide=[{**each, "radius": 15.0} for each in shapes])


POPULATION = cells_field([{"peak": 1.0, "life": 1.0}]).population


@pytest.mark.slow
@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize("alpha", [0.6, 0.7, 0.85, 0.92, 1.08, 1.25, 1.6])
def test_many_shapes_within_5_percent_root_mean_square(alpha, wide):
    """Path means of 1 mm/h or more, medians of 0.36, 1.0 and 2.6 mm/h, on every length from 0.1 to 60 km."""
    rng = np.random.default_rng(7)
    fields = [_storm_field(rng, median, wide=wide) for median in (0.36, 1.0, 2.6) for _ in range(40)]
    for length in LENGTHS_KM:
        hop = HopLine(-0.3 * length, -0.4 * length, 0.3 * length, 0.4 * length, 1.0, alpha)
        errors = []
        for field in fields:
            exact = attenuation_by_quadrature_db(field, hop, 0.0, step_km=0.05)
            if exact >= length:
                errors.append(float(attenuation_at(field, hop, 0.0)) / exact - 1.0)
        assert len(errors) > 30
        assert np.sqrt(np.mean(np.square(errors))) < 0.05


@given(
    across=st.floats(-30.0, 30.0),
    along=st.floats(-20.0, 40.0),
    ratio=st.floats(1.0, 5.0),
    bearing=st.floats(-4.0, 4.0),
    hop=st.floats(-4.0, 4.0),
    place=st.floats(0.0, 1.0),
)
def test_an_ellipse_on_a_line_is_a_gaussian_along_it(across, along, ratio, bearing, hop, place):
    """The rate at a place by the quadratic form of the ellipse, and by what the line makes of it."""
    scale, skew = (float(value) for value in ellipse_chord(ratio, bearing, hop))
    at = 10.0 * place
    # From the centre to the place, in the axes of the ellipse.
    east = (at - along) * np.sin(hop) + across * np.cos(hop)
    north = (at - along) * np.cos(hop) - across * np.sin(hop)
    long = east * np.sin(bearing) + north * np.cos(bearing)
    short = east * np.cos(bearing) - north * np.sin(bearing)
    exact = long**2 / ratio + short**2 * ratio
    found = (scale * across) ** 2 + ((at - along - skew * across) / scale) ** 2
    assert found == pytest.approx(exact, rel=1e-9, abs=1e-9)


@given(
    across=st.floats(0.0, 30.0),
    along=st.floats(-20.0, 40.0),
    length=st.floats(0.1, 40.0),
    radius=st.floats(0.3, 9.0),
)
def test_two_halves_of_a_path_hold_its_rain(across, along, length, radius):
    chords = Chords(across, along, radius, 3.0, PEAKED)
    whole, greatest = chord_rain(chords, 0.0, length)
    first, near = chord_rain(chords, 0.0, 0.5 * length)
    second, far = chord_rain(chords, 0.5 * length, length)
    assert float(first + second) == pytest.approx(float(whole), rel=1e-9, abs=1e-12)
    assert max(float(near), float(far)) == pytest.approx(float(greatest), rel=1e-9)


@given(
    peaks=st.lists(st.floats(0.5, 100.0), min_size=2, max_size=5),
    more=st.floats(1.0, 3.0),
    alpha=st.floats(0.6, 1.6),
)
def test_more_rain_is_more_loss(peaks, more, alpha):
    n = len(peaks)
    chords = Chords(np.arange(n), np.linspace(0.0, 6.0, n), 2.0, np.log(peaks), PEAKED)
    stronger = Chords(np.arange(n), np.linspace(0.0, 6.0, n), 2.0, np.log(peaks) + np.log(more), PEAKED)
    base, _ = hop_attenuation_db([chords], path_length_km=6.0, k=0.1, alpha=alpha)
    raised, _ = hop_attenuation_db([stronger], path_length_km=6.0, k=0.1, alpha=alpha)
    assert float(raised) == pytest.approx(float(base) * more**alpha, rel=1e-9)


def test_dead_shapes_do_nothing():
    chords = Chords(np.array([1.0]), 1.0, 0.0, 4.0, PEAKED)
    found, integrals = hop_attenuation_db([chords], path_length_km=5.0, k=0.1, alpha=0.9)
    assert float(found) == float(integrals[0][0]) == 0.0


def test_hops_are_cut_evenly():
    assert [n_stretches(length, 0.7) for length in (0.1, 6.0, 6.1, 60.0)] == [1, 1, 2, 10]
    assert [n_stretches(length, 1.6) for length in (6.0, 6.1)] == [1, 2]
    assert [n_stretches(length, 1.0) for length in (20.0, 20.1)] == [n_stretches(20.0, 0.91), 2] == [1, 2]


def test_an_impossible_power_is_refused():
    with pytest.raises(ValueError, match=r"alpha is 5\.0; must be 0\.3 to 2\.5"):
        own_mean_share(PEAKED, 5.0)
