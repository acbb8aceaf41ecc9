"""The kernel's windows against cell-by-cell sums, and against every cell looked at every ten seconds."""

import numpy as np
import pytest
from rain_checks import attenuation_by_quadrature_db, cells_field, time_above_s

from hopyears.models.air.path_rain import hop_numbers
from hopyears.models.air.rain_cell import PEAKED
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain.rain_kernel import HopLine, attenuation_at, rain_knots, rain_shares
from hopyears.sim.rain.rain_near import (
    INTEGRAL,
    MET,
    PEAK,
    RATE,
    SINCE,
    UNTIL,
    approach,
    in_groups,
    meet,
    put_in_order,
)
from hopyears.sim.rain.rain_sieve import BOUND_MARGIN, may_reach
from hopyears.sim.rain.shape_columns import _no_core, cell_column, track_of
from hopyears.sim.rain.shape_loops import COLUMN, LANES, add_bounds, add_values, most_attenuation, power_of
from hopyears.sim.rain.storms import Region, draw_storms
from hopyears.sim.streams import Streams

HOP = HopLine(-5.0, 1.0, 5.0, -1.0, k=0.07, alpha=1.08)
PASSING = {"birth": 10_000.0, "life": 3000.0, "x": -12.0, "vx": 0.008, "peak": 60.0, "radius": 2.0}
BESIDE = {"birth": 11_000.0, "life": 2000.0, "x": 2.0, "y": 4.0, "vx": 0.008, "peak": 20.0, "radius": 4.0}
WIDE = {
    "birth": 6000.0, "life": 9000.0, "x": -40.0, "y": 6.0, "vx": 0.008, "vy": -0.001,
    "peak": 6.0, "radius": 14.0, "ratio": 2.0, "bearing": 0.7,
}  # fmt: skip
HOPS = [HOP, HopLine(0.0, -2.0, 0.5, 1.5, k=0.388, alpha=0.855), HopLine(-14.0, 3.0, 14.0, 5.0, 0.018, 1.21)]
CLIMATES = [
    (0.6, 0.24),
    (0.8, 0.15),
    (1.0, 0.08),
    (1.5, 0.03),
    (1.5, 0.12),
    (2.2, 0.06),
    (3.0, 0.02),
    (3.0, 0.08),
    (4.5, 0.04),
    (6.4, 0.06),
]
"""Mean rate [mm/h] and probability of rain of every month."""


@pytest.fixture(scope="module")
def field():
    law = RainLaw(np.full(12, 2.0), np.full(12, 0.06))
    return draw_storms(Streams(3, 0), law, Region(-15.0, -15.0, 15.0, 15.0), n_years=1)


def test_attenuation_of_three_shapes_by_quadrature():
    field = cells_field([PASSING, BESIDE], wide=[WIDE])
    for time_s in (10_050.0, 11_500.0, 12_600.0, 12_990.0, 14_000.0):
        exact = attenuation_by_quadrature_db(field, HOP, time_s)
        found = attenuation_at(field, HOP, np.array([time_s]))[0]
        assert found == pytest.approx(exact, rel=0.03, abs=1e-3)


@pytest.mark.parametrize("hop", HOPS)
def test_the_course_is_that_of_all_shapes_together(hop):
    """Compiled, in single precision, against the formula of the model in double precision."""
    field = cells_field([PASSING, BESIDE], wide=[WIDE])
    knots = rain_knots(field, hop, lowest_threshold_db=0.5)
    exact = attenuation_at(field, hop, knots.time_s)
    assert len(knots.time_s) > 100
    np.testing.assert_allclose(knots.attenuation_db, exact, rtol=3e-5, atol=1e-4)


@pytest.mark.parametrize("threshold_db", [0.4, 3.0, 9.0])
@pytest.mark.parametrize("hop", [*HOPS, HopLine(-3.0, 0.0, 5.0, -1.0, k=1.2, alpha=0.7)])
def test_windows_of_three_shapes_hold_all_time_above(hop, threshold_db):
    """Every ten seconds by the formula of the model; also where 1 mm/h on the hop is above the threshold."""
    field, ticks = cells_field([PASSING, BESIDE], wide=[WIDE]), np.arange(550, 1550)
    exact = attenuation_at(field, hop, 10.0 * ticks)
    knots = rain_knots(field, hop, lowest_threshold_db=threshold_db)
    above = np.rint(knots.time_s[knots.attenuation_db >= threshold_db] / 10.0).astype(int)
    assert np.all(np.isin(ticks[exact >= threshold_db * 1.005], above))
    assert not np.any(np.isin(ticks[exact < threshold_db * 0.995], above))
    assert np.all(np.isin(above, ticks))


def test_what_a_shape_can_give_about_a_time_bounds_what_it_gives():
    """Random showers and wide shapes: path integral and greatest rate of half a minute about each minute."""
    rng, n = np.random.default_rng(1), 40
    phase, paces = rng.uniform(-0.5, 0.5, n), np.full(n, 1.0 / 3000.0)
    tracks = rng.normal(0.0, [[4.0], [0.01]] * 2, (4, n))
    peaks = np.array([[0.63], [0.37]]) * rng.lognormal(2.0, 1.0, n)
    peaks[0, ::4] = 0.0
    radius, scale = rng.uniform(0.5, 8.0, n), rng.uniform(0.7, 1.4, n)
    shares, nothing = np.full(n, 0.5), np.zeros(n)
    columns = np.column_stack([phase, paces, *tracks, *peaks, radius, scale, shares, 1.0 / scale, nothing])
    hop, seen = hop_numbers(PEAKED, 6.0, 0.07, 1.08), 0
    for shape in range(n):
        bound, course = np.zeros((2, 64), np.float32), np.zeros((2, 392), np.float32)
        add_bounds(bound, columns.astype(np.float32), shape, 0, 63, 30.0, 60.0, 30.0, hop)
        add_values(course, columns.astype(np.float32), shape, 391, 0.0, 10.0, 0.0, 6.0, hop)
        # Mean rate along the hop; r_i is between that and the greatest rate.
        course[1] = course[1] / np.maximum(course[0], 1e-20) + course[0] / 6.0
        for row in range(2):
            given = np.max([course[row, 6 * np.arange(64) + i] for i in range(7)], axis=0)
            assert np.all(given <= bound[row] * 1.0001 + 1e-5)
        seen += np.count_nonzero(course[0] > 0.1)
    assert seen > 1000


def test_what_a_cell_can_give_a_hop_that_meets_its_group_bounds_what_it_gives():
    """Random cells: path integral, rate, and the times outside which it rains less than a level."""
    rng, n, length, level, when = np.random.default_rng(4), 64, 6.0, 0.5, (1200.0, 4800.0)
    hop, line, times = hop_numbers(PEAKED, length, 0.07, 1.08), (1.0, -2.0, 0.8, 0.6), np.arange(*when, 30.0)
    births, lives = rng.uniform(0.0, 3000.0, n), rng.gamma(3.0, 900.0, n)
    places, drift = rng.normal(0.0, 12.0, (2, n)), np.full((2, n), [[0.006], [-0.003]])
    rows = np.column_stack(
        [births, lives, *places, *drift, rng.normal(2.0, 1.0, n), rng.uniform(0.4, 3.0, n)]
    )
    starts, _, framed = in_groups(rows, np.array([0, n]), PEAKED.outer_radius)
    met, column, seen = np.empty(MET, np.float32), np.empty((1, COLUMN), np.float32), 0
    for start, cells in zip(starts, framed.reshape(len(starts), -1), strict=True):
        meet(met, cells)
        track = track_of.py_func(met, line)
        approach(met, hop, line[2:], track, when[0] - start, when[1] - start, np.log(level))
        for i in range(LANES):
            cell_column.py_func(column, 0, met, i, track, 0.0, hop, line)
            course = np.zeros((2, len(times)), np.float32)
            add_values(course, column, 0, len(times) - 1, when[0] - start, 30.0, 0.0, length, hop)
            rate = course[1] / np.maximum(course[0], 1e-20) + course[0] / length
            # Beyond its reach a cell rains less than a thousandth of its peak, and counts as nothing.
            nothing = 1e-3 * met[PEAK + i]
            assert np.all(course[0] <= met[INTEGRAL + i] * 1.0001 + nothing * length)
            assert np.all(rate <= met[RATE + i] * 1.0001 + nothing)
            inside = (times - start > met[SINCE + i] - 0.01) & (times - start < met[UNTIL + i] + 0.01)
            assert np.all(course[0][~inside] <= level * length)
            seen += np.count_nonzero(course[0] > level * length)
    assert seen > 150


@pytest.mark.parametrize("n", [0, 1, 2, 7, 100])
def test_rows_are_put_in_order_in_their_own_place(n):
    rng = np.random.default_rng(n)
    for order in (rng.permutation(n), np.arange(n), np.roll(np.arange(n), 1)):
        rows = rng.random((n, 3))
        wanted = rows[order]
        put_in_order(rows, order.copy())
        assert np.array_equal(rows, wanted)


@pytest.mark.parametrize("alpha", [0.7, 1.0, 1.3])
def test_the_most_that_a_hop_may_lose_reaches_a_level_where_the_sieve_says_so(alpha):
    rng, length, k = np.random.default_rng(6), 6.0, 0.07
    hop = hop_numbers(PEAKED, length, k, alpha)
    mean = rng.uniform(0.0, 60.0, 64)
    sums = np.array([length * mean, mean * rng.uniform(1.0, 3.0, 64)], np.float32)
    bounds = sums.copy()
    most_attenuation(bounds, 64, np.float32(30.0), np.float32(5.0), hop)
    for level in (1.0, 5.0, 20.0):
        needed = ((level / (k * length)) ** (1.0 / alpha), level / k, alpha - 1.0, length)
        reached = [may_reach.py_func(i + 30.0, r + 5.0, needed) for i, r in sums.T.astype(float)]
        # For alpha up to 1 the sieve's margin is that of the path integral, not of the attenuation.
        assert np.all(bounds[0][reached] >= BOUND_MARGIN ** max(alpha, 1.0) * level * (1.0 - 1e-5))
        assert not np.any(bounds[0][~np.array(reached)] >= level)
    assert np.array_equal(bounds[1], sums[1])


@pytest.mark.parametrize("power", [-0.4, -0.05, 0.0, 0.25, 0.6])
def test_powers_are_those_of_numpy(power):
    rates = np.geomspace(1e-6, 900.0, 700).astype(np.float32)
    found = [power_of.py_func(rate, np.float32(power)) for rate in rates]
    np.testing.assert_allclose(found, rates.astype(float) ** np.float32(power), rtol=1e-6)


def test_a_cell_without_its_inner_gaussian_lacks_less_than_a_millionth():
    """What is left out where it stays as far off as the share of the peak says that it rains."""
    share = _no_core.py_func(hop_numbers(PEAKED, 6.0, 0.07, 1.08))
    away = np.geomspace(0.1, 20.0, 500)
    core, skirt = (
        weight * np.exp(-0.5 * (away / radius) ** 2)
        for weight, radius in (
            (PEAKED.inner_weight, PEAKED.inner_radius),
            (1.0 - PEAKED.inner_weight, PEAKED.outer_radius),
        )
    )
    left_out = core + skirt <= share
    assert 0 < np.count_nonzero(left_out) < 500
    assert np.all(core[left_out] < 1e-6 * skirt[left_out])
    assert np.all(core[~left_out] > 1e-7 * skirt[~left_out])


def test_one_window_for_one_passage():
    field = cells_field([PASSING])
    knots = rain_knots(field, HOP, lowest_threshold_db=2.0)
    assert knots.n_windows == 1
    assert knots.attenuation_db[0] < 2.0
    assert knots.attenuation_db[-1] < 2.0
    assert np.all(knots.attenuation_db[1:-1] >= 2.0)
    assert np.all(np.diff(knots.time_s) <= 10.0 + 1e-6)
    exact = attenuation_at(field, HOP, knots.time_s)
    np.testing.assert_allclose(knots.attenuation_db, exact, atol=2e-3)


def test_no_window_where_the_threshold_is_out_of_reach():
    knots = rain_knots(cells_field([PASSING]), HOP, lowest_threshold_db=200.0)
    assert knots.n_windows == 0
    assert len(knots.time_s) == 0


def test_rain_at_the_edges_of_the_block_is_cut():
    early = {**PASSING, "birth": -1500.0, "x": 0.0, "vx": 0.0}
    late = {**PASSING, "birth": SECONDS_PER_YEAR - 1500.0, "x": 0.0, "vx": 0.0}
    knots = rain_knots(cells_field([early, late]), HOP, lowest_threshold_db=2.0)
    assert knots.n_windows == 2
    assert knots.time_s[0] == 0.0
    assert knots.time_s[-1] == pytest.approx(SECONDS_PER_YEAR)
    assert knots.attenuation_db[0] > 2.0


@pytest.mark.parametrize("threshold_db", [4.0, 12.0])
@pytest.mark.parametrize("hop", HOPS)
def test_windows_hold_all_time_above(field, hop, threshold_db):
    """Every cell, every ten seconds, without any sieve, against the kernel."""
    knots = rain_knots(field, hop, lowest_threshold_db=threshold_db)
    above = set(np.rint(knots.time_s[knots.attenuation_db >= threshold_db] / 10.0).astype(int))
    rainy = field.cells[field.cells[:, 6] > np.log(3.0), 0]
    n_above = 0
    for hour in np.unique((rainy // 3600.0).astype(int))[::19]:
        ticks = hour * 360 + np.arange(360)
        every = attenuation_at(field, hop, ticks * 10.0)
        # Cells end abruptly at three outer radii, and the kernel is in single precision.
        sure = ticks[every >= threshold_db * 1.005]
        n_above += len(sure)
        assert set(sure) <= above
        assert set(ticks[every < threshold_db * 0.995]).isdisjoint(above)
    assert n_above > 0


@pytest.mark.parametrize("hop", HOPS)
def test_a_lower_threshold_changes_nothing_above_a_higher_one(field, hop):
    low = rain_knots(field, hop, lowest_threshold_db=1.0)
    high = rain_knots(field, hop, lowest_threshold_db=8.0)
    assert high.n_windows > 0
    assert time_above_s(low, 8.0) == pytest.approx(time_above_s(high, 8.0), rel=1e-4)


@pytest.mark.slow
@pytest.mark.parametrize(("mean_rate_mm_h", "rain_probability"), CLIMATES)
def test_time_above_a_level_does_not_depend_on_lower_ones(mean_rate_mm_h, rain_probability):
    """Two years of ten climates, dry to very wet: within 1 % whatever the lowest modulation asks for."""
    law = RainLaw(np.full(12, mean_rate_mm_h), np.full(12, rain_probability))
    rain = draw_storms(Streams(4, 0), law, Region(-1.0, -1.0, 1.0, 1.0), n_years=2)
    for hop in (HopLine(-0.5, 0.0, 0.5, 0.0, 1.2, 0.70), HopLine(-2.5, 0.0, 2.5, 0.0, 0.11, 1.02)):
        lowest = [rain_knots(rain, hop, lowest_threshold_db=level) for level in (1.0, 3.0, 10.0)]
        above = [time_above_s(knots, 10.0) for knots in lowest]
        assert above[2] > 0.0
        assert above[0] == pytest.approx(above[2], rel=0.01)
        assert above[1] == pytest.approx(above[2], rel=0.01)
        assert time_above_s(lowest[0], 3.0) == pytest.approx(time_above_s(lowest[1], 3.0), rel=0.01)


def test_finer_steps_change_little(field):
    ten = rain_knots(field, HOP, lowest_threshold_db=5.0)
    two = rain_knots(field, HOP, lowest_threshold_db=5.0, step_s=2.0)
    assert time_above_s(ten, 5.0) == pytest.approx(time_above_s(two, 5.0), rel=0.005)


def test_both_directions_of_a_hop_are_the_same(field):
    back = HopLine(HOP.x1_km, HOP.y1_km, HOP.x0_km, HOP.y0_km, HOP.k, HOP.alpha)
    there = rain_knots(field, HOP, lowest_threshold_db=6.0)
    and_back = rain_knots(field, back, lowest_threshold_db=6.0)
    assert time_above_s(there, 6.0) == pytest.approx(time_above_s(and_back, 6.0), rel=1e-3)


def test_the_storm_behind_a_fade_is_named():
    field = cells_field([PASSING, {**BESIDE, "peak": 3.0}], wide=[{**WIDE, "peak": 0.1}], storm_of=[0, 1])
    found = rain_shares(field, HOP, 11_500.0)
    assert list(found.shape) == [0, 1, 2]
    assert list(field.shape_system[found.shape]) == [0, 1, 2]
    assert found.share_db[0] > found.share_db[1] > found.share_db[2] > 0.0
    assert found.share_db.sum() == pytest.approx(attenuation_at(field, HOP, np.array([11_500.0]))[0])


@pytest.mark.parametrize(
    ("hop", "options", "text"),
    [
        (HOP, {"lowest_threshold_db": 0.0}, "lowest_threshold_db is 0.0; must be above 0"),
        (
            HOP,
            {"lowest_threshold_db": 5.0, "step_s": 100.0},
            "step_s is 100.0; must be above 0 and at most 60",
        ),
        (HopLine(1.0, 1.0, 1.0, 1.0, 0.1, 1.0), {"lowest_threshold_db": 5.0}, "hop length is 0 km"),
    ],
)
def test_impossible_questions_are_refused(hop, options, text):
    with pytest.raises(ValueError, match=text.replace(".", r"\.")):
        rain_knots(cells_field([PASSING]), hop, **options)
