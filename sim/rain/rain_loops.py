"""Numba loops of the rain kernel: bounds of what cells take from a hop, and the exact course.

Two more sieves after ``sim.rain.rain_sieve``: in which stretches of four minutes the sum of upper bounds
reaches the threshold; in which minutes the true sum comes near it. Only there is the course worked out every
ten seconds.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out

COARSE_STEP_S = 60.0
"""Step of the first look [s]."""

_STEPS_PER_BIN = 4
_LOOK_CLOSER = 0.75
_ROOT_HALF = np.float32(np.sqrt(0.5))
_ROOT_HALF_PI = float(np.sqrt(np.pi / 2.0))
_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))


@kernel
def knots_above(line, rows, threshold, splits, end_s):  # type: ignore[no-untyped-def]
    """Knots of the windows above the threshold, from the rows of ``cells_in_reach``.

    Returns times [s], attenuation [dB] and the first knot of each window, with the number of knots last.
    """
    times, values, starts = np.empty(4096), np.empty(4096), np.empty(4096, np.int64)
    n_knots, n_windows = 0, 0
    shape = (line[7], line[8], line[9])
    length = line[4]
    n = len(rows)
    bin_s = COARSE_STEP_S * _STEPS_PER_BIN
    group = 0
    while group < n:
        # A group of cells whose times overlap.
        last, stop = rows[group, 1], group + 1
        longest = rows[group, 1] - rows[group, 0]
        while stop < n and rows[stop, 0] <= last:
            last = max(last, rows[stop, 1])
            longest = max(longest, rows[stop, 1] - rows[stop, 0])
            stop += 1
        members = rows[group:stop]
        begin, finish = max(rows[group, 0], 0.0), min(last, end_s)
        bins = max(int(np.ceil((finish - begin) / bin_s)), 0)
        bound = _bounds(shape, length, members, begin, bin_s, bins)
        group = stop
        i = 0
        while i < bins:
            if bound[i] < threshold:
                i += 1
                continue
            j = i + 1
            while j < bins and bound[j] >= threshold:
                j += 1
            start, until = begin + i * bin_s, min(begin + j * bin_s, finish)
            steps = max(int(np.ceil((until - start) / COARSE_STEP_S - 1e-9)), 1)
            step = (until - start) / steps
            present = members[np.searchsorted(members[:, 0], start - longest) :]
            coarse = _course(shape, length, present, start, step, steps + 1)
            i = j
            m = 0
            while m < steps:
                if max(coarse[m], coarse[m + 1]) < _LOOK_CLOSER * threshold:
                    m += 1
                    continue
                q = m + 1
                while q < steps and max(coarse[q], coarse[q + 1]) >= _LOOK_CLOSER * threshold:
                    q += 1
                count = (q - m) * splits + 1
                fine = _course(shape, length, present, start + m * step, step / splits, count)
                if n_knots + count > len(times):
                    room = 2 * len(times) + count
                    times = np.concatenate((times, np.empty(room)))
                    values = np.concatenate((values, np.empty(room)))
                if n_windows + count + 2 > len(starts):
                    starts = np.concatenate((starts, np.empty(len(starts) + count + 2, np.int64)))
                n_knots, n_windows = _cut(
                    fine,
                    start + m * step,
                    step / splits,
                    threshold,
                    times,
                    values,
                    starts,
                    n_knots,
                    n_windows,
                )
                m = q
    starts[n_windows] = n_knots
    return times[:n_knots].copy(), values[:n_knots].copy(), starts[: n_windows + 1].copy()


@kernel
def _bounds(shape, length, rows, start, step, count):  # type: ignore[no-untyped-def]
    """Upper bound of the attenuation within each of ``count`` stretches of ``step`` seconds."""
    total = np.zeros(count, np.float32)
    for i in range(len(rows)):
        enter, leave, birth, life, d0, dv, s0, sv, peak, rho = rows[i]
        low = max(int((enter - start) / step), 0)
        high = min(int((leave - start) / step), count - 1)
        if high < low:
            continue
        age = start + (low + 0.5) * step - birth
        phase, across, along = _placed(age, step, life, d0, dv, s0, sv)
        _add_bound(total[low : high + 1], phase, across, along, length, peak, rho, shape)
    return total


@kernel
def _add_bound(total, phase, across, along, length, peak, rho, shape):  # type: ignore[no-untyped-def]
    """Add one cell's upper bound over stretches, given its phase and place in the middle of the first one."""
    one = np.float32(1.0)
    u0, du = np.float32(phase[0]), np.float32(phase[1])
    d0, dd = np.float32(across[0]), np.float32(across[1])
    s0, ds = np.float32(along[0]), np.float32(along[1])
    half_u, half_d, half_s = np.float32(0.5) * du, np.float32(0.5) * abs(dd), np.float32(0.5) * abs(ds)
    far, zero = np.float32(length), np.float32(0.0)
    weight, inner, outer = shape
    first, second = np.float32(peak * weight), np.float32(peak * (1.0 - weight))
    root = np.float32(_ROOT_TWO_PI)
    for i in range(len(total)):
        step = np.float32(i)
        u = u0 + du * step
        # The phase within the stretch at which the cell is largest.
        u += min(max(np.float32(0.5) - u, -half_u), half_u)
        q = max(np.float32(4.0) * u * (one - u), np.float32(1e-6))
        r = np.float32(rho) * np.sqrt(q * _sine_over(q))
        d = max(abs(d0 + dd * step) - half_d, zero)
        s = s0 + ds * step
        over = max(max(-s, s - far) - half_s, zero)
        away2 = d * d + over * over
        narrow, wide = np.float32(inner) * r, np.float32(outer) * r
        total[i] += first * min(far, root * narrow) * _decay(away2 / (np.float32(2.0) * narrow * narrow))
        total[i] += second * min(far, root * wide) * _decay(away2 / (np.float32(2.0) * wide * wide))


@kernel
def _course(shape, length, rows, start, step, count):  # type: ignore[no-untyped-def]
    """Attenuation at ``count`` times from ``start`` at distance ``step``, from the cells present."""
    total = np.zeros(count, np.float32)
    end = start + (count - 1) * step
    for i in range(len(rows)):
        enter, leave, birth, life, d0, dv, s0, sv, peak, rho = rows[i]
        if enter >= end:
            break
        if leave <= start:
            continue
        low = max(int(np.ceil((enter - start) / step)), 0)
        high = min(int(np.floor((leave - start) / step)), count - 1)
        if high < low:
            continue
        age = start + low * step - birth
        phase, across, along = _placed(age, step, life, d0, dv, s0, sv)
        _add_cell(total[low : high + 1], phase, across, along, length, peak, rho, shape)
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


@kernel
def _add_cell(total, phase, across, along, length, peak, rho, shape):  # type: ignore[no-untyped-def]
    """Add one cell's attenuation at evenly spaced times, given its phase and place at the first of them.

    Single precision, no branch, so that the compiler turns it into vector instructions. Error function by
    Abramowitz and Stegun 7.1.28 (error under 3e-7), sine of pi u as a polynomial in 4 u (1 - u), exponential
    as the 64th power of a series.
    """
    one = np.float32(1.0)
    u0, du = np.float32(phase[0]), np.float32(phase[1])
    da, dd = np.float32(across[0]), np.float32(across[1])
    sa, ds = np.float32(along[0]), np.float32(along[1])
    weight, inner, outer = shape
    far = np.float32(length)
    rho2 = np.float32(rho * rho)
    first = np.float32(peak * weight * inner * _ROOT_HALF_PI)
    second = np.float32(peak * (1.0 - weight) * outer * _ROOT_HALF_PI)
    narrow, wide = np.float32(_ROOT_HALF / inner), np.float32(_ROOT_HALF / outer)
    for i in range(len(total)):
        step_i = np.float32(i)
        u = u0 + du * step_i
        d = da + dd * step_i
        s = sa + ds * step_i
        q = max(np.float32(4.0) * u * (one - u), np.float32(1e-6))
        r2 = rho2 * q * _sine_over(q)
        r = np.sqrt(r2)
        turn = one / r
        across, near, beyond = abs(d) * turn, s * turn, (far - s) * turn
        total[i] += r * (
            first * _decay(across * narrow * across * narrow) * (_erf(beyond * narrow) + _erf(near * narrow))
            + second * _decay(across * wide * across * wide) * (_erf(beyond * wide) + _erf(near * wide))
        )


@written_out
def _sine_over(q: np.float32) -> np.float32:
    """sin(pi u) / q with q = 4 u (1 - u); polynomial by least squares, error under 1e-6."""
    return np.float32(0.78539769) + q * (
        np.float32(0.19635797) + q * (np.float32(0.01739471) + q * np.float32(0.0008495))
    )


@written_out
def _erf(x: np.float32) -> np.float32:
    """Error function, Abramowitz and Stegun 7.1.28."""
    a = min(abs(x), np.float32(4.5))
    p = np.float32(1.0) + a * (
        np.float32(0.0705230784)
        + a
        * (
            np.float32(0.0422820123)
            + a
            * (
                np.float32(0.0092705272)
                + a
                * (np.float32(0.0001520143) + a * (np.float32(0.0002765672) + a * np.float32(0.0000430638)))
            )
        )
    )
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    value = np.float32(1.0) - np.float32(1.0) / p
    return value if x >= 0 else -value


@written_out
def _decay(x: np.float32) -> np.float32:
    """exp(-x) of x at least 0; nothing beyond 40."""
    z = min(x, np.float32(40.0)) * np.float32(1.0 / 64.0)
    p = np.float32(1.0) + z * (
        np.float32(1.0)
        + z
        * (
            np.float32(0.5)
            + z
            * (
                np.float32(1.0 / 6.0)
                + z * (np.float32(1.0 / 24.0) + z * (np.float32(1.0 / 120.0) + z * np.float32(1.0 / 720.0)))
            )
        )
    )
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    return np.float32(1.0) / p
