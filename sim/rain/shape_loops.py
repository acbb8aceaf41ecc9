"""What one shape of rain does to a hop at many times, in single precision.

The loops run over times, without a branch, so that the compiler turns them into vector instructions, and
their functions are as short as the precision allows (some 1e-6 of a shape's peak).

A column holds, of one shape: phase of its life at its origin of time and its change a second; distance across
the hop and place along it [km] with their changes a second; peaks of its two Gaussians [mm/h]; its largest
radius [km]; inverse of the scale of its chord (``models.air.path_rain.Chords``); share of its peak that is
its own mean rate; that scale, since to divide takes longest; the most that it gives the hop meanwhile (path
integral of the rate, mm/h km). Along the hop all is divided by the scale. A wide shape has no inner Gaussian,
nor has a shower that stays too far off for it.
"""

import numpy as np

from hopyears.models.basics.kernel import vector_kernel, written_out

LANES = 8
"""Times, or cells, of one vector instruction: arrays are filled up to a multiple."""

COLUMN, MOST = 13, 12
"""Numbers of one shape, and where the last stands."""

_ROOT_HALF = float(np.sqrt(0.5))
_TINY = np.float32(1e-30)
_ROOT_HALF_PI = float(np.sqrt(np.pi / 2.0))
_FURTHEST = np.float32(3.7)
_ROOT_HALF_BITS = np.float32(_ROOT_HALF).view(np.int32)
_LN2, _PER_LN2 = np.float32(np.log(2.0)), np.float32(1.0 / np.log(2.0))
_2, _2_3, _2_5, _2_7, _2_9 = map(np.float32, (2.0, 2.0 / 3.0, 2.0 / 5.0, 2.0 / 7.0, 2.0 / 9.0))
_1_2, _1_3, _1_4, _1_5, _1_6 = map(np.float32, (1.0 / 2.0, 1.0 / 3.0, 1.0 / 4.0, 1.0 / 5.0, 1.0 / 6.0))


@vector_kernel
def add_bounds(sums, columns, c, low, high, start, step, half, hop):  # type: ignore[no-untyped-def]
    """Add the most that the shape of column ``c`` does to a hop ``half`` s about the times of some lanes.

    Into rows 0 and 1 of ``sums``, lanes ``low`` to ``high``, filled up to whole ``LANES``: the path integral
    of its rate and its greatest rate, at the phase at which it is largest, where it is nearest to the line
    and to the middle of the hop (``models.air.path_rain.hop_numbers``), all at once. Lane 0 stands for the
    time ``start``, the others follow after ``step`` each. The greatest rate is that of the whole line; the
    inner Gaussian counts whole if its middle is on the hop, else by erfc(x) <= exp(-x^2).
    """
    narrow, wide = np.float32(_ROOT_HALF / hop[5]), np.float32(_ROOT_HALF / hop[6])
    u0, du, d0, dv = columns[c, 0], columns[c, 1], columns[c, 2], columns[c, 3]
    core_peak, skirt_peak, rho, per_scale = columns[c, 6], columns[c, 7], columns[c, 8], columns[c, 9]
    scale = columns[c, 11]
    thin, broad = np.float32(_ROOT_HALF_PI * hop[5]) * scale, np.float32(_ROOT_HALF_PI * hop[6]) * scale
    mid, sv = np.float32(0.5 * hop[0]) * per_scale, columns[c, 5]
    s0 = columns[c, 4] - mid
    half_u, half_d, half_s = du * np.float32(half), abs(dv) * np.float32(half), abs(sv) * np.float32(half)
    zero, one, two = np.float32(0.0), np.float32(1.0), np.float32(2.0)
    first, pace, peaked = low // LANES * LANES, np.float32(step), core_peak > np.float32(0.0)
    begins = np.float32(start + step * first)
    integral, greatest = sums[0, first:], sums[1, first:]
    for i in range((high - first) // LANES * LANES + LANES):
        t = begins + pace * np.float32(np.int32(i))
        u = u0 + du * t
        u += min(max(np.float32(0.5) - u, -half_u), half_u)
        d, s = max(abs(d0 + dv * t) - half_d, zero), max(abs(s0 + sv * t) - half_s, zero)
        r = rho * _growth(u)
        turn = one / r
        away, near, beyond = d * turn, (mid - s) * turn, (mid + s) * turn
        away2, near2 = away * away, near * near
        rate = skirt_peak * decay(away2 * wide * wide)
        chord = broad * rate * both_erf(beyond * wide, near * wide)
        if peaked:
            core = core_peak * decay(away2 * narrow * narrow)
            chord += thin * core * (two if near > zero else decay(near2 * narrow * narrow))
            rate += core
        integral[i] += r * chord
        greatest[i] += rate


@vector_kernel
def add_values(sums, columns, c, high, start, step, begin, length, hop):  # type: ignore[no-untyped-def]
    """Add I_i and I_i (r_i - I_i / L) of the shape of column ``c`` (``models.air.path_rain``) to two sums.

    For the stretch of the hop that begins at ``begin`` and is ``length`` long [km], at the times of lanes 0
    to ``high``, as for ``add_bounds``.
    """
    narrow, wide = np.float32(_ROOT_HALF / hop[5]), np.float32(_ROOT_HALF / hop[6])
    u0, du, d0, dv = columns[c, 0], columns[c, 1], columns[c, 2], columns[c, 3]
    core_peak, skirt_peak, rho, per_scale = columns[c, 6], columns[c, 7], columns[c, 8], columns[c, 9]
    scale = columns[c, 11]
    thin, broad = np.float32(_ROOT_HALF_PI * hop[5]) * scale, np.float32(_ROOT_HALF_PI * hop[6]) * scale
    one, zero, begins, pace = np.float32(1.0), np.float32(0.0), np.float32(start), np.float32(step)
    mid, sv, share = np.float32(0.5 * length) * per_scale, columns[c, 5], columns[c, 10]
    s0, per_km = columns[c, 4] - np.float32(begin) * per_scale - mid, np.float32(1.0 / length)
    integral, own, peaked = sums[0], sums[1], core_peak > zero
    for i in range(high // LANES * LANES + LANES):
        t = begins + pace * np.float32(np.int32(i))
        r = rho * _growth(u0 + du * t)
        d, s = d0 + dv * t, abs(s0 + sv * t)
        turn = one / r
        away, near, beyond = d * turn, (mid - s) * turn, (mid + s) * turn
        over = max(-near, zero)
        away2, over2 = away * away, over * over
        skirt = skirt_peak * decay(away2 * wide * wide)
        chord, under = _erfs(beyond * wide, near * wide)
        chord, top = broad * skirt * chord, skirt * decay(over2 * wide * wide)
        if peaked:
            core = core_peak * decay(away2 * narrow * narrow)
            inner, inner_under = _erfs(beyond * narrow, near * narrow)
            chord, under = chord * inner_under + thin * core * inner * under, under * inner_under
            top += core * decay(over2 * narrow * narrow)
        # Both over one division, which takes longest.
        top += _TINY
        once = one / (under * top)
        path = r * chord * top * once
        mean = path * per_km
        flat = min(max(r * chord * per_km * once, zero), one)
        integral[i] += path
        own[i] += path * (top * (share + (one - share) * flat * np.sqrt(flat)) - mean)


@vector_kernel
def add_attenuation(course, sums, n, k, power, per_km):  # type: ignore[no-untyped-def]
    """Add to ``n`` values [dB] what a stretch of a hop has of the two sums, k I R^power."""
    for i in range(-(-n // LANES) * LANES):
        integral = max(sums[0, i], np.float32(1e-9))
        mean = max(sums[1, i] / integral, np.float32(0.0)) + integral * per_km
        course[i] += k * integral * power_of(mean, power)


@vector_kernel
def most_attenuation(sums, n, integral, rate, hop):  # type: ignore[no-untyped-def]
    """Put bounds of ``n`` attenuations [dB] in place of those of their path integrals, in row 0 of ``sums``.

    Row 1 has those of their rates; ``integral`` and ``rate`` are added to all. See ``rain_sieve.may_reach``.
    """
    length, k, power = np.float32(hop[0]), np.float32(hop[1]), np.float32(hop[2] - 1.0)
    per_km = np.float32(1.0) / length
    for i in range(-(-n // LANES) * LANES):
        greatest = max(sums[1, i] + rate, np.float32(1e-9))
        whole = min(max(sums[0, i] + integral, np.float32(1e-9)), length * greatest)
        mean = whole * per_km if power <= np.float32(0.0) else greatest
        sums[0, i] = k * whole * power_of(mean, power)


@written_out
def _growth(u):  # type: ignore[no-untyped-def]
    """Radius over the largest, sqrt(sin(pi u)); nearly nothing outside of life."""
    q = max(np.float32(4.0) * u * (np.float32(1.0) - u), np.float32(1e-10))
    return np.sqrt(q * sine_over(q))


@written_out
def sine_over(q):  # type: ignore[no-untyped-def]
    """sin(pi u) / q, q being 4 u (1 - u), u 0 to 1; a polynomial, error of the sine under 1e-6."""
    return np.float32(0.78539769) + q * (
        np.float32(0.19635797) + q * (np.float32(0.01739471) + q * np.float32(0.0008495))
    )


@written_out
def both_erf(x, y):  # type: ignore[no-untyped-def]
    """erf(x) + erf(y), error under 6e-6: a rational function, minimax to 3.7, of one division for both."""
    over, under = _erfs(x, y)
    return over / under


@written_out
def _erfs(x, y):  # type: ignore[no-untyped-def]
    """As ``both_erf``, before it is divided; what it is divided by is 1 to 3500."""
    x, y = min(max(x, -_FURTHEST), _FURTHEST), min(max(y, -_FURTHEST), _FURTHEST)
    x2, y2 = x * x, y * y
    under, under_y = _under(x2), _under(y2)
    return x * _over(x2) * under_y + y * _over(y2) * under, under * under_y


@written_out
def _over(x2: np.float32) -> np.float32:
    return np.float32(1.12840038) + x2 * (
        np.float32(0.167872382) + x2 * (np.float32(0.0480189200) + x2 * np.float32(0.00132018411))
    )


@written_out
def _under(x2: np.float32) -> np.float32:
    return np.float32(1.0) + x2 * (
        np.float32(0.482280562)
        + x2 * (np.float32(0.102857845) + x2 * (np.float32(0.0115874636) + x2 * np.float32(5.40712817e-5)))
    )


@written_out
def decay(x: np.float32) -> np.float32:
    """exp(-x) of x at least 0, error under 2e-7 and that of rounding; nothing beyond 32.

    The sixteenth power of a minimax polynomial."""
    z = min(x * np.float32(1.0 / 16.0), np.float32(2.0))
    p = np.float32(1.0) - z * (
        np.float32(0.99999774)
        - z * (np.float32(0.49989474) - z * (np.float32(0.16534543) - z * np.float32(0.03584964)))
    )
    p = p * p
    p = p * p
    p = p * p
    return p * p


@written_out
def power_of(x, power):  # type: ignore[no-untyped-def]
    """x to a power between -1 and 1, x above 0, error under 1e-6: series of a logarithm about one and of an
    exponential about zero, and the powers of two as they are stored."""
    one, bits, mantissa = np.float32(1.0), np.float32(x).view(np.int32), np.int32(23)
    octaves = np.int32(np.int32(bits - _ROOT_HALF_BITS) >> mantissa)
    part = np.int32(bits - np.int32(octaves << mantissa)).view(np.float32)
    s = (part - one) / (part + one)
    s2 = s * s
    log2 = np.float32(octaves) + s * _PER_LN2 * (_2 + s2 * (_2_3 + s2 * (_2_5 + s2 * (_2_7 + s2 * _2_9))))
    y = power * log2
    whole = np.floor(y + np.float32(0.5))
    z = (y - whole) * _LN2
    p = one + z * (one + z * _1_2 * (one + z * _1_3 * (one + z * _1_4 * (one + z * _1_5 * (one + z * _1_6)))))
    return p * np.int32(np.int32(np.int32(whole) + np.int32(127)) << mantissa).view(np.float32)
