"""Failures put in by hand, and parts that fail by themselves only before a time; exact identities."""

import numpy as np
import pytest
from bare_plant import HOUR, bare_plant, unit_kind

from hopyears.models.equipment.lifetimes import Law
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.put_in import PutIn
from hopyears.sim.streams import Streams

HOURS = 2000.0
NEVER = unit_kind(1e30, 10.0, mend=Law.fixed(10.0))
ALL = np.ones(3, dtype=bool)


def log_of(plant, put_in=None):
    more = {} if put_in is None else {"put_in": put_in}
    return simulate_failures(plant, Streams(4, 0), HOURS * HOUR, warm_up_s=0.0, **more)


def rows(log):
    failures = log.failures
    rows = (failures.part, failures.failed_s, failures.mended_s)
    return sorted(zip(*(column.tolist() for column in rows), strict=True))


def test_a_failure_put_in_happens_then_and_is_mended():
    log = log_of(bare_plant(3, NEVER, crews=1), PutIn({1: (100.0 * HOUR, 500.0 * HOUR)}))
    assert rows(log) == [(1, 100.0 * HOUR, 110.0 * HOUR), (1, 500.0 * HOUR, 510.0 * HOUR)]


def test_a_part_that_is_down_does_not_fail_again():
    log = log_of(bare_plant(1, NEVER, crews=1), PutIn({0: (100.0 * HOUR, 105.0 * HOUR)}))
    assert rows(log) == [(0, 100.0 * HOUR, 110.0 * HOUR)]


def test_a_failure_put_in_waits_for_the_crew_like_any_other():
    log = log_of(bare_plant(2, NEVER, crews=1), PutIn({0: (100.0 * HOUR,), 1: (101.0 * HOUR,)}))
    assert rows(log)[1] == (1, 101.0 * HOUR, 120.0 * HOUR)


def test_nothing_put_in_is_the_plain_history():
    plant = bare_plant(3, unit_kind(200.0, 10.0), crews=2)
    assert rows(log_of(plant)) == rows(log_of(plant, PutIn({}, ALL, np.inf)))


@pytest.mark.parametrize("until_h", [0.0, 300.0, 1000.0])
def test_rare_parts_fail_by_themselves_only_before(until_h):
    """Before it all failures are those of the plain history, after it there are none; others stay."""
    plant = bare_plant(3, unit_kind(200.0, 10.0), crews=3)
    rare = np.array([True, True, False])
    plain, held = rows(log_of(plant)), rows(log_of(plant, PutIn({}, rare, until_h * HOUR)))
    assert held == [row for row in plain if row[0] == 2 or row[1] < until_h * HOUR]
    assert len(held) < len(plain)


def test_a_rare_part_mended_after_the_time_fails_no_more():
    plant = bare_plant(1, unit_kind(50.0, 10.0), crews=1)
    log = log_of(plant, PutIn({0: (200.0 * HOUR,)}, ALL[:1], -np.inf))
    assert [failed_s for _, failed_s, _ in rows(log)] == [200.0 * HOUR]
