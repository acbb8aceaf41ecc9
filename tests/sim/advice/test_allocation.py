"""Allocation of blocks by the published rule, and its use in choosing the best of several."""

import numpy as np
import pytest
from scipy.stats import ttest_rel

from hopyears.sim.advice.allocation import allocation, next_blocks, paired_means, wrong_chances


def test_shares_are_those_of_the_theorem():
    """Chen et al. (2000), theorem 1: N1/N2 = ((s1/d1)/(s2/d2))^2, Nb = sb sqrt(sum (Ni/si)^2)."""
    shares = allocation(np.array([1.0, 2.0, 4.0]), np.array([3.0, 2.0, 2.0, 6.0]))
    assert shares.sum() == pytest.approx(1.0)
    best, one, two, three = shares
    assert one / two == pytest.approx((2.0 / 1.0) ** 2 / (2.0 / 2.0) ** 2)
    assert one / three == pytest.approx((2.0 / 1.0) ** 2 / (6.0 / 4.0) ** 2)
    assert best == pytest.approx(3.0 * np.sqrt((one / 2) ** 2 + (two / 2) ** 2 + (three / 6) ** 2))


def test_one_that_never_differs_gets_nothing():
    """More blocks tell nothing of two sets that fare alike; without any spread all get the same."""
    assert allocation(np.array([0.0, 1.0]), np.array([1.0, 0.0, 1.0]))[1] == 0.0
    assert list(allocation(np.array([2.0, 1.0]), np.zeros(3))) == [1.0 / 3.0] * 3


def test_two_designs_get_blocks_by_their_spread():
    """For two designs the rule is the known optimum N1/N2 = s1/s2."""
    best, other = allocation(np.array([0.7]), np.array([1.0, 3.0]))
    assert best / other == pytest.approx(1.0 / 3.0)


def test_chances_are_paired_t_tests():
    """Against scipy's paired test, one-sided."""
    random = np.random.default_rng(2)
    best, others = random.normal(0.0, 1.0, 12), [random.normal(0.2, 1.0, 9), random.normal(0.0, 1.0, 12)]
    found = wrong_chances(best, others)
    for chance, other in zip(found, others, strict=True):
        wanted = ttest_rel(other, best[: len(other)], alternative="greater").pvalue
        assert chance == pytest.approx(wanted)
    same, worse = wrong_chances(best, [best, best + 1.0])
    assert same == 0.5
    assert worse < 1e-12


def test_blocks_go_where_the_choice_is_open():
    random = np.random.default_rng(4)
    hard = random.normal(0.0, 5.0, 6)
    values = [hard, hard + random.normal(0.3, 1.0, 6), hard + random.normal(9.0, 1.0, 6)]
    goal = next_blocks(values, 8, 100)
    assert goal[0] == goal[1] > goal[2] == 6
    assert next_blocks(values, 8, 7) == [7, 7, 6]
    assert next_blocks(values[:1], 3, 100) == [9]
    assert next_blocks([each[:1] for each in values], 6, 3) == [3, 3, 3]


def test_means_are_compared_on_the_same_blocks():
    """The set with fewer blocks met the easy ones alone; pair by pair it is worse."""
    long = np.array([1.0, 1.0, 1.0, 9.0])
    short = np.array([2.0, 2.0])
    assert list(paired_means([long, short])) == [3.0, 4.0]


def test_it_chooses_rightly_more_often_than_equal_shares():
    """Five designs in pairs, one rival near the best: 60 blocks by the rule against 12 each, 300 times.

    Means 0, 0.5, 2, 3, 4, spread 2 of the differences. Two standard errors of a difference of proportions
    near 0.75 in 300 trials are 7 %: the rule must be better by more.
    """
    means, right = np.array([0.0, 0.5, 2.0, 3.0, 4.0]), [0, 0]
    for trial in range(300):
        own = np.random.default_rng(trial).normal(means[:, None], 2.0, (5, 200))
        right[0] += int(own[:, :12].mean(axis=1).argmin() == 0)
        counts = [6] * 5
        while sum(counts) < 60:
            counts = next_blocks([own[i, :n] for i, n in enumerate(counts)], 5, 200)
        right[1] += int(np.argmin([own[i, :n].mean() for i, n in enumerate(counts)]) == 0)
    assert right[1] > right[0] + 0.07 * 300 / 2
