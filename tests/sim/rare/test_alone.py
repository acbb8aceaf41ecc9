"""What each part takes by itself: against what the same services lose without a fault (no outside source)."""

import numpy as np
import pytest
from small_networks import triangle

from hopyears.models.network.traffic_entries import Service
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.rare.alone import alone
from hopyears.sim.rare.forced import by_hand

SERVICES = triangle().services
TOO_LARGE = Service(id="too-large", site_a="a", site_b="b", committed_mbit_s=9_000.0, priority=8)


def chosen(services):
    """What each part takes from services, and how what is put in by hand is grouped."""
    prepared = prepare(triangle(services=services), ModelOptions(replications=4))
    single = alone(BlockSimulator(prepared))
    return single, by_hand(prepared, single)


@pytest.fixture(scope="module")
def without():
    return chosen(SERVICES)


@pytest.fixture(scope="module")
def beside():
    return chosen((*SERVICES, TOO_LARGE))


def test_a_service_that_is_always_down_is_stopped_by_no_part(without, beside):
    """Its loss is there with nothing wrong: no part brings it, and others lose what they lost without it."""
    (before, _), (after, _) = without, beside
    assert before.works.tolist() == [True, True]
    assert after.works.tolist() == [True, True, False]
    assert after.lost_s[:, [2]].nnz == 0
    assert after.struck_s[:, [2]].nnz == 0
    assert before.lost_s.nnz > 0
    np.testing.assert_array_equal(after.lost_s[:, :2].toarray(), before.lost_s.toarray())


def test_it_changes_nothing_of_what_is_put_in_by_hand_for_others(without, beside):
    (_, before), (_, after) = without, beside
    assert sum(hand.events.size for hand in before) > 0
    for one, other in zip(before, after, strict=True):
        assert other.services[other.services < 2].tolist() == one.services.tolist()
        assert other.events.tolist() == one.events.tolist()
        np.testing.assert_array_equal(other.chance, one.chance)
