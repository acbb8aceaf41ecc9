"""Numba loops of the rain kernel: where rain on a hop may reach a threshold, and its course there.

Sieves, each an upper bound of what the next one looks at: stretches of 16 minutes, in which every shape near
the hop counts with its most (``rain_sieve``); bins of four minutes, in which the stronger ones count as they
are then; minutes, with all shapes as they are then. Only there is the course worked out every ten seconds.
All lie on one grid of time, whatever is asked for, and no shape that reaches the hop is left out.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.rain_near import storms_near, wide_near
from hopyears.sim.rain.rain_sieve import BIN_S, BINS, BOUND_MARGIN, bins_within, candidates
from hopyears.sim.rain.shape_columns import columns_within
from hopyears.sim.rain.shape_loops import LANES, add_shape

COARSE_STEP_S = 60.0
"""Largest distance of knots that can be asked for [s]."""

_MINUTES = int(BIN_S / COARSE_STEP_S)
_CHUNK = 2048
"""Stretches looked at together."""

_MOST_STRETCHES, _MOST_BINS = 16, 4
"""Taken together, at the most, once a bound says that a threshold may be reached."""


@kernel
def knots_above(hop, line, storms, wide, threshold, splits, end_s):  # type: ignore[no-untyped-def]
    """Knots of the windows in which a hop's attenuation passes the threshold [dB].

    Parameters
    ----------
    hop : tuple of float
        ``models.air.path_rain.hop_numbers``.
    line : tuple of float
        First end x, y [km] and unit vector x, y.
    storms, wide : tuple of arrays
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
    storm_numbers, storm_spans = np.empty(len(storms[0]), np.int64), np.empty((2, len(storms[0])), np.float32)
    wide_numbers, wide_spans = np.empty(len(wide[0]), np.int64), np.empty((3, len(wide[0])), np.float32)
    bounds = np.empty((_CHUNK + 1, 4))
    end, stretch_s = int(np.ceil(end_s / BIN_S - 1e-9)), BINS * BIN_S
    for first in range(0, end, _CHUNK * BINS):
        n_bins = min(_CHUNK * BINS, end - first)
        n, begin = -(-n_bins // BINS), first * BIN_S
        finish = begin + n_bins * BIN_S
        count = storms_near(hop, line, storms, begin, finish, storm_numbers, storm_spans)
        near_storms = storm_numbers[:count], storm_spans
        count = wide_near(hop, line, wide, begin, finish, wide_numbers, wide_spans)
        near_wide = wide_numbers[:count], wide_spans
        stretches = bounds[: n + 1]
        found = candidates(hop, line, storms, wide, near_storms, near_wide, needed[0], begin, stretches)
        j = 0
        while True:
            i, j = _next_run(bounds.T, 2, 3, j, n, _MOST_STRETCHES, needed)
            if i == n:
                break
            bins = bins_within(hop, line, storms, wide, near_wide, found, bounds, needed[0], begin, i, j - i)
            last = min((j - i) * BINS, n_bins - i * BINS)
            q = 0
            while True:
                p, q = _next_run(bins, 0, 2, q, last, _MOST_BINS, needed)
                if p == last:
                    break
                start = begin + i * stretch_s + p * BIN_S
                columns = columns_within(
                    hop, line, storms, wide, near_storms, near_wide, start, start + (q - p) * BIN_S
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


@kernel
def _next_run(bounds, integral, rate, i, n, most, needed):  # type: ignore[no-untyped-def]
    """First of the next bins, from the i-th on, that may reach what is needed, and the one after the last."""
    while i < n and not may_reach(bounds[integral, i], bounds[rate, i], needed):
        i += 1
    j = i
    while j < n and j < i + most and may_reach(bounds[integral, j], bounds[rate, j], needed):
        j += 1
    return i, j


@written_out
def may_reach(integral, rate, needed):  # type: ignore[no-untyped-def]
    """Whether an attenuation may reach its threshold, given bounds of the path integral and of the rate.

    For alpha up to 1, A <= k L^(1 - alpha) I^alpha (the power is concave); above, A <= k I R^(alpha - 1), R
    being the greatest rate. Both hold for the closed form too: no own mean rate is below the path mean or
    above the greatest rate.
    """
    needed_rate, threshold_over_k, power, length = needed
    if power <= 0.0:
        return integral >= BOUND_MARGIN * needed_rate * length
    if rate < BOUND_MARGIN * needed_rate:
        return False
    return integral * rate**power >= BOUND_MARGIN * threshold_over_k


@kernel
def course_within(hop, columns, n_minutes, splits, needed):  # type: ignore[no-untyped-def]
    """Attenuation [dB] at the knots of some minutes, by all shapes together, and at which it was worked out.

    Elsewhere it is below the threshold.
    """
    length, inner, outer = hop[0], hop[5], hop[6]
    course, wanted = np.zeros(n_minutes * splits + 1, np.float32), np.zeros(n_minutes * splits + 1, np.bool_)
    half, step = 0.5 * COARSE_STEP_S, COARSE_STEP_S / splits
    minutes = np.zeros((3, -(-n_minutes // LANES) * LANES), np.float32)
    for c in range(len(columns)):
        add_shape(minutes, columns, c, 0, n_minutes - 1, half, COARSE_STEP_S, half, 0.0, length, inner, outer)
    j = 0
    while True:
        i, j = _next_run(minutes, 0, 2, j, n_minutes, n_minutes, needed)
        if i == n_minutes:
            return course, wanted
        low, high = i * splits, j * splits + 1
        _attenuation(hop, columns, low * step, step, course, low, high)
        wanted[low:high] = True


@kernel
def _attenuation(hop, columns, start, step, course, low, high):  # type: ignore[no-untyped-def]
    """Attenuation [dB] at even times, by all shapes together (``models.air.path_rain``).

    Into ``course`` from ``low`` to before ``high``."""
    length, k, power, parts = hop[0], np.float32(hop[1]), np.float32(hop[2] - 1.0), int(hop[3])
    far, n = length / parts, high - low
    per_km, finish = np.float32(1.0 / far), start + (n - 1) * step
    sums = np.zeros((3, -(-n // LANES) * LANES), np.float32)
    for part in range(parts):
        if part > 0:
            sums[:] = 0.0
        for c in range(len(columns)):
            phase, pace = columns[c, 0], columns[c, 1]
            if phase + pace * finish > 0.0 and phase + pace * start < 1.0:
                add_shape(sums, columns, c, 0, n - 1, start, step, 0.0, part * far, far, hop[5], hop[6])
        for i in range(n):
            integral = sums[0, i]
            if integral > np.float32(1e-9):
                mean = max(sums[1, i] / integral, np.float32(0.0)) + integral * per_km
                course[low + i] += k * integral * mean**power


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
