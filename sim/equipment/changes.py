"""All that changes on the equipment in some blocks, as arrays, before hops are cut by it."""

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.judging.cause import Cause
from hopyears.sim.equipment.failure_log import NO_CHANGES, FailureLog

PART, MENDING, STRUCK, POWER, WORK, GROUP, SWITCH = range(7)
"""What it changes with: parts that are down, that are mended, that lightning has struck; sites without power
and with planned work; transmitters; channel switches."""


class Changes(NamedTuple):
    """Changes in several blocks: which block, what changes, when [s], to which value; those of one thing are
    in order of time."""

    log: Ints
    thing: Ints
    time_s: Floats
    value: Ints


def changes_of(logs: Sequence[FailureLog]) -> Iterator[Changes]:
    """All that changes, by what (``PART`` to ``SWITCH``)."""
    end_s = logs[0].duration_s
    log, failures = _one_after_another(
        [each.failures for each in logs],
        ("part", "failed_s", "arrived_s", "mended_s", "cause", "latent", "affecting"),
    )
    part, failed_s, arrived_s, mended_s, cause, latent, affecting = failures
    seen_s = np.where(latent, arrived_s, failed_s)  # receives until then, if latent
    struck = affecting & (cause & int(Cause.LIGHTNING) != 0)
    yield _on_off(log[affecting], part[affecting], seen_s[affecting], mended_s[affecting], end_s)
    yield _on_off(log, part, arrived_s, mended_s, end_s)
    yield _on_off(log[struck], part[struck], seen_s[struck], mended_s[struck], end_s)
    for down in ([log.sites.power_down for log in logs], [log.sites.maintenance for log in logs]):
        log, (site, start_s, until_s) = _one_after_another(down, ("row", "start_s", "end_s"))
        yield _on_off(log, site, start_s, until_s, end_s)
    for turns in ([log.transmitters for log in logs], [log.stuck or NO_CHANGES for log in logs]):
        log, (owner, time_s, value) = _one_after_another(turns, ("owner", "time_s", "chain"))
        yield Changes(log, owner, time_s, value)


def _one_after_another(tables: Sequence[object], names: Sequence[str]) -> tuple[Ints, list[NDArray[Any]]]:
    """Columns of several tables, each one after another, and which table a row is from."""
    columns = [[getattr(table, name) for table in tables] for name in names]
    table = np.repeat(np.arange(len(tables)), [len(column) for column in columns[0]])
    return table, [np.concatenate(column) for column in columns]


def _on_off(log: Ints, thing: Ints, start_s: Floats, until_s: Floats, end_s: float) -> Changes:
    """Changes to 1 as each span begins within the block, and back to 0 as it ends there."""
    time_s = np.column_stack([start_s, until_s]).ravel()
    row = np.repeat(np.arange(len(thing)), 2)
    inside = time_s < end_s
    row, value = row[inside], np.tile([1, 0], len(thing))[inside]
    return Changes(log[row], thing[row], time_s[inside], value)
