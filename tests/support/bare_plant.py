"""Plants stripped to what a closed form assumes, and the statistics to judge a simulation against it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from plant_entries import AT_ONCE, crew_at, group

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import INDOOR, PartKind, Place, Repair
from hopyears.models.equipment.plant import Plant, PlantPart, PlantSite
from hopyears.models.judging.cause import Cause
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.streams import Streams

HOUR = 3600.0


def unit_kind(mtbf_h, mttr_h, **changes):
    """A part with exponential life and repair, mended indoors by a crew that is there at once."""
    kind = PartKind(
        "unit",
        Cause.MODEM_CARD,
        Place.UNIT,
        INDOOR,
        Law.exponential(mtbf_h),
        Repair.INDOOR,
        Law.exponential(mttr_h),
    )
    return replace(kind, **changes)


def bare_plant(n_parts, kind, *, crews, groups=(), site=None, **changes):
    """Parts of one kind at one site, crews on the spot round the clock, no dispatch time, no spares."""
    return Plant(
        [site or PlantSite("here", 50.0, 10.0)],
        [PlantPart(f"unit {i}", "unit", 0) for i in range(n_parts)],
        groups=groups,
        crews=[crew_at("here", 50.0, 10.0, crews)],
        kinds={"unit": kind},
        repair=AT_ONCE,
        **changes,
    )


def pair(**changes):
    """Main and standby of one part each, with a switch that neither fails nor takes time."""
    made = group(
        "pair", ((0,), (1,)), switch_time_s=0.0, switch_failure=0.0, test=None, wait_to_restore_s=0.0
    )
    return replace(made, **changes)


def silent_s(log):
    """Intervals in which no chain of group 0 transmits: starts and ends [s], those of no length left out."""
    time_s, chain = log.transmitters.of(0)
    ends = np.append(time_s[1:], log.duration_s)
    quiet = (chain < 0) & (ends > time_s)
    return time_s[quiet], ends[quiet]


def blocks(plant, *, n_blocks, hours, seed=1, warm_up_h=0.0, **how):
    """Logs of several blocks."""
    for block in range(n_blocks):
        yield simulate_failures(plant, Streams(seed, block), hours * HOUR, warm_up_s=warm_up_h * HOUR, **how)


def standard_errors_off(values, expected):
    """How many standard errors the mean of independent block values lies from what is expected."""
    values = np.asarray(values, dtype=float)
    error = values.std(ddof=1) / math.sqrt(len(values))
    return (values.mean() - expected) / error


def check_mean(values, expected, *, within=4.0, rel_error=0.1):
    """Assert agreement within 4 standard errors, and that these are small enough to mean something."""
    values = np.asarray(values, dtype=float)
    error = values.std(ddof=1) / math.sqrt(len(values))
    assert error < rel_error * abs(expected), "too few blocks to tell"
    assert values.mean() == pytest.approx(expected, abs=within * error)
