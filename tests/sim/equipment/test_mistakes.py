"""Repairs that end with another part stopped by mistake; lives that a factor shortens."""

from dataclasses import replace

import numpy as np
import pytest
from bare_plant import HOUR, bare_plant, pair, unit_kind
from plant_entries import AT_ONCE

from hopyears.models.basics.units import HOURS_PER_YEAR
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import Repair
from hopyears.models.judging.cause import Cause
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.put_in import PutIn
from hopyears.sim.streams import Streams

NEVER = unit_kind(1e30, 10.0, mend=Law.fixed(10.0))


def clumsy(n_parts, kind=NEVER, share=1.0, **changes):
    """Parts of one unit, and crews that stop another part by mistake for three hours."""
    plant = bare_plant(n_parts, kind, crews=n_parts, **changes)
    rules = AT_ONCE.model_copy(update={"error_share": share, "error_h": 3.0, "duration_ln_sd": 0.0})
    parts = tuple(replace(part, beside="unit") for part in plant.parts)
    return replace(plant, parts=parts, repair=rules)


def log_of(plant, times_h=None, years=1.0):
    times_s = {part: tuple(time_h * HOUR for time_h in own) for part, own in (times_h or {}).items()}
    return simulate_failures(
        plant, Streams(4, 0), years * HOURS_PER_YEAR * HOUR, warm_up_s=0.0, put_in=PutIn(times_s)
    )


def rows(log):
    """(part, failed, mended) in hours, in order of time."""
    columns = (log.failures.part, log.failures.failed_s / HOUR, log.failures.mended_s / HOUR)
    found = zip(*(column.tolist() for column in columns), strict=True)
    return sorted(found, key=lambda row: row[1])


def test_a_repair_may_stop_the_part_beside_it():
    log = log_of(clumsy(2), {0: [100.0]})
    assert rows(log) == [(0, 100.0, 110.0), (1, 110.0, pytest.approx(113.0))]
    assert log.failures.cause[1] == Cause.MODEM_CARD | Cause.MAINTENANCE


def test_by_default_no_repair_stops_anything():
    assert rows(log_of(clumsy(2, share=0.0), {0: [100.0]})) == [(0, 100.0, 110.0)]


def test_a_part_that_is_down_cannot_be_stopped_by_mistake():
    assert len(rows(log_of(clumsy(2), {0: [100.0], 1: [105.0]}))) == 3  # the second repair stops the first
    alone = replace(clumsy(2), parts=clumsy(2).parts[:1])
    assert rows(log_of(alone, {0: [100.0]})) == [(0, 100.0, 110.0)]


def test_what_is_mended_from_afar_stops_nothing():
    assert len(rows(log_of(clumsy(2, replace(NEVER, repair=Repair.REMOTE)), {0: [100.0]}))) == 1


def test_a_part_that_is_stopped_by_mistake_does_not_fail():
    assert len(rows(log_of(clumsy(2), {0: [100.0], 1: [111.0]}))) == 2


def test_a_standby_takes_over_from_a_main_radio_that_is_stopped_by_mistake():
    """The standby is mended at 110 h and the main one stopped then: without a standby traffic were lost."""
    log = log_of(clumsy(2, groups=(pair(),)), {1: [100.0]})
    assert rows(log) == [(1, 100.0, 110.0), (0, 110.0, pytest.approx(113.0))]
    time_s, chain = log.transmitters.of(0)
    assert time_s[chain == 1] == pytest.approx([110.0 * HOUR])


def test_the_share_of_repairs_with_a_mistake_is_the_stated_one():
    """Within 4 standard errors of the binomial law, in some 800 repairs."""
    log = log_of(clumsy(10, unit_kind(500.0, 1.0), share=0.2), years=5.0)
    by_mistake = (log.failures.cause & int(Cause.MAINTENANCE)) != 0
    n = int(np.count_nonzero(~by_mistake))
    assert n > 500
    assert abs(by_mistake.sum() / n - 0.2) < 4.0 * np.sqrt(0.2 * 0.8 / n)


def test_a_factor_divides_every_life():
    """Four times as many failures, not the first ones only: Poisson's law within 4 standard errors."""
    plant = bare_plant(10, unit_kind(2000.0, 1.0), crews=10)
    often = replace(plant, parts=tuple(replace(part, failure_factor=4.0) for part in plant.parts))
    expected = 10 * 5.0 * HOURS_PER_YEAR / (500.0 + 1.0)
    assert abs(len(log_of(often, years=5.0).failures) - expected) < 4.0 * np.sqrt(expected)
