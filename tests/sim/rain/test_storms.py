"""The drawn field: its laws in bulk, its names and order, and the streams that it draws from."""

import dataclasses
from itertools import product

import numpy as np
import pytest
from rain_checks import cells_field
from scipy import stats

from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import RainLaw, annual_exceedance
from hopyears.models.air.storm import DEFAULT_STORMS, StormModel
from hopyears.models.basics.calendar import MONTH_SECONDS, month_of
from hopyears.models.basics.intervals import joined
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain.peaks import month_law, month_laws, sparse_law
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.scenes import raw_law, scenes
from hopyears.sim.rain.storm_intervals import storm_intervals
from hopyears.sim.rain.storms import _year_factors, draw_storms
from hopyears.sim.streams import Streams

WET_SUMMER = RainLaw(np.repeat([1.2, 2.6, 1.2], [4, 4, 4]), np.repeat([0.04, 0.08, 0.04], [4, 4, 4]))
REGION = Region(-25.0, -25.0, 25.0, 25.0)


@pytest.fixture(scope="module")
def field():
    return draw_storms(Streams(5, 0), WET_SUMMER, REGION, n_years=2)


def test_the_same_streams_draw_the_same_field(field):
    again = draw_storms(Streams(5, 0), WET_SUMMER, REGION, n_years=2)
    for entry in dataclasses.fields(field):
        one, other = getattr(field, entry.name), getattr(again, entry.name)
        assert np.array_equal(one, other) if isinstance(one, np.ndarray) else one == other
    other_block = draw_storms(Streams(5, 1), WET_SUMMER, REGION, n_years=2)
    assert not np.array_equal(field.cells[:100, 2], other_block.cells[:100, 2])


def test_more_years_leave_the_first_years_as_they_are(field):
    one = draw_storms(Streams(5, 0), WET_SUMMER, REGION, n_years=1)
    np.testing.assert_array_equal(one.cells[:, 0], field.cells[: one.n_cells, 0])
    np.testing.assert_array_equal(one.wide, field.wide[: one.n_wide])


def test_a_region_that_grows_keeps_every_shape_that_it_had(field):
    """A new site far off adds rain where it is, and moves, adds and takes away none elsewhere."""
    more = draw_storms(Streams(5, 0), WET_SUMMER, Region(-25.0, -25.0, 175.0, 100.0), n_years=2)
    assert more.n_cells > 1.5 * field.n_cells
    for rows, all_rows in ((field.cells, more.cells), (field.wide, more.wide)):
        assert {row.tobytes() for row in rows} <= {row.tobytes() for row in all_rows}
        # What came in beside cannot reach the old region.
        old = {row.tobytes() for row in rows}
        new = np.array([row for row in all_rows if row.tobytes() not in old])
        middle = np.hypot(new[:, 2] + 0.5 * new[:, 1] * new[:, 4], new[:, 3] + 0.5 * new[:, 1] * new[:, 5])
        assert middle.min() > 25.0


def test_cells_stand_storm_by_storm(field):
    assert np.all(np.diff(field.cell_storm) >= 0)
    assert field.storm_first_cell[-1] == field.n_cells
    for storm in (0, field.n_storms // 2, field.n_storms - 1):
        part = slice(field.storm_first_cell[storm], field.storm_first_cell[storm + 1])
        assert np.all(field.cell_storm[part] == storm)
        own = field.cells[part]
        assert np.all(own[:, 0] >= field.storm_start_s[storm])
        assert (own[:, 0] + own[:, 1]).max() == field.storm_end_s[storm]
        assert np.all(own[:, 4:6] == own[0, 4:6])
    assert not field.cells.flags.writeable


def test_sites_that_move_a_little_keep_the_region():
    first = Region.around([1.0, 40.0], [-3.0, 12.0])
    second = Region.around([2.0, 41.0], [-2.0, 13.0])
    assert first == second == Region(0.0, -25.0, 50.0, 25.0)


def test_cells_have_the_life_and_drift_asked_for(field):
    """Over the middle of the region, where nothing is cut away."""
    inside = (np.abs(field.cells[:, 2]) < 15.0) & (np.abs(field.cells[:, 3]) < 15.0)
    life = field.cells[inside, 1]
    error = life.std() / np.sqrt(len(life))
    assert abs(life.mean() - DEFAULT_POPULATION.mean_life_s) < 4.0 * error
    speed = 3600.0 * np.hypot(*field.cells[field.storm_first_cell[:-1], 4:6].T)
    # Storms that can drift in from afar are fast ones, so the storms kept are a little faster than all.
    assert DEFAULT_STORMS.mean_drift_km_h * 0.9 < speed.mean() < DEFAULT_STORMS.mean_drift_km_h * 1.4


def test_storms_and_wide_shapes_of_a_system_move_as_one(field):
    assert field.n_wide > 100
    speeds = np.full((field.shape_system.max() + 1, 2), np.nan)
    speeds[field.storm_system] = field.cells[field.storm_first_cell[:-1], 4:6]
    wide = field.wide[:, 4:6]
    known = np.isfinite(speeds[field.wide_system, 0])
    assert known.sum() > 30
    np.testing.assert_array_equal(speeds[field.wide_system][known], wide[known])
    # Long axes lie across the drift.
    bearing = np.arctan2(wide[:, 0], wide[:, 1])
    np.testing.assert_allclose(np.cos(field.wide[:, 9] - bearing), 0.0, atol=1e-9)


@pytest.mark.slow
def test_number_of_shapes_alive_is_that_of_the_months():
    model = dataclasses.replace(DEFAULT_STORMS, yearly_spread=0.0)
    months = month_laws(WET_SUMMER, DEFAULT_POPULATION, model)
    counts = []
    for block in range(10):
        field = draw_storms(Streams(8, block), WET_SUMMER, REGION, n_years=2, storms=model)
        found = []
        for rows in (field.cells, field.wide):
            inside = (np.abs(rows[:, 2]) < 20.0) & (np.abs(rows[:, 3]) < 20.0)
            found.append(np.bincount(month_of(rows[inside, 0]), minlength=12) / 2.0)
        counts.append(found)
    per_s = [
        [m.showers.alive_per_km2 / DEFAULT_POPULATION.mean_life_s for m in months],
        [m.wide.alive_per_km2 / model.wide_life_s for m in months],
    ]
    expected = np.array(per_s) * MONTH_SECONDS * 40.0**2
    counts = np.array(counts)
    error = counts.std(axis=0, ddof=1) / np.sqrt(len(counts))
    assert np.all(np.abs(counts.mean(axis=0) - expected) < 4.5 * error)


@pytest.mark.slow
def test_years_differ_as_told():
    """The gamma factor of each year: spread of the years' cells beyond that of the systems' own number."""
    quiet = dataclasses.replace(DEFAULT_STORMS, yearly_spread=0.0)
    lively = dataclasses.replace(quiet, yearly_spread=0.5)
    thin = RainLaw(np.full(12, 2.0), np.full(12, 0.03))
    spread = []
    for model in (quiet, lively):
        field = draw_storms(Streams(2, 0), thin, Region(0.0, 0.0, 0.0, 0.0), n_years=30, storms=model)
        year = (field.storm_start_s // SECONDS_PER_YEAR).astype(int)
        count = np.bincount(year, minlength=30)[:30]
        spread.append(count.std(ddof=1) / count.mean())
    assert spread[0] < 0.2
    assert 0.5 * 0.6 < spread[1] < 0.5 * 1.5


@pytest.mark.slow
@pytest.mark.parametrize(
    ("mean_rate_mm_h", "rain_probability"), [*product((0.7, 1.6, 3.0, 6.5), (0.02, 0.15, 0.5)), (0.7, 0.1)]
)
def test_shapes_of_every_month_meet_its_law_with_overlap(mean_rate_mm_h, rain_probability):
    """ITU-R P.837-7 between the knots of the table: within 5 %, and 4 standard errors, from the median on."""
    rates = mean_rate_mm_h * np.array([0.5, 1.0, 2.0, 4.0, 8.0])
    wanted = rain_probability * _tail(rates, mean_rate_mm_h)
    month = (DEFAULT_POPULATION, DEFAULT_STORMS, mean_rate_mm_h, rain_probability)
    given = {"mean_rate_mm_h": mean_rate_mm_h, "rain_probability": rain_probability}
    ratio = []
    # Few systems carry the rain of cool months.
    for law, n_sets in (
        (month_law(*month), 28 if mean_rate_mm_h < 1.0 else 6),
        (sparse_law(*month[:2], **given), 6),
    ):
        sets = []
        for number in range(n_sets):
            first = 777_777 + 1000 * number
            snapshots = scenes([law], *month[:2], per_month=6_000, first_month=first, longest_hop_km=0.0)
            found = raw_law(snapshots, path_length_km=0.0, k=1.0, alpha=1.0).exceedance(rates)
            sets.append(found / wanted)
        ratio.append((np.mean(sets, axis=0), np.std(sets, axis=0, ddof=1) / np.sqrt(len(sets))))
    (mean, error), (sparse, unsure) = ratio
    assert np.all(np.abs(mean - 1.0) < 0.05 + 4.0 * error)
    assert np.all(error < 0.07)
    # Shapes that know nothing of overlap are told apart.
    assert np.any(np.abs(sparse - 1.0) > 0.05 + 4.0 * unsure)


def _tail(rates, mean_rate):
    law = RainLaw(np.full(12, mean_rate), np.full(12, 1.0))
    return annual_exceedance(law, rates)


def test_dry_months_have_no_storms():
    dry = RainLaw(np.full(12, 2.0), np.zeros(12))
    field = draw_storms(Streams(1, 0), dry, REGION, n_years=1)
    assert field.n_cells == field.n_storms == field.n_wide == 0
    assert len(storm_intervals(field, [[0.0, 0.0]], distance_km=15.0, least_peak_mm_h=5.0).start_s) == 0


def test_storm_intervals_are_when_a_strong_cell_is_near():
    passing = {"birth": 1000.0, "life": 4000.0, "x": -20.0, "vx": 0.01, "peak": 30.0, "radius": 2.0}
    weak = {**passing, "birth": 50_000.0, "peak": 1.0}
    second = {**passing, "birth": 2000.0}
    field = cells_field([passing, second, weak], storm_of=[0, 1, 2])
    near = storm_intervals(
        field, [[0.0, 30.0], [0.0, 0.0], [10.0, 0.0]], distance_km=10.0, least_peak_mm_h=5.0
    )
    # The second place has each within 10 km from 1000 s to 3000 s after its birth; the third 1000 s later.
    assert list(near.row) == [1, 2]
    np.testing.assert_allclose(near.start_s, [2000.0, 3000.0], atol=1.0)
    np.testing.assert_allclose(near.end_s, [5000.0, 6000.0], atol=1.0)


def test_a_storm_is_as_wide_as_its_strong_cells_lie_apart():
    """Two strong cells 6 km apart: a circle of 3 km / sqrt(2) about their middle; weak ones do not count."""
    still = {"birth": 1000.0, "life": 4000.0, "peak": 30.0, "radius": 2.0}
    field = cells_field([still, {**still, "x": 6.0, "birth": 2000.0}, {**still, "x": 60.0, "peak": 1.0}])
    near = storm_intervals(
        field, [[3.0, 12.0], [3.0, 12.2], [60.0, 0.0]], distance_km=10.0, least_peak_mm_h=5.0
    )
    assert list(near.row) == [0]
    assert [float(near.start_s[0]), float(near.end_s[0])] == [1000.0, 6000.0]


def test_a_strong_wide_shape_is_near_too():
    wide = {"birth": 1000.0, "life": 4000.0, "peak": 6.0, "radius": 15.0, "ratio": 2.0, "bearing": 0.0}
    near = storm_intervals(
        cells_field([], wide=[wide, {**wide, "peak": 4.0}]),
        [[0.0, 14.0]],
        distance_km=15.0,
        least_peak_mm_h=5.0,
    )
    assert list(near.row) == [0]


def test_storms_near_places_are_the_same_however_many_places_are_taken_at_a_time(monkeypatch):
    passing = {"birth": 1000.0, "life": 4000.0, "x": -20.0, "vx": 0.01, "peak": 30.0, "radius": 2.0}
    field = cells_field([{**passing, "birth": 1500.0 * k, "y": 7.0 * k} for k in range(9)])
    places = [[5.0 * k, 4.0 * k] for k in range(-3, 8)]
    found = []
    for at_once in (1, 4, 11, 99):
        monkeypatch.setattr("hopyears.sim.rain.storm_intervals.PLACES_AT_ONCE", at_once)
        near = storm_intervals(field, places, distance_km=10.0, least_peak_mm_h=5.0)
        found.append((near.row.tolist(), near.start_s.tolist(), near.end_s.tolist()))
    assert len(set(found[0][0])) > 4
    assert found.count(found[0]) == len(found)


def test_many_storms_are_near_when_any_of_them_is_alone():
    """In an order in which some passages begin long before others that were born earlier."""
    rng = np.random.default_rng(5)
    storms = [
        {
            "birth": float(rng.uniform(0.0, 40_000.0)),
            "life": float(rng.uniform(600.0, 20_000.0)),
            "x": float(rng.uniform(-150.0, 50.0)),
            "y": float(rng.uniform(-40.0, 40.0)),
            "vx": float(rng.uniform(-0.005, 0.02)),
            "peak": 30.0,
            "radius": 2.0,
        }
        for _ in range(60)
    ]
    places = rng.uniform(-50.0, 50.0, (9, 2))
    asked = {"distance_km": 12.0, "least_peak_mm_h": 5.0}
    together = storm_intervals(cells_field(storms, storm_of=range(60)), places, **asked)
    each = [storm_intervals(cells_field([storm]), places, **asked) for storm in storms]
    alone = joined(*each)
    for found, wanted in ((together.start_s, alone.start_s), (together.end_s, alone.end_s)):
        np.testing.assert_allclose(found, wanted, rtol=1e-12)
    assert together.offset.tolist() == alone.offset.tolist()
    passages = sum(len(one.start_s) for one in each)
    assert 30 < len(together.start_s) < 0.9 * passages


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: StormModel(cells_per_rate=0.0), "cells_per_rate is 0.0; must be above 0"),
        (
            lambda: StormModel(system_correlation=0.5, storm_correlation=0.5),
            "system_correlation, storm_correlation are 0.5, 0.5; must be at least 0 and together below 1",
        ),
        (lambda: StormModel(wide_ratio=0.5), "wide_ratio is 0.5; must be at least 1"),
        (lambda: StormModel(yearly_spread=-1.0), "yearly_spread is -1.0; must be 0 to 10"),
        (lambda: Region(1.0, 0.0, 0.0, 1.0), "region is 1.0, 0.0 to 0.0, 1.0"),
        (
            lambda: draw_storms(Streams(1, 0), WET_SUMMER, REGION, n_years=0),
            "n_years is 0; must be at least 1",
        ),
    ],
)
def test_impossible_storms_are_refused(make, text):
    with pytest.raises(ValueError, match=text.replace(".", r"\.")):
        make()


def test_a_wet_year_is_wet_by_as_much_as_years_differ_there():
    """Factors of tiles are gamma variables of mean 1 (scipy.stats) at one chance a year for all the globe."""
    spreads = np.array([0.0, 0.12, 0.6])
    factors = np.array([_year_factors(Streams(3, 0), year, spreads) for year in range(2000)])
    np.testing.assert_allclose(factors[:, 0], 1.0, atol=0.005)
    for column in (1, 2):
        shape = spreads[column] ** -2
        assert stats.kstest(factors[:, column], stats.gamma(shape, scale=1 / shape).cdf).pvalue > 0.01
    assert np.all(np.diff(factors[np.argsort(factors[:, 1]), 2]) >= 0.0)
