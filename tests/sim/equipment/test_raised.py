"""Raised chances of rare failures with their likelihood ratios: exact in every mean, and sharper."""

from dataclasses import replace

import numpy as np
import pytest
from bare_plant import HOUR, bare_plant, check_mean, pair, standard_errors_off, unit_kind

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.plant import Plant, PlantPart
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.raised import LARGEST_SECOND_MOMENT, Raised, raised_parts
from hopyears.sim.streams import Streams

HOURS = 10_000.0
RARE = unit_kind(1e6, 200.0)
"""Fails once in a hundred histories and then for long."""


def mixed_plant(n_common: int = 20) -> Plant:
    """Two rare parts that are long to mend, and common ones that are mended soon, of one crew."""
    common = unit_kind(5_000.0, 5.0, key="common")
    plant = bare_plant(2, RARE, crews=1)
    parts = [*plant.parts, *(PlantPart(f"common {i}", "common", 0) for i in range(n_common))]
    return Plant(
        plant.sites,
        parts,
        crews=plant.crews,
        kinds={"unit": RARE, "common": common},
        repair=plant.repair,
    )


def lost_h(log, part_below=2):
    """Hours in which any of the first parts is failed, counted once for each part."""
    here = log.part < part_below
    return float((log.mended_s[here] - log.failed_s[here]).sum()) / HOUR


def histories(plant, n, raised, seed=3):
    for block in range(n):
        yield simulate_failures(plant, Streams(seed, block), HOURS * HOUR, warm_up_s=0.0, raised=raised)


def test_the_likelihood_ratio_is_that_of_the_draws():
    """Uniform draws come out uniform once they are weighted, and the weights have the mean 1."""
    raised = Raised(np.array([0, 2]), np.array([0.02, 0.1]), np.array([0.2, 0.3]))
    rng = np.random.default_rng(1)
    found = [raised.drawn(rng.random(3)) for _ in range(40_000)]
    used, weight = np.array([draws for draws, _ in found]), np.array([ratio for _, ratio in found])
    check_mean(weight, 1.0)
    assert np.mean(weight**2) == pytest.approx(raised.second_moment, rel=0.05)
    for part, chance in ((0, 0.02), (2, 0.1)):
        below = used[:, part] < chance
        assert np.mean(below) == pytest.approx(raised.raised[part // 2], abs=0.01)
        check_mean(weight * below, chance)
        check_mean(weight * (used[:, part] < chance / 2), chance / 2)
        check_mean(weight * used[:, part], 0.5)
    check_mean(used[:, 1], 0.5)


def test_nothing_raised_is_the_plain_history():
    plant = mixed_plant()
    plain = simulate_failures(plant, Streams(1, 0), HOURS * HOUR, warm_up_s=0.0)
    again = simulate_failures(plant, Streams(1, 0), HOURS * HOUR, warm_up_s=0.0, raised=1.0)
    assert plain.weight == again.weight == 1.0
    np.testing.assert_array_equal(plain.failed_s, again.failed_s)


def test_long_repairs_are_raised_first_and_within_the_bound():
    plant = mixed_plant()
    chosen = raised_parts(plant, HOURS * HOUR, 10.0)
    assert chosen.parts.tolist() == [0, 1]
    assert chosen.chance == pytest.approx(1.0 - np.exp(-HOURS / 1e6))
    assert chosen.raised == pytest.approx(10.0 * chosen.chance)
    many = raised_parts(bare_plant(400, RARE, crews=1), HOURS * HOUR, 10.0)
    assert 1 < many.parts.size < 40
    assert 1.0 < many.second_moment <= LARGEST_SECOND_MOMENT
    with pytest.raises(ValueError, match=r"factor is 0.5; must be at least 1"):
        raised_parts(plant, HOURS * HOUR, 0.5)


def test_parts_with_a_standby_and_lives_that_age_are_left():
    backed = bare_plant(3, RARE, crews=1, groups=[pair()])
    assert raised_parts(backed, HOURS * HOUR, 5.0).parts.tolist() == [2]
    ageing = replace(RARE, life=Law.weibull(1e6, 2.0))
    assert raised_parts(bare_plant(3, ageing, crews=1), HOURS * HOUR, 5.0).parts.size == 0


def test_weighted_histories_have_the_mean_of_plain_ones_and_less_spread():
    """Through queues for the one crew and later failures, that nobody weighs."""
    plant = mixed_plant()
    plain = np.array([lost_h(log) for log in histories(plant, 1500, 1.0)])
    logs = list(histories(plant, 1500, 10.0, seed=4))
    raised = np.array([log.weight * lost_h(log) for log in logs])
    error = np.hypot(plain.std(), raised.std()) / np.sqrt(1500)
    assert abs(plain.mean() - raised.mean()) < 4 * error
    assert raised.std() < 0.7 * plain.std()
    check_mean(np.array([log.weight for log in logs]), 1.0)
    # What the raised parts have no part in comes out alike, too.
    others = [np.array([log.weight * lost_h(log, 22) - log.weight * lost_h(log) for log in logs])]
    others.append(np.array([lost_h(log, 22) - lost_h(log) for log in histories(plant, 1500, 1.0)]))
    error = np.hypot(others[0].std(), others[1].std()) / np.sqrt(1500)
    assert abs(others[0].mean() - others[1].mean()) < 4 * error


def test_without_the_weights_it_shows():
    """Negative control: the same histories counted alike give far too much."""
    plant = mixed_plant()
    raised = [lost_h(log) for log in histories(plant, 800, 10.0)]
    expected = 2 * HOURS * 200.0 / 1e6
    assert standard_errors_off(raised, expected) > 4.0
