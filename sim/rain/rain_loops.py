"""Numba loops of the rain kernel: where rain on a hop may reach a threshold, and its course there.

Sieves, each an upper bound of what the next one looks at: bins of four minutes, in which weak storms and
cells count with their most (``rain_sieve``); the same bins, minutes and thirds of minutes, with all shapes
as they are then. Only there is the course worked out every ten seconds. Bins and knots lie on one grid of
time, whatever is asked for, and no shape that reaches the hop is left out.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.rain_sieve import BIN_S, BOUND_MARGIN, bins_reached, columns_within, storms_near
from hopyears.sim.rain.shape_loops import bounds_within, sums_at

COARSE_STEP_S = 60.0
"""Largest distance of knots that can be asked for [s]."""

_MINUTES = int(BIN_S / COARSE_STEP_S)
_CHUNK_BINS = 2880
_MOST_BINS = 15


@kernel
def knots_above(hop, line, field, threshold, splits, end_s):  # type: ignore[no-untyped-def]
    """Knots of the windows in which a hop's attenuation passes the threshold [dB].

    Parameters
    ----------
    hop : tuple of float
        ``models.air.path_rain.hop_numbers``.
    line : tuple of float
        First end x, y [km] and unit vector x, y.
    field : tuple of arrays
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
    near = np.empty((field[0].shape[1] + field[3].shape[1], 4))
    end_bin = int(np.ceil(end_s / BIN_S - 1e-9))
    for first_bin in range(0, end_bin, _CHUNK_BINS):
        n_bins = min(_CHUNK_BINS, end_bin - first_bin)
        n_near = storms_near(hop, line, field, first_bin * BIN_S, (first_bin + n_bins) * BIN_S, near)
        bounds = bins_reached(hop, line, field, near[:n_near], first_bin, n_bins, needed[0])
        j = 0
        while True:
            i, j = _next_run(bounds, j, needed)
            if i == n_bins:
                break
            begin = (first_bin + i) * BIN_S
            columns = columns_within(hop, line, field, near[:n_near], begin, begin + (j - i) * BIN_S)
            course, wanted = course_within(hop, columns, (j - i) * _MINUTES, splits, needed)
            if n_knots + 2 * len(course) + 2 > len(times):
                room = 2 * len(times) + 2 * len(course)
                times = np.concatenate((times, np.empty(room)))
                values = np.concatenate((values, np.empty(room)))
            if n_windows + len(course) + 2 > len(starts):
                starts = np.concatenate((starts, np.empty(len(starts) + len(course) + 2, np.int64)))
            n_knots, n_windows = _cut(
                course,
                wanted,
                begin,
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
def _next_run(bounds, i, needed):  # type: ignore[no-untyped-def]
    """First of the next bins, from the i-th on, that may reach what is needed, and the one after the last."""
    n = bounds.shape[1]
    while i < n and not may_reach(bounds[0, i], bounds[1, i], needed):
        i += 1
    j = i
    while j < n and j < i + _MOST_BINS and may_reach(bounds[0, j], bounds[1, j], needed):
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
    step = COARSE_STEP_S / splits
    group = max(splits // 3, 1)
    for b in range(n_minutes // _MINUTES):
        begin = b * BIN_S
        integral, rate = bounds_within(columns, begin + 0.5 * BIN_S, 0.5 * BIN_S, length, inner, outer)
        if not may_reach(integral, rate, needed):
            continue
        for m in range(_MINUTES):
            middle = begin + (m + 0.5) * COARSE_STEP_S
            integral, rate = bounds_within(columns, middle, 0.5 * COARSE_STEP_S, length, inner, outer)
            if not may_reach(integral, rate, needed):
                continue
            minute = (b * _MINUTES + m) * splits
            for low in range(0, splits, group):
                high = min(low + group, splits)
                half = 0.5 * (high - low) * step
                at = (minute + low) * step
                integral, rate = bounds_within(columns, at + half, half, length, inner, outer)
                if may_reach(integral, rate, needed):
                    for knot in range(minute + low, minute + high + 1):
                        if not wanted[knot]:
                            course[knot] = attenuation(hop, columns, knot * step)
                            wanted[knot] = True
    return course, wanted


@kernel
def attenuation(hop, columns, time):  # type: ignore[no-untyped-def]
    """Attenuation [dB] at a time, by all shapes together (``models.air.path_rain``)."""
    length, k, alpha, parts = hop[0], hop[1], hop[2], int(hop[3])
    far = length / parts
    total = 0.0
    for part in range(parts):
        integral, own = sums_at(columns, time, part * far, far, hop[5], hop[6])
        if integral > 1e-9:
            mean = max(own / integral, 0.0) + integral / far
            total += k * integral * mean ** (alpha - 1.0)
    return total


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
