"""The slow, obvious version of the fade kernel: every line's level at every small step of time."""

import numpy as np


def levels_by_steps(events, thresholds, end_s, step_s):
    """Level of each channel-direction at each step from 0 on, and the steps' times.

    Every line's relative power is worked out for every fade and step; each modulation of each channel is then
    followed: lost when all lines are below ``down``, back when one was above ``up`` for the hold.
    """
    times = np.arange(0.0, end_s, step_s)
    n_channels, n_modulations = len(thresholds.usable), len(thresholds.hold_s)
    level = np.full((n_channels, len(times)), n_modulations)
    for channel in range(n_channels):
        lines = np.nonzero(thresholds.usable[channel])[0]
        for m in range(n_modulations):
            below_down, below_up = (
                np.array([_below(events, line, values[:, channel, line, m], times) for line in lines])
                for values in (thresholds.down, thresholds.up)
            )
            lost = _followed(below_down.all(axis=0), below_up.all(axis=0), thresholds.hold_s[m], step_s)
            level[channel] -= lost
    return times, level


def _below(events, line, threshold_by_kind, times):
    below = np.zeros(len(times), dtype=bool)
    for e in range(len(events.time_s)):
        along = events.speed_per_s[e] * (times - events.time_s[e]) + events.dx[e, line]
        power = along**2 + (events.impact[e] + events.dy[e, line]) ** 2
        below |= power < threshold_by_kind[events.kind[e]]
    return below


def _followed(all_down, all_not_up, hold_s, step_s):
    lost = np.zeros(len(all_down), dtype=np.int64)
    state, above_for = False, 0.0
    for i in range(len(all_down)):
        if all_down[i]:
            state, above_for = True, 0.0
        elif state and all_not_up[i]:
            above_for = 0.0
        elif state:
            above_for += step_s
            state = above_for <= hold_s
        lost[i] = state
    return lost
