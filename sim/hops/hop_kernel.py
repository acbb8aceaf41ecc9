"""Numba loops that turn rain, fades and equipment into the piecewise-constant states of one hop.

A *channel-direction* is one channel in one direction. Its *level* is the number of modulations that it
can use, 0 (down) to M. Levels of 16 channel-directions are packed into one 64-bit number, four bits each,
so that a joint state is a few numbers and equal states are found by hashing.
"""

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Ints
from hopyears.models.basics.kernel import bare_inlined, bare_kernel, kernel

BITS_PER_LEVEL = 4
CHANNELS_PER_WORD = 16

_EMPTY = -1


@kernel
def rain_level_changes(knot_time_s, knot_db, window_start, start_s, end_s, down_db, up_db):  # type: ignore[no-untyped-def]
    """Level changes that rain causes while one equipment state is in force.

    Parameters
    ----------
    knot_time_s, knot_db : float64, shape (n_knots,)
        Attenuation [dB], piecewise linear inside each window.
    window_start : int64, shape (n_windows + 1,)
        Window w holds the knots window_start[w] to window_start[w + 1]; windows are in order of time.
    start_s, end_s : float
        The time in which the thresholds are in force.
    down_db, up_db : float64, shape (n_channel_directions, n_modulations)
        Modulation m of channel-direction c is lost when the attenuation reaches down_db[c, m] and comes
        back when it falls below up_db[c, m], at most down_db[c, m]; both fall as m rises.

    Returns
    -------
    float64, shape (n_changes, 3)
        Time [s], channel-direction and new level, in order of channel-direction, then of time. A level
        below M at ``end_s`` returns to M there.
    """
    n_channels, n_levels = down_db.shape
    changes = np.empty((256, 3), dtype=np.float64)
    size = 0
    n_windows = window_start.size - 1
    # Asked once for each equipment state with the rain of the whole block: halving skips what lies before.
    first_window = _first_window(knot_time_s, window_start, start_s)
    for channel in range(n_channels):
        highest = down_db[channel, n_levels - 1]
        for window in range(first_window, n_windows):
            if knot_time_s[window_start[window]] >= end_s:
                break
            level = n_levels
            last_s = start_s
            for i in range(window_start[window], window_start[window + 1] - 1):
                # Most stretches reach no threshold: leave before any arithmetic.
                if level == n_levels and knot_db[i] < highest and knot_db[i + 1] < highest:
                    continue
                t0, t1, a0, a1 = _clipped(knot_time_s, knot_db, i, start_s, end_s)
                if t1 <= t0:
                    continue
                last_s = t1
                slope = (a1 - a0) / (t1 - t0)
                # A stretch takes every level at most once down and once up.
                if size + 2 * n_levels + 1 > changes.shape[0]:
                    changes = _grown(changes)
                # a0 as well: rain may be above a threshold already when the equipment state begins.
                while level > 0 and max(a0, a1) >= down_db[channel, level - 1]:
                    level -= 1
                    edge = down_db[channel, level]
                    crossing = t0 if a0 >= edge else min(t0 + (edge - a0) / slope, t1)
                    changes[size, 0], changes[size, 1], changes[size, 2] = crossing, channel, level
                    size += 1
                while level < n_levels and a1 < a0 and a1 < up_db[channel, level]:
                    edge = up_db[channel, level]
                    crossing = t0 if a0 < edge else min(t0 + (edge - a0) / slope, t1)
                    level += 1
                    changes[size, 0], changes[size, 1], changes[size, 2] = crossing, channel, level
                    size += 1
            if level < n_levels:
                if size + 1 > changes.shape[0]:
                    changes = _grown(changes)
                changes[size, 0], changes[size, 1], changes[size, 2] = last_s, channel, n_levels
                size += 1
    return changes[:size].copy()


@kernel
def _first_window(knot_time_s, window_start, start_s):  # type: ignore[no-untyped-def]
    """First window that ends after ``start_s``; the number of windows where none does."""
    low, high = 0, window_start.size - 1
    while low < high:
        middle = (low + high) // 2
        if knot_time_s[window_start[middle + 1] - 1] <= start_s:
            low = middle + 1
        else:
            high = middle
    return low


@kernel
def _clipped(knot_time_s, knot_db, i, start_s, end_s):  # type: ignore[no-untyped-def]
    """Stretch i between its knots, cut to [start_s, end_s]; empty (t1 <= t0) where they do not meet."""
    t0, t1, a0, a1 = knot_time_s[i], knot_time_s[i + 1], knot_db[i], knot_db[i + 1]
    if t1 <= start_s or t0 >= end_s or t1 <= t0:
        return t0, t0, a0, a0
    slope = (a1 - a0) / (t1 - t0)
    if t1 > end_s:
        a1 = a0 + slope * (end_s - t0)
        t1 = end_s
    if t0 < start_s:
        a0 += slope * (start_s - t0)
        t0 = start_s
    return t0, t1, a0, a1


@kernel
def _grown(changes):  # type: ignore[no-untyped-def]
    larger = np.empty((2 * changes.shape[0], changes.shape[1]), dtype=changes.dtype)
    for row in range(changes.shape[0]):
        for column in range(changes.shape[1]):
            larger[row, column] = changes[row, column]
    return larger


@kernel
def merge_changes(segment_s, segment_equipment, rain, fades, n_channels, n_levels):  # type: ignore[no-untyped-def]
    """Merge equipment, rain and fades into one timeline of joint states, equal states found by hashing.

    Parameters
    ----------
    segment_s : float64, shape (n_segments,)
        Start of each equipment segment [s], the first at 0.
    segment_equipment : int64, shape (n_segments,)
        Equipment state in force from there.
    rain : float64, shape (n_rain, 3)
        Time, channel-direction, level; in order of time.
    fades : float64, shape (n_fades, 4)
        Time, channel-direction, level and what holds it down (bit 1 flat fading, bit 2 dispersion); in
        order of time.
    n_channels, n_levels : int
        Channel-directions (at most 32) and modulations (at most 15).

    Returns
    -------
    time_s : float64, shape (n_changes,)
        Start of each state, the first at 0; neighbours differ.
    state : int32, shape (n_changes,)
        Row of the joint state.
    joint : uint64, shape (n_states, 4), or (n_states, 7) with more than 16 channel-directions
        Equipment state; packed rain levels, fade levels and blame of the fades; the same three of the
        channel-directions from 16 on. ``joint[:, 1::3]`` are the rain levels of all.

    Notes
    -----
    Rain and fades start afresh with each equipment segment: every level is M there unless a change at
    that very time says otherwise.
    """
    width = 4 if n_channels <= CHANNELS_PER_WORD else 7
    clear = np.zeros(width, dtype=np.uint64)
    for channel in range(n_channels):
        _set_level(clear, 1, channel, n_levels)
        _set_level(clear, 2, channel, n_levels)
    total = segment_s.size + rain.shape[0] + fades.shape[0]
    time_s = np.empty(total, dtype=np.float64)
    state = np.empty(total, dtype=np.int32)
    joint = np.empty((64, width), dtype=np.uint64)
    table = np.full(256, _EMPTY, dtype=np.int32)
    sources, now, at = (segment_s, segment_equipment, rain, fades), clear.copy(), np.zeros(5, dtype=np.int64)
    while not _merge(sources, clear, now, at, time_s, state, joint, table):
        joint = _grown(joint)
        table = _rehashed(joint, at[4], 4 * joint.shape[0])  # at most a quarter full: a search is short
    return time_s[: at[3]].copy(), state[: at[3]].copy(), joint[: at[4]].copy()


@bare_kernel
def _merge(sources, clear, now, at, time_s, state, joint, table):  # type: ignore[no-untyped-def]
    """Go on with the timeline; False if there is no room for another joint state.

    ``at`` has how far segments, rain and fades are read, and how many changes and joint states there are.
    """
    segment_s, segment_equipment, rain, fades = sources
    i, j, k, size, n_states = at[0], at[1], at[2], at[3], at[4]
    while (i < segment_s.size or j < rain.shape[0] or k < fades.shape[0]) and n_states < joint.shape[0]:
        next_s = segment_s[i] if i < segment_s.size else np.inf
        if j < rain.shape[0]:
            next_s = min(next_s, rain[j, 0])
        if k < fades.shape[0]:
            next_s = min(next_s, fades[k, 0])
        while i < segment_s.size and segment_s[i] <= next_s:
            for word in range(clear.size):
                now[word] = clear[word]
            now[0] = np.uint64(segment_equipment[i])
            i += 1
        while j < rain.shape[0] and rain[j, 0] <= next_s:
            _set_level(now, 1, int(rain[j, 1]), int(rain[j, 2]))
            j += 1
        while k < fades.shape[0] and fades[k, 0] <= next_s:
            _set_level(now, 2, int(fades[k, 1]), int(fades[k, 2]))
            _set_level(now, 3, int(fades[k, 1]), int(fades[k, 3]))
            k += 1
        slot = _slot(table, joint, now)
        row = table[slot]
        if row == _EMPTY:
            for word in range(now.size):
                joint[n_states, word] = now[word]
            row = n_states
            table[slot] = row
            n_states += 1
        if size > 0 and state[size - 1] == row:
            continue
        time_s[size] = next_s
        state[size] = row
        size += 1
    at[0], at[1], at[2], at[3], at[4] = i, j, k, size, n_states
    return i == segment_s.size and j == rain.shape[0] and k == fades.shape[0]


@bare_inlined
def _set_level(codes, column, channel, level):  # type: ignore[no-untyped-def]
    word = column + 3 * (channel // CHANNELS_PER_WORD)
    shift = np.uint64(BITS_PER_LEVEL * (channel % CHANNELS_PER_WORD))
    codes[word] = (codes[word] & ~(np.uint64(0xF) << shift)) | (np.uint64(level) << shift)


@bare_inlined
def _mixed(codes):  # type: ignore[no-untyped-def]
    """A hash of a joint state: odd multipliers and shifts carry each bit into those of the mask."""
    value = np.uint64(0)
    for code in codes:
        value = (value ^ (value >> np.uint64(31)) ^ code) * np.uint64(0xBF58476D1CE4E5B9)
        value ^= value >> np.uint64(29)
    value *= np.uint64(0x9E3779B97F4A7C15)
    return value ^ (value >> np.uint64(32))


@bare_inlined
def _slot(table, joint, codes):  # type: ignore[no-untyped-def]
    """Slot of the table that holds this joint state, or the empty slot where it belongs."""
    mask = np.uint64(table.size - 1)  # sizes are powers of two
    slot = _mixed(codes) & mask
    while True:
        row = table[slot]
        if row == _EMPTY:
            return slot
        same = True
        for column in range(codes.size):
            same = same and joint[row, column] == codes[column]
        if same:
            return slot
        slot = (slot + np.uint64(1)) & mask


@kernel
def _rehashed(joint, n_states, size):  # type: ignore[no-untyped-def]
    table = np.full(size, _EMPTY, dtype=np.int32)
    for row in range(n_states):
        table[_slot(table, joint, joint[row])] = row
    return table


def unpacked_levels(codes: NDArray[np.uint64], n_channels: int) -> Ints:
    """Levels of packed codes: uint64 (n,) or (n, n_words) to int64 (n, n_channels)."""
    words = codes.reshape(len(codes), -1)
    channel = np.arange(n_channels)
    shifts = (BITS_PER_LEVEL * (channel % CHANNELS_PER_WORD)).astype(np.uint64)
    return ((words[:, channel // CHANNELS_PER_WORD] >> shifts) & np.uint64(0xF)).astype(np.int64)
