import numpy as np
import pytest
from coverage_check import compound_poisson, coverage, too_high, too_low
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from hopyears.sim.counting.statistics import (
    Interval,
    difference_interval,
    mean_interval,
    paired_difference,
    proportion_interval,
)


def test_nothing_seen_is_a_bound():
    bound = mean_interval(np.zeros(20), largest_unseen=3600.0)
    assert (bound.low, bound.best) == (0.0, 0.0)
    assert bound.high == pytest.approx(-np.log(0.025) * 3600.0 / 20)
    assert mean_interval(np.zeros(20)).high == np.inf


@given(st.integers(1, 9), st.integers(20, 60), st.floats(0.5, 100.0))
def test_equal_weights_give_the_exact_poisson_interval(n_seen, n_units, size):
    """The limits of F. Garwood, Biometrika 28 (1936) 437-442, by the chi-squared distribution of scipy."""
    values = np.zeros(n_units)
    values[:n_seen] = size
    found = mean_interval(values)
    assert found.low == pytest.approx(stats.chi2.ppf(0.025, 2 * n_seen) / 2 * size / n_units)
    assert found.high == pytest.approx(stats.chi2.ppf(0.975, 2 * n_seen + 2) / 2 * size / n_units)


@given(st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.booleans())
def test_proportion_interval_against_scipy(hits_trials, exact):
    hits, trials = hits_trials
    found = proportion_interval(hits, trials, exact=exact)
    other = stats.binomtest(hits, trials).proportion_ci(method="exact" if exact else "wilson")
    assert (found.low, found.high) == pytest.approx((other.low, other.high), abs=1e-9)


def test_student_interval_against_scipy():
    values = np.array([3.0, -1.0, 4.0, 1.0, -5.0, 9.0])
    low, high = stats.t.interval(0.95, 5, loc=values.mean(), scale=stats.sem(values))
    found = difference_interval(values)
    assert (found.low, found.high) == pytest.approx((low, high))
    assert paired_difference(values + 2.0, values).half_width == pytest.approx(0.0, abs=1e-12)
    assert paired_difference(values + 2.0, values).excludes_zero
    assert not found.excludes_zero


def test_one_block_knows_nothing_of_the_spread():
    assert difference_interval([3.0]).high == np.inf
    assert mean_interval([3.0]).high > 3.0
    assert mean_interval([3.0]).low < 3.0


def test_values_that_hardly_vary():
    assert mean_interval([5.0, 5.0, 5.0]).half_width == pytest.approx(0.0, abs=1e-9)
    many = np.random.default_rng(1).normal(100.0, 1.0, 400)
    assert mean_interval(many).half_width == pytest.approx(difference_interval(many).half_width, rel=0.1)


def test_interval_measures():
    interval = Interval(1.0, 2.0, 4.0).scaled(10.0)
    assert (interval.low, interval.best, interval.high) == (10.0, 20.0, 40.0)
    assert interval.half_width == 15.0
    assert interval.relative_half_width == 0.75
    assert Interval(0.0, 0.0, 1.0).relative_half_width == np.inf


# Units, outages in a unit, spread (sigma) of their lognormal durations: rare to common, few to many blocks.
REGIMES = [
    (20, 0.05, 0.5),
    (20, 0.5, 0.8),
    (100, 0.1, 0.8),
    (20, 1.0, 1.0),
    (100, 0.3, 1.0),
    (20, 10.0, 1.0),
    (5, 20.0, 0.5),
]


@pytest.mark.parametrize(("n_units", "events_per_unit", "sigma"), REGIMES)
def test_means_are_covered(n_units, events_per_unit, sigma):
    """Heavy tails that were never seen cost some coverage: a point at most here, stated as slack."""
    share = coverage(
        lambda values: mean_interval(values, largest_unseen=5.0),
        lambda rng: compound_poisson(rng, n_units, events_per_unit, sigma=sigma),
        events_per_unit,
        n_trials=600,
    )
    assert not too_low(share, 0.95, n_trials=600, slack=0.01)


def test_students_t_fails_where_the_rule_holds():
    """Negative control: on rare outages the checker rejects the interval that everybody uses."""
    share = coverage(difference_interval, lambda rng: compound_poisson(rng, 20, 0.5), 0.5, n_trials=600)
    assert too_low(share, 0.95, n_trials=600, slack=0.03)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("n_units", "events_per_unit", "sigma"), [*REGIMES, (50, 2.0, 1.0), (200, 0.2, 0.8), (100, 5.0, 1.0)]
)
def test_means_are_covered_at_length(n_units, events_per_unit, sigma):
    share = coverage(
        lambda values: mean_interval(values, largest_unseen=5.0),
        lambda rng: compound_poisson(rng, n_units, events_per_unit, sigma=sigma),
        events_per_unit,
        n_trials=4000,
        seed=2,
    )
    assert not too_low(share, 0.95, n_trials=4000, slack=0.01)


@pytest.mark.slow
def test_differences_are_covered():
    def pairs(rng):
        common = compound_poisson(rng, 20, 10.0)
        return common + rng.normal(1.0, 0.5, 20), common

    share = coverage(lambda both: paired_difference(*both), pairs, 1.0)
    assert not too_low(share, 0.95)
    assert not too_high(share, 0.95)


def test_the_checker_rejects_an_interval_that_is_too_narrow():
    """Negative control: normal quantiles on four blocks cover about 86 % in place of 95 %."""

    def wrong(values):
        half = 1.96 * values.std(ddof=1) / np.sqrt(values.size)
        return Interval(values.mean() - half, values.mean(), values.mean() + half)

    assert too_low(coverage(wrong, lambda rng: rng.normal(0.0, 1.0, 4), 0.0), 0.95)
    right = coverage(difference_interval, lambda rng: rng.normal(0.0, 1.0, 4), 0.0)
    assert not too_low(right, 0.95)
    assert not too_high(right, 0.95)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: mean_interval([]), "values has shape"),
        (lambda: mean_interval([1.0, float("nan")]), "must be one finite value"),
        (lambda: mean_interval([-1.0]), r"values is -1\.0; must be at least 0"),
        (lambda: mean_interval([0.0], largest_unseen=0.0), "largest_unseen is 0"),
        (lambda: proportion_interval(3, 2), "hits is 3 of 2"),
        (lambda: difference_interval([1.0, 2.0], level=1.0), "level is 1.0"),
        (lambda: paired_difference([1.0], [1.0, 2.0]), "plan has 1 blocks; must have 2"),
    ],
)
def test_bad_input_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_an_interval_is_cut_to_what_its_figure_can_be():
    assert Interval(-1.0, 2.0, 9.0, 0.9).within(0.0, 5.0) == Interval(0.0, 2.0, 5.0, 0.9)
    assert Interval(6.0, 7.0, 9.0).within(0.0, 5.0) == Interval(5.0, 5.0, 5.0)
