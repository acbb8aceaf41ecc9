"""Numba loops of the rain kernel: where rain on a hop may reach a threshold, and its course there.

Three sieves, each an upper bound of what the next one looks at: in which bins of four minutes the storms near
the hop, each with the most that it rains anywhere, could make the rate needed (``rain_sieve``); in which bins
all shapes, each with the most that it does to the hop then, could; in which minutes they could. Only there is
the course worked out every ten seconds. Bins and knots lie on one grid of time, whatever is asked for, and no
shape that reaches the hop is left out.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.rain_sieve import BIN_S, BOUND_MARGIN, rows_within, runs_of_bins, storms_in_reach
from hopyears.sim.rain.shape_loops import add_shower, add_wide, bound_shower, bound_wide

COARSE_STEP_S = 60.0
"""Stretch of time of the last sieve [s]."""

_MINUTES = int(BIN_S / COARSE_STEP_S)


@kernel
def knots_above(hop, line, field, threshold, splits, end_s):  # type: ignore[no-untyped-def]
    """Knots of the windows in which a hop's attenuation passes the threshold [dB].

    Parameters
    ----------
    hop : tuple of float
        Length [km], k, alpha, stretches; weight, inner and outer radius of showers, share of their peak that
        is their own mean rate, the same of wide shapes (``models.air.path_rain``).
    line : tuple of float
        First end x, y [km] and unit vector x, y.
    field : tuple of arrays
        See ``RainField.for_kernel``.

    Returns times [s], attenuation [dB] and the first knot of each window, with the number of knots last.
    """
    times, values, starts = np.empty(4096), np.empty(4096), np.empty(4096, np.int64)
    n_knots, n_windows = 0, 0
    length, k, alpha = hop[0], hop[1], hop[2]
    needed_rate = (threshold / (k * length)) ** (1.0 / alpha)
    enter, leave, rate, which = storms_in_reach(line, length, field, end_s)
    runs = runs_of_bins(enter, leave, rate, needed_rate)
    longest = np.max(leave - enter) if len(enter) else 0.0
    step, end_bin = COARSE_STEP_S / splits, int(np.ceil(end_s / BIN_S - 1e-9))
    for run in range(len(runs)):
        first, stop = runs[run, 0], min(runs[run, 1], end_bin)
        begin, finish = first * BIN_S, stop * BIN_S
        low = np.searchsorted(enter, begin - longest)
        high = np.searchsorted(enter, finish)
        rows = rows_within(line, length, field, which[low:high], begin, finish)
        bins = may_reach(hop, rows, threshold, begin, BIN_S, stop - first)
        i = 0
        while i < stop - first:
            if not bins[i]:
                i += 1
                continue
            j = i + 1
            while j < stop - first and bins[j]:
                j += 1
            at = begin + i * BIN_S
            present = rows[(rows[:, 0] < begin + j * BIN_S) & (rows[:, 1] > at)]
            minutes = may_reach(hop, present, threshold, at, COARSE_STEP_S, (j - i) * _MINUTES)
            i = j
            m = 0
            while m < len(minutes):
                if not minutes[m]:
                    m += 1
                    continue
                q = m + 1
                while q < len(minutes) and minutes[q]:
                    q += 1
                count = (q - m) * splits + 1
                course = course_of(hop, present, at + m * COARSE_STEP_S, step, count)
                if n_knots + count + 2 > len(times):
                    room = 2 * len(times) + count
                    times = np.concatenate((times, np.empty(room)))
                    values = np.concatenate((values, np.empty(room)))
                if n_windows + count + 2 > len(starts):
                    starts = np.concatenate((starts, np.empty(len(starts) + count + 2, np.int64)))
                n_knots, n_windows = _cut(
                    course, at + m * COARSE_STEP_S, step, threshold, times, values, starts, n_knots, n_windows
                )
                m = q
    starts[n_windows] = n_knots
    return times[:n_knots].copy(), values[:n_knots].copy(), starts[: n_windows + 1].copy()


@kernel
def may_reach(hop, rows, threshold, start, step, count):  # type: ignore[no-untyped-def]
    """Whether the attenuation may reach the threshold within each of ``count`` stretches of ``step`` seconds.

    For alpha up to 1, A <= k L^(1 - alpha) I^alpha (the power is concave); above, A <= k I R^(alpha - 1), R
    being the greatest rate. Both hold for the closed form too: no own mean rate is below the path mean or
    above the greatest rate.
    """
    length, k, alpha = hop[0], hop[1], hop[2]
    integral, rate = np.zeros(count, np.float32), np.zeros(count, np.float32)
    for i in range(len(rows)):
        row = rows[i]
        low = max(int(np.floor((row[0] - start) / step)), 0)
        high = min(int(np.floor((row[1] - start) / step)), count - 1)
        if high < low:
            continue
        age = start + (low + 0.5) * step - row[2]
        phase, across, along = _placed(age, step, row[3], row[4], row[5], row[6], row[7])
        into, onto = integral[low : high + 1], rate[low : high + 1]
        if row[10] == 0.0:
            bound_shower(into, onto, phase, across, along, length, row[8], row[9], hop[4:8])
        else:
            bound_wide(into, onto, phase, across, along, length, row[8], row[9], row[10])
    if alpha <= 1.0:
        needed = (threshold / k * length ** (alpha - 1.0)) ** (1.0 / alpha)
        return integral >= np.float32(needed * BOUND_MARGIN)
    power, needed = np.float32(alpha - 1.0), threshold / k
    return integral * rate**power >= np.float32(needed * BOUND_MARGIN)


@kernel
def course_of(hop, rows, start, step, count):  # type: ignore[no-untyped-def]
    """Attenuation [dB] at ``count`` times from ``start`` at distance ``step``, by these shapes together."""
    length, k, alpha, parts = hop[0], hop[1], hop[2], int(hop[3])
    far = length / parts
    total = np.zeros(count, np.float32)
    integral, own = np.empty(count, np.float32), np.empty(count, np.float32)
    power, per_km = np.float32(alpha - 1.0), np.float32(1.0 / far)
    for part in range(parts):
        integral[:] = 0.0
        own[:] = 0.0
        for i in range(len(rows)):
            row = rows[i]
            low = max(int(np.ceil((row[0] - start) / step)), 0)
            high = min(int(np.floor((row[1] - start) / step)), count - 1)
            if high < low:
                continue
            age = start + low * step - row[2]
            phase, across, along = _placed(age, step, row[3], row[4], row[5], row[6] - part * far, row[7])
            into, onto = integral[low : high + 1], own[low : high + 1]
            if row[10] == 0.0:
                add_shower(into, onto, phase, across, along, far, row[8], row[9], hop[4:8])
            else:
                add_wide(into, onto, phase, across, along, far, row[8], row[9], row[10], hop[8])
        for i in range(count):
            summed = integral[i]
            if summed > 1e-9:
                mean = max(own[i] / summed, np.float32(0.0)) + summed * per_km
                total[i] += np.float32(k) * summed * mean**power
    return total


@written_out
def _placed(age, step, life, d0, dv, s0, sv):  # type: ignore[no-untyped-def]
    """Phase, place across and place along the hop of a cell of this age, each with its change in a step."""
    return (age / life, step / life), (d0 + dv * age, dv * step), (s0 + sv * age, sv * step)


@kernel
def _cut(fine, start, step, threshold, times, values, starts, n_knots, n_windows):  # type: ignore[no-untyped-def]
    """Append the parts of a course that pass the threshold, each with the knot before and after."""
    inside = False
    last = -1
    for i in range(len(fine)):
        high = fine[i] >= threshold
        if high and not inside:
            inside = True
            if n_windows == 0 or last < i - 1 or last < 0:
                starts[n_windows] = n_knots
                n_windows += 1
                if i > 0:
                    times[n_knots] = start + (i - 1) * step
                    values[n_knots] = fine[i - 1]
                    n_knots += 1
        if inside:
            times[n_knots] = start + i * step
            values[n_knots] = fine[i]
            n_knots += 1
            last = i
            inside = high
    return n_knots, n_windows
