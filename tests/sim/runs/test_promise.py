"""What can be promised from simulated years."""

import numpy as np
import pytest
from scipy.stats import binom

from hopyears.sim.inputs.network_file import InputError
from hopyears.sim.runs.promise import (
    Terms,
    promise_table,
    target_table,
    year_table,
    year_to_promise,
    years_wanted,
)


def test_the_promise_is_the_order_statistic_that_the_binomial_law_asks_for():
    # W. J. Conover, Practical Nonparametric Statistics, 3rd ed., 3.2 (one-sided bound of a quantile; from
    # memory): the r-th of n ordered years bounds the quantile q with confidence P(Binomial(n, q) < r).
    years = np.arange(1.0, 101.0)
    limit = year_to_promise(np.random.default_rng(1).permutation(years), 0.9, 0.9)
    rank = int(limit)
    assert binom.cdf(rank - 1, 100, 0.9) >= 0.9 > binom.cdf(rank - 2, 100, 0.9)


def test_too_few_years_promise_nothing():
    assert years_wanted(0.9, 0.9) == 22
    assert np.isinf(year_to_promise(np.ones(21), 0.9, 0.9))
    assert np.isfinite(year_to_promise(np.ones(22), 0.9, 0.9))


def test_promises_are_kept_as_often_as_they_say():
    random = np.random.default_rng(7)
    truth = 2.302585  # 90 % quantile of an exponential of mean 1
    limits = np.array([year_to_promise(random.exponential(size=60), 0.9, 0.9) for _ in range(2000)])
    kept = float((limits >= truth).mean())
    assert kept > 0.9 - 4 * np.sqrt(0.9 * 0.1 / 2000)
    # Negative control: the plain 90 % quantile of 60 years falls short far more often than one time in ten.
    plain = np.array([np.quantile(random.exponential(size=60), 0.9) for _ in range(2000)])
    assert (plain >= truth).mean() < 0.9 - 8 * np.sqrt(0.9 * 0.1 / 2000)


def test_tables_hang_together():
    minutes = np.stack([np.linspace(0.0, 99.0, 100), np.zeros(100)])
    table = promise_table(("one", "none"), minutes, Terms(50.0, 3, 0.9, 0.9)).set_index("service")
    assert table.loc["one", "mean_min_per_year"] == pytest.approx(49.5)
    assert table.loc["one", "year_break_chance"] == pytest.approx(0.49, abs=0.011)
    assert table.loc["one", "contract_break_chance"] > table.loc["one", "year_break_chance"]
    assert table.loc["none", "year_break_chance"] == 0
    assert table.loc["none", "year_break_chance_high"] > 0
    years = year_table(("one", "none"), minutes)
    assert (
        years.groupby("service", sort=False)["unavailable_min"].apply(lambda x: x.is_monotonic_increasing)
    ).all()
    targets = target_table(("one", "none"), minutes)
    assert (targets["year_break_chance_low"] <= targets["year_break_chance"]).all()


@pytest.mark.parametrize(
    "terms", [(-1.0, 1, 0.9, 0.9), (1.0, 0, 0.9, 0.9), (1.0, 1, 1.0, 0.9), (1.0, 1, 0.9, 0.0)]
)
def test_impossible_terms_are_refused(terms):
    with pytest.raises(InputError, match="must be"):
        Terms(*terms)
