"""What one shape of rain does to a hop at many times, in single precision.

The loops run over times, without a branch, so that the compiler turns them into vector instructions, and
their functions are as short as the precision allows (some 1e-6 of a shape's peak).

A column holds, of one shape: phase of its life at its origin of time and its change a second; distance across
the hop and place along it [km] with their changes a second; peaks of its two Gaussians [mm/h]; its largest
radius [km]; inverse of the scale of its chord (``models.air.path_rain.Chords``); share of its peak that
is its own mean rate; the most that it gives the hop meanwhile (path integral of the rate, mm/h km). Along the
hop all is divided by the scale. A wide shape has no inner Gaussian.
"""

import numpy as np

from hopyears.models.basics.kernel import vector_kernel, written_out

LANES = 8
"""Times, or cells, of one vector instruction: arrays are filled up to a multiple."""

COLUMN, MOST = 12, 11
"""Numbers of one shape, and where the last stands."""

_ROOT_HALF = float(np.sqrt(0.5))
_TINY = np.float32(1e-30)
_ROOT_HALF_PI = float(np.sqrt(np.pi / 2.0))
_FURTHEST = np.float32(3.7)


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
    mid, sv = np.float32(0.5 * hop[0]) * per_scale, columns[c, 5]
    thin, broad = (
        np.float32(_ROOT_HALF_PI * hop[5]) / per_scale,
        np.float32(_ROOT_HALF_PI * hop[6]) / per_scale,
    )
    s0 = columns[c, 4] - mid
    half_u, half_d, half_s = du * np.float32(half), abs(dv) * np.float32(half), abs(sv) * np.float32(half)
    zero, one, two = np.float32(0.0), np.float32(1.0), np.float32(2.0)
    first, pace = low // LANES * LANES, np.float32(step)
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
        core, skirt = core_peak * decay(away2 * narrow * narrow), skirt_peak * decay(away2 * wide * wide)
        inner = two if near > zero else decay(near2 * narrow * narrow)
        integral[i] += r * (thin * core * inner + broad * skirt * both_erf(beyond * wide, near * wide))
        greatest[i] += core + skirt


@vector_kernel
def add_values(sums, columns, c, high, start, step, begin, length, hop):  # type: ignore[no-untyped-def]
    """Add I_i and I_i (r_i - I_i / L) of the shape of column ``c`` (``models.air.path_rain``) to two sums.

    For the stretch of the hop that begins at ``begin`` and is ``length`` long [km], at the times of lanes 0
    to ``high``, as for ``add_bounds``.
    """
    narrow, wide = np.float32(_ROOT_HALF / hop[5]), np.float32(_ROOT_HALF / hop[6])
    u0, du, d0, dv = columns[c, 0], columns[c, 1], columns[c, 2], columns[c, 3]
    core_peak, skirt_peak, rho, per_scale = columns[c, 6], columns[c, 7], columns[c, 8], columns[c, 9]
    mid, sv, share = np.float32(0.5 * length) * per_scale, columns[c, 5], columns[c, 10]
    s0 = columns[c, 4] - np.float32(begin) * per_scale - mid
    thin, broad = (
        np.float32(_ROOT_HALF_PI * hop[5]) / per_scale,
        np.float32(_ROOT_HALF_PI * hop[6]) / per_scale,
    )
    per_km = np.float32(1.0 / length)
    one, zero, begins, pace = np.float32(1.0), np.float32(0.0), np.float32(start), np.float32(step)
    integral, own = sums[0], sums[1]
    for i in range(high // LANES * LANES + LANES):
        t = begins + pace * np.float32(np.int32(i))
        r = rho * _growth(u0 + du * t)
        d, s = d0 + dv * t, abs(s0 + sv * t)
        turn = one / r
        away, near, beyond = d * turn, (mid - s) * turn, (mid + s) * turn
        over = max(-near, zero)
        away2, over2 = away * away, over * over
        core, skirt = core_peak * decay(away2 * narrow * narrow), skirt_peak * decay(away2 * wide * wide)
        inside = thin * core * both_erf(beyond * narrow, near * narrow)
        path = r * (inside + broad * skirt * both_erf(beyond * wide, near * wide))
        top = core * decay(over2 * narrow * narrow) + skirt * decay(over2 * wide * wide)
        mean = path * per_km
        flat = min(max(mean / (top + _TINY), zero), one)
        integral[i] += path
        own[i] += path * (top * (share + (one - share) * flat * np.sqrt(flat)) - mean)


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
    x, y = min(max(x, -_FURTHEST), _FURTHEST), min(max(y, -_FURTHEST), _FURTHEST)
    x2, y2 = x * x, y * y
    over, under = x * _over(x2), _under(x2)
    over_y, under_y = y * _over(y2), _under(y2)
    return (over * under_y + over_y * under) / (under * under_y)


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
