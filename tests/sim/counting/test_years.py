import numpy as np
import pytest
from coverage_check import coverage, too_low

from hopyears.sim.counting.statistics import Interval, mean_interval
from hopyears.sim.counting.years import (
    any_year_chance,
    break_chance,
    met_confidence,
    worst_month,
    year_quantile,
)


def test_chance_that_a_year_breaks_a_target():
    found = break_chance(np.array([[1.0, 5.0], [9.0, 3.0]]), 4.0)
    assert found.best == 0.5
    assert break_chance(np.zeros(100), 1.0).high == pytest.approx(1 - 0.025**0.01)


def test_chance_over_a_contract():
    found = any_year_chance(Interval(0.0, 0.1, 1.0), 5)
    assert (found.low, found.best, found.high) == pytest.approx((0.0, 1 - 0.9**5, 1.0))
    with pytest.raises(ValueError, match="n_years is 0; must be at least 1"):
        any_year_chance(Interval(0.0, 0.1, 0.2), 0)


def of(values, **more):
    """Interval of the mean of values, for a level of confidence."""
    return lambda level: mean_interval(values, level=level, **more)


def test_confidence_that_a_target_is_met():
    values = np.random.default_rng(2).gamma(4.0, 1.0, 50)
    middle = values.mean()
    assert met_confidence(of(values), 2 * middle) > 0.999
    assert met_confidence(of(values), middle / 2) < 0.001
    for target in (0.95 * middle, 1.1 * middle):
        sure = met_confidence(of(values), target)
        level = abs(2 * sure - 1)
        found = mean_interval(values, level=level)
        assert (found.high if sure > 0.5 else found.low) == pytest.approx(target, rel=2e-3)
    assert met_confidence(of(np.zeros(30)), 1.0) == 0.5
    assert met_confidence(of(np.zeros(30), largest_unseen=2.0), 1.0) > 0.9


def test_worst_month_is_the_mean_of_each_years_worst():
    months = np.zeros((2, 3, 12))
    months[0, :, 4] = [1.0, 2.0, 3.0]
    months[1, :, 7] = [4.0, 4.0, 4.0]
    months[1, 0, 2] = 10.0
    assert worst_month(months).mean() == pytest.approx((2.0 + 6.0) / 2)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_year_quantiles_are_covered(share):
    truth = -np.log(1.0 - share)
    held = coverage(lambda year: year_quantile(year, share), lambda rng: rng.exponential(1.0, 60), truth)
    assert not too_low(held, 0.95)
    narrow = coverage(
        lambda year: year_quantile(year, share, level=0.5), lambda rng: rng.exponential(1.0, 60), truth
    )
    assert too_low(narrow, 0.95)  # negative control


def test_year_quantile_limits():
    found = year_quantile(np.arange(10.0), 0.99)
    assert (found.best, found.high) == (9.0, np.inf)
    with pytest.raises(ValueError, match="share is 1; must be above 0 to below 1"):
        year_quantile(np.arange(10.0), 1)
