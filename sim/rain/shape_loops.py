"""What shapes of rain do to a hop at one time or within a stretch of time, in single precision.

The loops run over shapes, as columns whose number is a multiple of ``LANES``, without a branch and with
sums in any order, so that the compiler turns them into vector instructions. Error function by Abramowitz
and Stegun 7.1.28 (error under 3e-7), sine of pi u as a polynomial in 4 u (1 - u), exponential as the 64th
power of a series.

A column holds, of one shape: phase of its life at the time origin and its change a second; distance across
the hop and place along it [km] with their changes a second; peaks of its two Gaussians [mm/h]; square of its
largest radius [km^2]; inverse of the scale of its chord (``models.air.path_rain.Chords``), and share of its
peak that is its own mean rate. Along the hop all is divided by the scale. A wide shape has no inner Gaussian.
"""

import numpy as np

from hopyears.models.basics.kernel import vector_kernel, written_out

LANES = 8
COLUMN = 11
"""Numbers of one shape."""

_ROOT_HALF = float(np.sqrt(0.5))
_TINY = np.float32(1e-30)
_ROOT_HALF_PI = float(np.sqrt(np.pi / 2.0))
_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))


@vector_kernel
def sums_at(columns, time, begin, length, inner, outer):  # type: ignore[no-untyped-def]
    """Sums of I_i and of I_i (r_i - I_i / L) over shapes (``models.air.path_rain``) at a time.

    Over the stretch of the hop that begins at ``begin`` and is ``length`` long [km]; ``inner`` and ``outer``
    are the radii of the showers' profile.
    """
    t, start, far = np.float32(time), np.float32(begin), np.float32(length)
    one, zero, per_km = np.float32(1.0), np.float32(0.0), np.float32(1.0 / length)
    narrow, wide = np.float32(_ROOT_HALF / inner), np.float32(_ROOT_HALF / outer)
    thin, broad = np.float32(_ROOT_HALF_PI * inner), np.float32(_ROOT_HALF_PI * outer)
    integral, own = np.float32(0.0), np.float32(0.0)
    for i in range(columns.shape[1]):
        u = columns[0, i] + columns[1, i] * t
        d = columns[2, i] + columns[3, i] * t
        per_scale, share = columns[9, i], columns[10, i]
        s = columns[4, i] + columns[5, i] * t - start * per_scale
        q = max(np.float32(4.0) * u * (one - u), np.float32(1e-10))
        r = np.sqrt(columns[8, i] * q * sine_over(q))
        turn = one / r
        away, near, beyond = d * turn, s * turn, (far * per_scale - s) * turn
        over = max(max(-near, -beyond), zero)
        core = columns[6, i] * decay(away * narrow * away * narrow)
        skirt = columns[7, i] * decay(away * wide * away * wide)
        path = (
            r
            / per_scale
            * (
                thin * core * (erf(beyond * narrow) + erf(near * narrow))
                + broad * skirt * (erf(beyond * wide) + erf(near * wide))
            )
        )
        greatest = core * decay(over * narrow * over * narrow) + skirt * decay(over * wide * over * wide)
        mean = path * per_km
        flat = min(max(mean / (greatest + _TINY), zero), one)
        integral += path
        own += path * (greatest * (share + (one - share) * flat * np.sqrt(flat)) - mean)
    return integral, own


@vector_kernel
def bounds_within(columns, middle, half, length, inner, outer):  # type: ignore[no-untyped-def]
    """Upper bounds of the path integral of the rate and of the rate on a hop, ``half`` s about a time."""
    t, h, far = np.float32(middle), np.float32(half), np.float32(length)
    one, zero = np.float32(1.0), np.float32(0.0)
    narrow, wide = np.float32(_ROOT_HALF / inner), np.float32(_ROOT_HALF / outer)
    thin, broad = np.float32(_ROOT_TWO_PI * inner), np.float32(_ROOT_TWO_PI * outer)
    integral, rate = np.float32(0.0), np.float32(0.0)
    for i in range(columns.shape[1]):
        per_scale = columns[9, i]
        # The phase at which the shape is largest.
        half_u = columns[1, i] * h
        u = columns[0, i] + columns[1, i] * t
        u += min(max(np.float32(0.5) - u, -half_u), half_u)
        d = max(abs(columns[2, i] + columns[3, i] * t) - abs(columns[3, i]) * h, zero)
        s, along = columns[4, i] + columns[5, i] * t, far * per_scale
        over = max(max(-s, s - along) - abs(columns[5, i]) * h, zero)
        q = max(np.float32(4.0) * u * (one - u), np.float32(1e-6))
        r = np.sqrt(columns[8, i] * q * sine_over(q))
        away2 = (d * d + over * over) / (r * r)
        core = columns[6, i] * decay(away2 * narrow * narrow)
        skirt = columns[7, i] * decay(away2 * wide * wide)
        integral += (core * min(along, thin * r) + skirt * min(along, broad * r)) / per_scale
        rate += core + skirt
    return integral, rate


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
