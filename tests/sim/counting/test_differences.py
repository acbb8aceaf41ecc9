"""Paired differences over several kinds of unit: bounds where nothing differed, coverage where much does."""

import numpy as np
import pytest

from hopyears.sim.counting.differences import PairedStratum, paired_strata_interval
from hopyears.sim.counting.statistics import Stratum, difference_interval, strata_interval


def test_nothing_that_differed_is_a_bound_both_ways():
    found = paired_strata_interval([PairedStratum(np.zeros(50), 10.0)])
    bound = -np.log(0.025) * 10.0 / 50
    assert (found.low, found.best, found.high) == pytest.approx((-bound, 0.0, bound))


def test_a_gain_alone_leaves_no_loss_to_allow_for():
    found = paired_strata_interval([PairedStratum(np.zeros(50), 10.0, gains_only=True)])
    assert found.low == 0.0
    assert found.high == pytest.approx(-np.log(0.025) * 10.0 / 50)


@pytest.mark.parametrize(("n", "sure"), [(1, False), (5, False), (6, True)])
def test_it_takes_six_differences_of_one_sign_to_be_sure(n, sure):
    """As the two-sided sign test at 5 %: 2 x 0.5^5 is above it, 2 x 0.5^6 below."""
    values = np.append(np.ones(n), np.zeros(1000))
    assert paired_strata_interval([PairedStratum(values, 1.0)]).excludes_zero is sure


def test_many_differences_of_both_signs_are_students():
    values = np.random.default_rng(1).normal(0.3, 1.0, 2000)
    found, known = paired_strata_interval([PairedStratum(values, 1.0)]), difference_interval(values)
    assert found.best == pytest.approx(known.best)
    assert found.half_width == pytest.approx(known.half_width, rel=0.05)


def test_strata_of_equal_units_are_one_sum():
    """Two halves of many units tell the sum of their means with the sum of their variances."""
    rng = np.random.default_rng(2)
    one, other = rng.gamma(2.0, 1.0, 400), rng.gamma(2.0, 3.0, 900)
    found = strata_interval([Stratum.of(one), Stratum.of(other)])
    error = np.sqrt(one.var(ddof=1) / 400 + other.var(ddof=1) / 900)
    assert found.best == pytest.approx(one.mean() + other.mean())
    assert found.half_width == pytest.approx(1.96 * error, rel=0.06)


def test_strata_of_few_units_are_widened_as_welch_and_satterthwaite():
    """Worked by hand: variances 4/5 and 1/500 of the means, 4 and 499 degrees of freedom."""
    few, many = Stratum(10.0, 0.8, 4.0), Stratum(5.0, 0.002, 499.0)
    freedom = 0.802**2 / (0.8**2 / 4.0 + 0.002**2 / 499.0)
    from scipy.stats import t

    found = strata_interval([few, many])
    assert found.half_width == pytest.approx(t.ppf(0.975, freedom) * np.sqrt(0.802), rel=0.02)


def test_what_one_stratum_did_not_see_widens_the_upper_limit_only():
    seen = Stratum(10.0, 0.5, 100.0)
    plain, unsure = strata_interval([seen]), strata_interval([seen, Stratum(0.0, 0.0, unseen=3.0)])
    assert unsure.low == plain.low
    assert unsure.high > plain.high + 3.0


def rare_sum(rng):
    """Rare large values from few units, small frequent ones from many: mean 1 + 1."""
    rare = rng.poisson(0.05, 200) * rng.exponential(20.0, 200)
    return [Stratum.of(rare, largest_unseen=60.0), Stratum.of(rng.gamma(1.0, 1.0, 50))]


@pytest.mark.slow
def test_strata_cover_and_normal_limits_do_not():
    """1,000 sums: at least 95 % less 4 standard errors; the normal limits fail that (negative control)."""
    rng, n = np.random.default_rng(3), 1000
    held = plain = 0
    for _ in range(n):
        strata = rare_sum(rng)
        found = strata_interval(strata)
        half = 1.96 * np.sqrt(sum(each.variance for each in strata))
        held += found.low <= 2.0 <= found.high
        plain += abs(found.best - 2.0) <= half
    least = 0.95 - 4.0 * np.sqrt(0.95 * 0.05 / n)
    assert held / n >= least
    assert plain / n < least
