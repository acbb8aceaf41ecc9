"""The anchor: both ways, off, kept on disk, and met by a run that had no part in fitting it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rain_checks import share_of_years_above

from hopyears.models.air.rain_attenuation import attenuation_db, attenuation_law, coefficients
from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import RainLaw, annual_exceedance, annual_rain_rate_mm_h
from hopyears.models.air.seasonality import worst_month_ratio
from hopyears.models.air.storm import DEFAULT_STORMS
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain import anchoring
from hopyears.sim.rain.anchoring import IDENTITY, Anchor, RainHop, fit_anchors, raw_attenuation_laws
from hopyears.sim.rain.peaks import month_laws
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.rain_kernel import HopLine, rain_knots
from hopyears.sim.rain.scenes import hop_samples, pair_samples, raw_law, scenes
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.storage import disk_cache
from hopyears.sim.streams import Streams

LAW = RainLaw(np.full(12, 2.0), np.full(12, 0.05))
PROBABILITIES = np.array([1e-3, 3e-4, 1e-4, 3e-5, 1e-5])
CURVE = Anchor(np.array([0.0, 2.0, 10.0, 30.0]), np.array([0.0, 1.0, 8.0, 31.0]))


def hop_and_target(length_km=12.0, frequency_ghz=18.0):
    k, alpha = (float(value) for value in coefficients(frequency_ghz, polarisation_tilt_deg=90.0))
    rate = float(annual_rain_rate_mm_h(LAW, 1e-4))
    published = attenuation_law(length_km, rate, frequency_ghz=frequency_ghz, polarisation_tilt_deg=90.0)
    return {"path_length_km": length_km, "k": k, "alpha": alpha}, lambda p: attenuation_db(published, p)


@given(value=st.floats(0.0, 200.0))
def test_there_and_back_is_where_it_was(value):
    assert float(CURVE.raw(CURVE.anchored(value))) == pytest.approx(value, abs=1e-9)
    assert float(CURVE.anchored(CURVE.raw(value))) == pytest.approx(value, abs=1e-9)


@given(value=st.floats(0.0, 100.0), more=st.floats(0.001, 100.0))
def test_more_is_more(value, more):
    assert float(CURVE.anchored(value + more)) > float(CURVE.anchored(value))


def test_beyond_its_end_the_curve_keeps_its_ratio():
    assert float(CURVE.anchored(60.0)) == pytest.approx(62.0)


def test_where_it_never_rains_there_is_no_anchoring():
    hop, target = hop_and_target()
    dry = RainLaw(np.ones(12), np.zeros(12))
    assert fit_anchors([RainHop(dry, **hop)], [target]) == [IDENTITY]
    assert float(IDENTITY.anchored(37.5)) == 37.5
    assert float(IDENTITY.raw(0.3)) == 0.3


def test_a_dry_node_of_the_map_takes_its_share_of_the_time(monkeypatch):
    monkeypatch.setattr(anchoring, "_SCENES_PER_MONTH", 50)
    hop, _ = hop_and_target()
    dry = RainLaw(np.ones(12), np.zeros(12))
    half, whole = raw_attenuation_laws(
        [RainHop([(0.5, LAW), (0.5, dry)], **hop), RainHop([(1.0, LAW)], **hop)]
    )
    levels = whole.quantile(np.array([1e-3, 1e-4]))
    np.testing.assert_allclose(half.exceedance(levels), 0.5 * whole.exceedance(levels), rtol=1e-3)


def test_a_hop_has_the_same_law_whatever_hops_are_worked_out_beside_it():
    months = month_laws(LAW, DEFAULT_POPULATION, DEFAULT_STORMS)
    snapshots = scenes(months, DEFAULT_POPULATION, DEFAULT_STORMS, per_month=20)
    length, k, alpha = np.array([0.0, 1.0, 4.0, 7.0, 13.0, 30.0, 5.0, 2.0, 59.0]), 0.1, 0.8
    both = hop_samples(snapshots, path_length_km=length, k=k, alpha=alpha)
    for i in range(len(length)):
        alone = hop_samples(snapshots, path_length_km=length[i], k=k, alpha=alpha)
        np.testing.assert_array_equal(both[0][i], alone[0])
        np.testing.assert_array_equal(both[1][i], alone[1])


@pytest.mark.parametrize("raw", [[0.0], [1.0, 2.0], [0.0, 2.0, 2.0]])
def test_a_curve_that_does_not_rise_is_refused(raw):
    with pytest.raises(ValueError, match=r"raw_db is .*; must rise strictly from 0"):
        Anchor(np.array(raw), np.arange(len(raw), dtype=float))


def test_the_anchored_snapshots_have_the_target_law():
    hop, target = hop_and_target()
    anchor = fit_anchors([RainHop(LAW, **hop)], [target])[0]
    raw = raw_attenuation_laws([RainHop(LAW, **hop)])[0].quantile(PROBABILITIES)
    np.testing.assert_allclose(anchor.anchored(raw), target(PROBABILITIES), rtol=0.01)


def test_measured_percentiles_are_met_too():
    hop, target = hop_and_target()
    anchor = fit_anchors([RainHop(LAW, **hop)], [lambda p: 0.6 * target(p)])[0]
    raw = raw_attenuation_laws([RainHop(LAW, **hop)])[0].quantile(PROBABILITIES)
    np.testing.assert_allclose(anchor.anchored(raw), 0.6 * target(PROBABILITIES), rtol=0.01)


def test_where_the_law_has_nothing_the_rain_does_nothing():
    """Dry snow: no attenuation is ever exceeded, whatever the field rains."""
    hop, _ = hop_and_target()
    anchor = fit_anchors([RainHop(LAW, **hop)], [np.zeros_like])[0]
    assert float(anchor.anchored(60.0)) < 1e-6
    assert float(anchor.raw(0.1)) > 1e6


def test_where_the_law_begins_late_the_curve_begins_there():
    """Snow dry for most of the time: attenuation only from 0.05 % of the year on."""
    hop, target = hop_and_target()
    anchor = fit_anchors([RainHop(LAW, **hop)], [lambda p: np.where(p < 5e-4, target(p), 0.0)])[0]
    raw = raw_attenuation_laws([RainHop(LAW, **hop)])[0].quantile(np.array([1e-3, 1e-4]))
    assert float(anchor.anchored(raw[0])) < 1e-3
    assert float(anchor.anchored(raw[1])) == pytest.approx(float(target(1e-4)), rel=0.01)


def test_what_is_kept_on_disk_is_what_was_fitted(tmp_path, monkeypatch):
    monkeypatch.setenv("HOPYEARS_CACHE", str(tmp_path))
    made = []

    def compute():
        made.append(1)
        return {"value": np.array([0.1, 1.0 / 3.0]), "probability": np.array([1e-3, np.pi])}

    first = disk_cache.kept_arrays("rain", (1, "a"), compute)
    again = disk_cache.kept_arrays("rain", (1, "a"), compute)
    assert len(made) == 1
    for name in first:
        np.testing.assert_array_equal(first[name], again[name])
    disk_cache.kept_arrays("rain", (2, "a"), compute)
    assert len(made) == 2
    for file in tmp_path.iterdir():
        file.write_text("spoilt")
    disk_cache.kept_arrays("rain", (1, "a"), compute)
    assert len(made) == 3


def test_a_folder_that_cannot_be_written_costs_only_time(tmp_path, monkeypatch):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    monkeypatch.setenv("HOPYEARS_CACHE", str(blocked))
    found = disk_cache.kept_arrays("rain", (1,), lambda: {"value": np.array([1.0])})
    assert found["value"][0] == 1.0


def test_distant_hops_share_less_than_near_ones():
    months = month_laws(LAW, DEFAULT_POPULATION, DEFAULT_STORMS)
    snapshots = scenes(months, DEFAULT_POPULATION, DEFAULT_STORMS, per_month=2000)
    hop, _ = hop_and_target()
    level = raw_law(snapshots, **hop).quantile(np.array([1e-3]))[0]
    shared = []
    for distance in (0.0, 3.0, 10.0, 30.0):
        first, second, weight = pair_samples(snapshots, shift_km=(0.0, distance), **hop)
        shared.append(weight[(first > level) & (second > level)].sum() / weight[first > level].sum())
    assert shared[0] == pytest.approx(1.0)
    assert shared[0] > shared[1] > shared[2] > shared[3] > 0.0


@pytest.mark.slow
@pytest.mark.parametrize(("length_km", "frequency_ghz"), [(5.0, 38.0), (12.0, 18.0), (30.0, 7.5)])
def test_a_run_meets_the_target_within_5_percent(length_km, frequency_ghz):
    """200 years at once: every probability within 5 % in dB, or 4 standard errors of the years."""
    n_years, found = 20, []
    hop, target = hop_and_target(length_km, frequency_ghz)
    anchor = fit_anchors([RainHop(LAW, **hop)], [target])[0]
    line = HopLine(0.0, 0.0, length_km, 0.0, hop["k"], hop["alpha"])
    levels = anchor.raw(target(PROBABILITIES))
    for block in range(10):
        field = draw_storms(Streams(11, block), LAW, Region.around([0.0, length_km], [0.0]), n_years=n_years)
        knots = rain_knots(field, line, lowest_threshold_db=float(levels[0]) * 0.9)
        found.append(np.array([share_of_years_above(knots, level, n_years) for level in levels]))
    years = np.concatenate(found, axis=1)
    mean, error = years.mean(axis=1), years.std(axis=1, ddof=1) / np.sqrt(years.shape[1])
    # 5 % in dB, as a change of probability along the target law.
    tolerance = _probability(target, target(PROBABILITIES) * 0.95) - PROBABILITIES
    assert np.all(np.abs(mean - PROBABILITIES) < tolerance + 4.0 * error)
    wrong = _probability(target, target(PROBABILITIES) * 0.8)
    assert np.any(np.abs(mean - wrong) > (tolerance + 4.0 * error))


def _probability(target, level_db):
    grid = np.geomspace(1e-7, 0.02, 2000)
    return np.exp(np.interp(np.asarray(level_db), target(grid)[::-1], np.log(grid)[::-1]))


@pytest.mark.slow
def test_point_rain_of_a_run_meets_the_rain_law():
    """Rain along 20 m over 150 years against P.837's law: a hop so short that its loss is the rate."""
    levels = np.array([2.0, 5.0, 10.0, 20.0, float(annual_rain_rate_mm_h(LAW, 1e-4))])
    point = HopLine(-0.01, 0.0, 0.01, 0.0, k=50.0, alpha=1.0)
    yearly = []
    for block in range(10):
        field = draw_storms(Streams(21, block), LAW, Region(0.0, 0.0, 0.0, 0.0), n_years=15)
        knots = rain_knots(field, point, lowest_threshold_db=1.9)
        yearly.append(np.array([share_of_years_above(knots, level, 15) for level in levels]))
    years = np.concatenate(yearly, axis=1)
    error = years.std(axis=1, ddof=1) / np.sqrt(years.shape[1])
    expected = annual_exceedance(LAW, levels)
    assert np.all(np.abs(years.mean(axis=1) - expected) < 0.05 * expected + 4.0 * error)
    assert np.any(np.abs(years.mean(axis=1) - 1.3 * expected) > 0.05 * expected + 4.0 * error)


@pytest.mark.slow
def test_worst_months_and_years_spread_as_the_recommendations_say():
    """A climate of two seasons: worst month near P.841's, yearly spread above the storms' own."""
    seasons = RainLaw(np.repeat([1.2, 2.6, 1.2], [4, 4, 4]), np.repeat([0.04, 0.06, 0.04], [4, 4, 4]))
    k, alpha = (float(value) for value in coefficients(18.0, polarisation_tilt_deg=90.0))
    line = HopLine(0.0, 0.0, 12.0, 0.0, k, alpha)
    raw = raw_attenuation_laws([RainHop(seasons, 12.0, k, alpha)])[0]
    level = float(raw.quantile(np.array([3e-4]))[0])
    months = []
    for block in range(10):
        field = draw_storms(Streams(31, block), seasons, Region.around([0.0, 12.0], [0.0]), n_years=10)
        knots = rain_knots(field, line, lowest_threshold_db=level)
        gap = np.diff(knots.time_s)
        used = (gap < 11.0) & (knots.attenuation_db[1:] >= level)
        month = (knots.time_s[1:][used] / SECONDS_PER_YEAR * 12.0).astype(int)
        months.append(np.bincount(month, weights=gap[used], minlength=120)[:120].reshape(10, 12))
    months = np.concatenate(months) / SECONDS_PER_YEAR
    annual = months.sum(axis=1)
    ratio = 12.0 * months.max(axis=1).mean() / annual.mean()
    assert ratio == pytest.approx(float(worst_month_ratio(annual.mean())), rel=0.5)
    summer = months[:, 4:8].sum() / months.sum()
    assert summer > 0.6
    spread = annual.std(ddof=1) / annual.mean()
    assert 0.18 < spread < 0.8


def test_hops_beyond_the_usual_surroundings_have_a_law_that_goes_on():
    """Scenes for hops over 60 km are others; their sampling error is a few per cent."""
    hop, _ = hop_and_target()
    hops = [RainHop(LAW, **{**hop, "path_length_km": length}) for length in (59.5, 60.5, 120.0)]
    below, above, far = (law.quantile(PROBABILITIES[:3]) for law in raw_attenuation_laws(hops))
    np.testing.assert_allclose(above, below, rtol=0.1)
    assert np.all(far > above)
    months = month_laws(LAW, DEFAULT_POPULATION, DEFAULT_STORMS)
    usual = scenes(months, DEFAULT_POPULATION, DEFAULT_STORMS, per_month=50)
    with pytest.raises(ValueError, match="path_length_km is 61; must be 0 to 60"):
        raw_law(usual, path_length_km=61, k=0.1, alpha=1.0)
