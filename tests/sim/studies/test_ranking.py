"""Chances of a ranking against the normal law, ties, and the set that nothing beats."""

import numpy as np
import pytest
from scipy.stats import norm

from hopyears.sim.studies.ranking import ranked, undominated


def units(n, means, spread, seed=3):
    """Units of exactly these means and standard deviations, members independent."""
    random = np.random.default_rng(seed).standard_normal((n, len(means)))
    scored = (random - random.mean(axis=0)) / random.std(axis=0, ddof=1)
    return np.array(means) + spread * scored


def test_the_chance_of_two_is_that_of_the_normal_law():
    """Mean difference d of n pairs of standard deviation s: Phi(d sqrt(n) / s), with many units."""
    values = units(400, [1.0, 1.1], 1.0)
    found = ranked([values], [0.0, 0.0], 1)
    spread = (values[:, 1] - values[:, 0]).std(ddof=1) / np.sqrt(len(values))
    wanted = norm.cdf(0.1 / spread)
    assert list(found.rank) == [1, 2]
    assert found.best_chance[0] == pytest.approx(wanted, abs=4 * np.sqrt(wanted * (1 - wanted) / 4000))
    assert found.order_chance == found.best_chance[0] == found.right_chance[1]


def test_pairs_stay_pairs():
    """Both members met the same hard units: a difference of a hundredth of their spread is sure."""
    hard = np.random.default_rng(1).lognormal(3.0, 2.0, (20, 1))
    found = ranked([hard + np.array([[0.0, 0.1, -0.1]])], np.zeros(3), 1)
    assert list(found.rank) == [2, 3, 1]
    assert found.order_chance == 1.0 - 0.5**20


def test_strata_and_known_costs_add():
    found = ranked([np.zeros((5, 2)), np.array([[1.0, 3.0]] * 4)], [5.0, 0.0], 1)
    assert list(found.rank) == [2, 1]
    assert found.best_chance[1] == 1.0 - 0.5**4


def test_those_that_tie_share_the_chance():
    same = np.random.default_rng(5).random((12, 1))
    found = ranked([np.tile(same, (1, 4))], np.zeros(4), 1)
    np.testing.assert_allclose(found.best_chance, 0.25, atol=4 * np.sqrt(0.25 * 0.75 / 4000))


def test_one_unit_tells_no_chance():
    found = ranked([np.array([[1.0, 2.0]])], np.zeros(2), 1)
    assert list(found.rank) == [1, 2]
    assert np.isnan(found.best_chance).all()


def test_what_nothing_beats():
    cost, harm = [0.0, 1.0, 2.0, 2.0, 3.0], [9.0, 5.0, 5.0, 3.0, 4.0]
    assert list(undominated(cost, harm)) == [True, True, False, True, False]
    assert list(undominated([1.0, 1.0], [2.0, 2.0])) == [True, True]
    brute = [
        not any(
            (cost[j] <= cost[i] and harm[j] <= harm[i]) and (cost[j] < cost[i] or harm[j] < harm[i])
            for j in range(5)
        )
        for i in range(5)
    ]
    assert list(undominated(cost, harm)) == brute


def test_few_units_are_never_sure():
    # Sign test: a coin gives n units alike in 2^-n of cases, one side told beforehand.
    for n in (2, 3, 5):
        found = ranked([np.column_stack([np.zeros(n), np.ones(n)])], [0.0, 0.0], 1)
        assert found.best_chance[0] == found.order_chance == 1.0 - 0.5**n
