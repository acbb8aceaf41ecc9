"""Slow, obvious versions of what ``sim.hops.hop_kernel`` does: one small time step after another."""

import numpy as np


def level_by_stepping(time_s, attenuation_db, down_db, up_db, step_s):
    """Level of one channel-direction at each step of a piecewise-linear attenuation.

    Modulation m is lost at ``down_db[m]`` and comes back below ``up_db[m]``.
    """
    clock = np.arange(time_s[0], time_s[-1], step_s)
    depth = np.interp(clock, time_s, attenuation_db)
    level, levels = len(down_db), []
    for value in depth:
        while level > 0 and value >= down_db[level - 1]:
            level -= 1
        while level < len(down_db) and value < up_db[level]:
            level += 1
        levels.append(level)
    return clock, np.array(levels)


def state_by_scanning(changes, start, clock):
    """Value in force at each time of a sorted list of (time, value)."""
    values = []
    for now in clock:
        value = start
        for time_s, changed in changes:
            if time_s <= now:
                value = changed
        values.append(value)
    return np.array(values)
