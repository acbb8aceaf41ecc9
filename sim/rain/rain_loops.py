"""Numba loops of the rain kernel: where rain on a hop may reach a threshold, and its course there.

Sieves, each an upper bound of what the next one looks at: stretches of 32 minutes, in which every shape
counts with its most for as long as its group is near (``rain_sieve``); bins of four minutes, in which the
stronger ones count as they are then; minutes, with all but the faintest shapes as they are then. Only there
is the course worked out every ten seconds. All lie on one grid of time, whatever is asked for, and no shape
that reaches the hop is left out.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.rain_near import groups_near, wide_near
from hopyears.sim.rain.rain_sieve import BIN_S, BINS, bins_within, may_reach, stretches_in_danger
from hopyears.sim.rain.shape_columns import columns_within
from hopyears.sim.rain.shape_loops import LANES, MOST, add_bounds, add_values

COARSE_STEP_S = 60.0
"""Largest distance of knots that can be asked for [s]."""

_MINUTES = int(BIN_S / COARSE_STEP_S)
_CHUNK = 1024
"""Stretches looked at together."""

_MOST_STRETCHES, _MOST_BINS = 16, 4
"""Taken together, at the most, once a bound says that a threshold may be reached."""

_FAINT = 0.005
"""Share of what is needed below which a shape is worked out each minute."""


@kernel
def knots_above(hop, line, groups, wide, threshold, splits, end_s):  # type: ignore[no-untyped-def]
    """Knots of the windows in which a hop's attenuation passes the threshold [dB].

    Parameters
    ----------
    hop : tuple of float
        ``models.air.path_rain.hop_numbers``.
    line : tuple of float
        First end x, y [km] and unit vector x, y.
    groups, wide : tuple of arrays
        See ``RainField.for_kernel``.
    threshold : float
        [dB].
    splits : int
        Knots a minute.
    end_s : float
        End of the block [s].

    Returns times [s], attenuation [dB] and the first knot of each window, with the number of knots last.
    """
    times, values, starts = np.empty(4096), np.empty(4096), np.empty(4096, np.int64)
    n_knots, n_windows = 0, 0
    length, k, alpha = hop[0], hop[1], hop[2]
    needed = ((threshold / (k * length)) ** (1.0 / alpha), threshold / k, alpha - 1.0, length)
    group_numbers, group_spans = np.empty(len(groups[0]), np.int64), np.empty((2, len(groups[0])), np.float32)
    wide_numbers, wide_spans = np.empty(len(wide[0]), np.int64), np.empty((3, len(wide[0])), np.float32)
    changes, danger = np.empty((2, _CHUNK + 1)), np.empty(_CHUNK, np.bool_)
    found = np.empty((4, LANES), np.float32)
    end, stretch_s = int(np.ceil(end_s / BIN_S - 1e-9)), BINS * BIN_S
    for first in range(0, end, _CHUNK * BINS):
        n_bins = min(_CHUNK * BINS, end - first)
        n, begin = -(-n_bins // BINS), first * BIN_S
        finish = begin + n_bins * BIN_S
        count = groups_near(hop, line, groups, begin, finish, group_numbers, group_spans)
        near_groups = group_numbers[:count], group_spans[:, :count]
        count = wide_near(hop, line, wide, begin, finish, wide_numbers, wide_spans)
        near_wide = wide_numbers[:count], wide_spans[:, :count]
        stretches_in_danger(
            hop, line, groups, wide, near_groups, near_wide, needed, begin, changes[:, : n + 1], danger[:n]
        )
        j, groups_from, wide_from = 0, 0, 0
        while True:
            i = j
            while i < n and not danger[i]:
                i += 1
            if i == n:
                break
            j = i + 1
            while j < n and j < i + _MOST_STRETCHES and danger[j]:
                j += 1
            at, last = begin + i * stretch_s, min((j - i) * BINS, n_bins - i * BINS)
            groups_from, some_groups = _about(
                near_groups, groups[0], groups[3], groups_from, at, at + last * BIN_S
            )
            wide_from, some_wide = _about(near_wide, wide[0], wide[3], wide_from, at, at + last * BIN_S)
            bins = bins_within(
                hop, line, groups, wide, some_groups, some_wide, at, (j - i) * BINS, needed[0], found
            )
            q = 0
            while True:
                p, q = _next_run(bins, q, last, _MOST_BINS, needed)
                if p == last:
                    break
                start = at + p * BIN_S
                columns = columns_within(
                    hop, line, groups, wide, some_groups, some_wide, start, start + (q - p) * BIN_S, found
                )
                course, wanted = course_within(hop, columns, (q - p) * _MINUTES, splits, needed)
                if n_knots + 2 * len(course) + 2 > len(times):
                    room = 2 * len(times) + 2 * len(course)
                    times = np.concatenate((times, np.empty(room)))
                    values = np.concatenate((values, np.empty(room)))
                if n_windows + len(course) + 2 > len(starts):
                    starts = np.concatenate((starts, np.empty(len(starts) + len(course) + 2, np.int64)))
                n_knots, n_windows = _cut(
                    course,
                    wanted,
                    start,
                    COARSE_STEP_S / splits,
                    threshold,
                    times,
                    values,
                    starts,
                    n_knots,
                    n_windows,
                )
    starts[n_windows] = n_knots
    return times[:n_knots].copy(), values[:n_knots].copy(), starts[: n_windows + 1].copy()


@written_out
def _about(near, starts, longest, low, at, finish):  # type: ignore[no-untyped-def]
    """Those near the hop that may live between two times; the first of them, looked for from ``low`` on."""
    numbers, spans = near
    while low < len(numbers) and starts[numbers[low]] < at - longest:
        low += 1
    high = low
    while high < len(numbers) and starts[numbers[high]] < finish:
        high += 1
    return low, (numbers[low:high], spans[:, low:high])


@kernel
def _next_run(bounds, i, n, most, needed):  # type: ignore[no-untyped-def]
    """First of the next bins, from the i-th on, that may reach what is needed, and the one after the last."""
    while i < n and not may_reach(bounds[0, i], bounds[1, i], needed):
        i += 1
    j = i
    while j < n and j < i + most and may_reach(bounds[0, j], bounds[1, j], needed):
        j += 1
    return i, j


@kernel
def course_within(hop, columns, n_minutes, splits, needed):  # type: ignore[no-untyped-def]
    """Attenuation [dB] at the knots of some minutes, by all shapes together, and at which it was worked out.

    Elsewhere it is below the threshold.
    """
    course, wanted = np.zeros(n_minutes * splits + 1, np.float32), np.zeros(n_minutes * splits + 1, np.bool_)
    half, length = 0.5 * COARSE_STEP_S, hop[0]
    minutes = np.zeros((2, -(-n_minutes // LANES) * LANES), np.float32)
    for c in range(len(columns)):
        most = columns[c, MOST]
        if most < _FAINT * needed[0] * length:
            # Counts with its most, and with its peak wherever it is.
            minutes[0] += most
            minutes[1] += columns[c, 6] + columns[c, 7]
        else:
            add_bounds(minutes, columns, c, 0, n_minutes - 1, half, COARSE_STEP_S, half, hop)
    j = 0
    while True:
        i, j = _next_run(minutes, j, n_minutes, n_minutes, needed)
        if i == n_minutes:
            return course, wanted
        low, high = i * splits, j * splits + 1
        _attenuation(hop, columns, needed[0], i, j - i, splits, course[low:high])
        wanted[low:high] = True


@kernel
def _attenuation(hop, columns, needed_rate, minute, n_minutes, splits, course):  # type: ignore[no-untyped-def]
    """Attenuation [dB] at the knots of some minutes, by all shapes together (``models.air.path_rain``).

    Added to ``course``. Faint shapes, of which a hop has many, are worked out each minute, with straight
    lines between: as they are faint and change slowly, the whole is wrong by some 1e-4 of what is needed.
    """
    length, k, power, parts = hop[0], np.float32(hop[1]), np.float32(hop[2] - 1.0), int(hop[3])
    far, n, start, step = length / parts, len(course), minute * COARSE_STEP_S, COARSE_STEP_S / splits
    per_km, finish, faint = (
        np.float32(1.0 / far),
        start + n_minutes * COARSE_STEP_S,
        _FAINT * needed_rate * length,
    )
    sums = np.zeros((2, -(-n // LANES) * LANES), np.float32)
    slow = np.zeros((2, -(-(n_minutes + 1) // LANES) * LANES), np.float32)
    for part in range(parts):
        slow[:] = 0.0
        for c in range(len(columns)):
            if columns[c, MOST] < faint and _lives(columns, c, start, finish):
                add_values(slow, columns, c, n_minutes, start, COARSE_STEP_S, part * far, far, hop)
        for row in range(2):
            for at in range(n_minutes):
                change = (slow[row, at + 1] - slow[row, at]) / np.float32(splits)
                for i in range(splits):
                    sums[row, at * splits + i] = slow[row, at] + np.float32(i) * change
            sums[row, n - 1] = slow[row, n_minutes]
        for c in range(len(columns)):
            if columns[c, MOST] >= faint and _lives(columns, c, start, finish):
                add_values(sums, columns, c, n - 1, start, step, part * far, far, hop)
        for i in range(n):
            integral = sums[0, i]
            if integral > np.float32(1e-9):
                mean = max(sums[1, i] / integral, np.float32(0.0)) + integral * per_km
                course[i] += k * integral * mean**power


@written_out
def _lives(columns, c, start, finish):  # type: ignore[no-untyped-def]
    """Whether a shape lives between two times."""
    phase, pace = columns[c, 0], columns[c, 1]
    return phase + pace * finish > 0.0 and phase + pace * start < 1.0


@kernel
def _cut(course, wanted, start, step, threshold, times, values, starts, n_knots, n_windows):  # type: ignore[no-untyped-def]
    """Append the parts of a course that pass the threshold, each with the knot before and after.

    A part that begins where the last one ended, at the same knot, goes on with its window.
    """
    inside = False
    for i in range(len(course)):
        high = wanted[i] and course[i] >= threshold
        if high and not inside:
            at = start + (i - 1) * step
            if i > 0 and not (n_knots > 0 and times[n_knots - 1] >= at - 0.5 * step):
                starts[n_windows] = n_knots
                n_windows += 1
                times[n_knots], values[n_knots] = at, course[i - 1]
                n_knots += 1
            elif i == 0 and not (n_knots > 0 and times[n_knots - 1] >= start - 0.5 * step):
                starts[n_windows] = n_knots
                n_windows += 1
        if high or inside:
            at = start + i * step
            if not (n_knots > 0 and times[n_knots - 1] >= at - 0.5 * step):
                times[n_knots], values[n_knots] = at, course[i]
                n_knots += 1
        inside = high
    return n_knots, n_windows
