"""What one shape of rain does to a hop at many times, in single precision.

The loop runs over times, without a branch, so that the compiler turns it into vector instructions. Error
function by Abramowitz and Stegun 7.1.28 (error under 3e-7), sine of pi u as a polynomial in 4 u (1 - u),
exponential as the 64th power of a series.

A column holds, of one shape: phase of its life at its origin of time and its change a second; distance across
the hop and place along it [km] with their changes a second; peaks of its two Gaussians [mm/h]; its largest
radius [km]; inverse of the scale of its chord (``models.air.path_rain.Chords``), and share of its peak that
is its own mean rate. Along the hop all is divided by the scale. A wide shape has no inner Gaussian.
"""

import numpy as np

from hopyears.models.basics.kernel import vector_kernel, written_out

LANES = 8
"""Times, or cells, of one vector instruction: arrays are filled up to a multiple."""

COLUMN = 11
"""Numbers of one shape."""

_ROOT_HALF = float(np.sqrt(0.5))
_TINY = np.float32(1e-30)
_ROOT_HALF_PI = float(np.sqrt(np.pi / 2.0))


@vector_kernel
def add_shape(sums, columns, c, low, high, start, step, half, begin, length, inner, outer):  # type: ignore[no-untyped-def]
    """Add the shape of column ``c`` to three sums over shapes, at the times of lanes ``low`` to ``high``.

    The sums are, for the stretch of the hop that begins at ``begin`` and is ``length`` long [km], I_i,
    I_i (r_i - I_i / L) (``models.air.path_rain``) and the greatest rates. Lane 0 stands for the time
    ``start``, the others follow after ``step`` each; whole ``LANES`` are filled. Where ``half`` is not 0, I_i
    and the greatest rate are the most that they can be ``half`` s about each time: at the phase at which the
    shape is largest, where it is nearest to the line and to the middle of the stretch. ``inner`` and
    ``outer`` are the radii of the showers' profile.
    """
    one, zero, per_km = np.float32(1.0), np.float32(0.0), np.float32(1.0 / length)
    narrow, wide = np.float32(_ROOT_HALF / inner), np.float32(_ROOT_HALF / outer)
    thin, broad = np.float32(_ROOT_HALF_PI * inner), np.float32(_ROOT_HALF_PI * outer)
    u0, du, d0, dv, s0, sv = (
        columns[c, 0],
        columns[c, 1],
        columns[c, 2],
        columns[c, 3],
        columns[c, 4],
        columns[c, 5],
    )
    core_peak, skirt_peak, rho, per_scale, share = (
        columns[c, 6],
        columns[c, 7],
        columns[c, 8],
        columns[c, 9],
        columns[c, 10],
    )
    mid = np.float32(0.5 * length) * per_scale
    s0 -= np.float32(begin) * per_scale + mid
    half_u, half_d, half_s = du * np.float32(half), abs(dv) * np.float32(half), abs(sv) * np.float32(half)
    chord, rest, pace = one / per_scale, one - share, np.float32(step)
    low = low // LANES * LANES
    begins = np.float32(start + step * low)
    integral, own, greatest = sums[0, low:], sums[1, low:], sums[2, low:]
    for i in range((high - low) // LANES * LANES + LANES):
        t = begins + pace * np.float32(np.int32(i))
        u = u0 + du * t
        u += min(max(np.float32(0.5) - u, -half_u), half_u)
        d = max(abs(d0 + dv * t) - half_d, zero)
        s = max(abs(s0 + sv * t) - half_s, zero)
        q = max(np.float32(4.0) * u * (one - u), np.float32(1e-10))
        r = rho * np.sqrt(q * sine_over(q))
        turn = one / r
        away, near, beyond = d * turn, (mid - s) * turn, (mid + s) * turn
        over = max(-near, zero)
        core = core_peak * decay(away * narrow * away * narrow)
        skirt = skirt_peak * decay(away * wide * away * wide)
        inside = thin * core * (erf(beyond * narrow) + erf(near * narrow))
        path = r * chord * (inside + broad * skirt * (erf(beyond * wide) + erf(near * wide)))
        top = core * decay(over * narrow * over * narrow) + skirt * decay(over * wide * over * wide)
        mean = path * per_km
        flat = min(max(mean / (top + _TINY), zero), one)
        integral[i] += path
        own[i] += path * (top * (share + rest * flat * np.sqrt(flat)) - mean)
        greatest[i] += top


@written_out
def sine_over(q: np.float32) -> np.float32:
    """sin(pi u) / q with q = 4 u (1 - u); polynomial by least squares, error under 1e-6."""
    return np.float32(0.78539769) + q * (
        np.float32(0.19635797) + q * (np.float32(0.01739471) + q * np.float32(0.0008495))
    )


@written_out
def erf(x: np.float32) -> np.float32:
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
def decay(x: np.float32) -> np.float32:
    """exp(-x) of x at least 0; nothing beyond 40."""
    z = min(x, np.float32(40.0)) * np.float32(-1.0 / 64.0)
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
    return p * p
