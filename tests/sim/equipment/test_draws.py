import numpy as np
import pytest

from hopyears.sim.equipment.draws import Draws, Purpose
from hopyears.sim.streams import Streams

NAMES = [("part", name) for name in ("a", "b", "c")]


@pytest.fixture
def draws():
    return Draws(Streams(5, 2), NAMES)


def test_draws_are_the_same_however_they_are_taken(draws):
    table = draws.matrix(Purpose.MEND, 100)
    kept = Draws(Streams(5, 2), NAMES)
    kept.keep([0, 2])
    for count in (40, 0, 5, 6, 99, 17):
        for thing in range(3):
            assert kept.uniform(thing, Purpose.MEND, count) == table[thing, count]
            assert draws.uniform(thing, Purpose.MEND, count) == table[thing, count]
    np.testing.assert_array_equal(draws.first(Purpose.MEND), table[:, 0])
    np.testing.assert_array_equal(draws.matrix(Purpose.MEND, 4, np.array([2])), table[2:, :4])


def test_draws_hang_on_the_name_alone(draws):
    alone = Draws(Streams(5, 2), [("part", "c")])
    assert alone.uniform(0, Purpose.LIFE, 3) == draws.uniform(2, Purpose.LIFE, 3)
    assert Draws(Streams(5, 3), NAMES).uniform(2, Purpose.LIFE, 3) != draws.uniform(2, Purpose.LIFE, 3)


def test_purposes_and_things_share_nothing(draws):
    table = np.stack([draws.matrix(purpose, 2000) for purpose in Purpose]).reshape(-1, 2000)
    correlation = np.corrcoef(table) - np.eye(len(table))
    assert np.abs(correlation).max() < 5.0 / np.sqrt(2000)
    assert len(np.unique(table)) == table.size


def test_no_things():
    assert Draws(Streams(1, 0), []).matrix(Purpose.LIFE, 3).shape == (0, 3)
