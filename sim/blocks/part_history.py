"""A single part as a link of its own: unlimited capacity while it works, none while it is down."""

import numpy as np

from hopyears.sim.equipment.failure_log import DOWN, FailureLog
from hopyears.sim.hops.hop_history import HopHistory

UNLIMITED_MBIT_S = 1e9


def part_history(part: int, log: FailureLog | None, cause: int) -> HopHistory:
    """History of a part that carries traffic by itself, for instance a line card.

    Parameters
    ----------
    part : int
        Index in the plant.
    log : FailureLog or None
        None where nothing fails.
    cause : int
        Cause flag while it is down.
    """
    time_s, state = np.zeros(1), np.zeros(1, dtype=np.int32)
    if log is not None:
        changed_s, _, value = log.state_changes_for([part])
        time_s = np.append(0.0, changed_s)
        state = np.append(0, value == DOWN).astype(np.int32)
    capacity = np.array([[UNLIMITED_MBIT_S] * 2, [0.0] * 2])
    return HopHistory(time_s, state, capacity, np.array([0, cause], dtype=np.int64))
