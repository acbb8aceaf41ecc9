"""What one shape of rain adds to the sums of a hop at evenly spaced times, in single precision.

No branch in the loops over times, so that the compiler turns them into vector instructions. Error function by
Abramowitz and Stegun 7.1.28 (error under 3e-7), sine of pi u as a polynomial in 4 u (1 - u), exponential as
the 64th power of a series.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out

_ROOT_HALF = np.float32(np.sqrt(0.5))
_TINY = np.float32(1e-30)
_ROOT_HALF_PI = float(np.sqrt(np.pi / 2.0))
_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))


@kernel
def add_shower(integral, own, phase, across, along, length, peak, rho, shape):  # type: ignore[no-untyped-def]
    """Add one shower to the sums I_i and I_i (r_i - I_i / L) of ``models.air.path_rain``.

    Phase of its life, and place across and along the hop [km]: at the first time, and the change from one
    time to the next.
    """
    one, zero = np.float32(1.0), np.float32(0.0)
    u0, du = np.float32(phase[0]), np.float32(phase[1])
    da, dd = np.float32(across[0]), np.float32(across[1])
    sa, ds = np.float32(along[0]), np.float32(along[1])
    weight, inner, outer, share = shape
    far, per_km = np.float32(length), np.float32(1.0 / length)
    c, rest = np.float32(share), np.float32(1.0 - share)
    rho2 = np.float32(rho * rho)
    first, second = np.float32(peak * weight), np.float32(peak * (1.0 - weight))
    narrow, wide = np.float32(_ROOT_HALF / inner), np.float32(_ROOT_HALF / outer)
    thin, broad = np.float32(_ROOT_HALF_PI * inner), np.float32(_ROOT_HALF_PI * outer)
    for i in range(len(integral)):
        step_i = np.float32(i)
        u = u0 + du * step_i
        d = da + dd * step_i
        s = sa + ds * step_i
        q = max(np.float32(4.0) * u * (one - u), np.float32(1e-6))
        r = np.sqrt(rho2 * q * _sine_over(q))
        turn = one / r
        away, near, beyond = abs(d) * turn, s * turn, (far - s) * turn
        over = max(max(-near, -beyond), zero)
        core = first * decay(away * narrow * away * narrow)
        skirt = second * decay(away * wide * away * wide)
        rate_km = r * (
            thin * core * (_erf(beyond * narrow) + _erf(near * narrow))
            + broad * skirt * (_erf(beyond * wide) + _erf(near * wide))
        )
        greatest = core * decay(over * narrow * over * narrow) + skirt * decay(over * wide * over * wide)
        mean = rate_km * per_km
        flat = min(max(mean / (greatest + _TINY), zero), one)
        integral[i] += rate_km
        own[i] += rate_km * (greatest * (c + rest * flat * np.sqrt(flat)) - mean)


@kernel
def add_wide(integral, own, phase, across, along, length, peak, rho, scale, share):  # type: ignore[no-untyped-def]
    """As ``add_shower`` for one Gaussian, ``scale`` times as long along the hop as across."""
    one, zero = np.float32(1.0), np.float32(0.0)
    u0, du = np.float32(phase[0]), np.float32(phase[1])
    da, dd = np.float32(across[0]), np.float32(across[1])
    sa, ds = np.float32(along[0] / scale), np.float32(along[1] / scale)
    far, per_km = np.float32(length / scale), np.float32(1.0 / length)
    c, rest = np.float32(share), np.float32(1.0 - share)
    rho2, high = np.float32(rho * rho), np.float32(peak)
    spread = np.float32(_ROOT_HALF_PI * scale)
    for i in range(len(integral)):
        step_i = np.float32(i)
        u = u0 + du * step_i
        d = da + dd * step_i
        s = sa + ds * step_i
        q = max(np.float32(4.0) * u * (one - u), np.float32(1e-6))
        r = np.sqrt(rho2 * q * _sine_over(q))
        turn = _ROOT_HALF / r
        away, near, beyond = d * turn, s * turn, (far - s) * turn
        over = max(max(-near, -beyond), zero)
        height = high * decay(away * away)
        rate_km = r * spread * height * (_erf(beyond) + _erf(near))
        greatest = height * decay(over * over)
        mean = rate_km * per_km
        flat = min(max(mean / (greatest + _TINY), zero), one)
        integral[i] += rate_km
        own[i] += rate_km * (greatest * (c + rest * flat * np.sqrt(flat)) - mean)


@kernel
def bound_shower(integral, rate, phase, across, along, length, peak, rho, shape):  # type: ignore[no-untyped-def]
    """Add upper bounds of one shower's path integral and rate within stretches of time.

    Phase and places in the middle of the first stretch, and their changes from one to the next.
    """
    one = np.float32(1.0)
    u0, du = np.float32(phase[0]), np.float32(phase[1])
    d0, dd = np.float32(across[0]), np.float32(across[1])
    s0, ds = np.float32(along[0]), np.float32(along[1])
    half_u, half_d, half_s = np.float32(0.5) * du, np.float32(0.5) * abs(dd), np.float32(0.5) * abs(ds)
    far, zero = np.float32(length), np.float32(0.0)
    weight, inner, outer, _ = shape
    first, second = np.float32(peak * weight), np.float32(peak * (1.0 - weight))
    root, thin, broad = np.float32(_ROOT_TWO_PI), np.float32(inner), np.float32(outer)
    for i in range(len(integral)):
        step = np.float32(i)
        u = u0 + du * step
        # The phase within the stretch at which the shape is largest.
        u += min(max(np.float32(0.5) - u, -half_u), half_u)
        q = max(np.float32(4.0) * u * (one - u), np.float32(1e-6))
        r = np.float32(rho) * np.sqrt(q * _sine_over(q))
        d = max(abs(d0 + dd * step) - half_d, zero)
        s = s0 + ds * step
        over = max(max(-s, s - far) - half_s, zero)
        away2 = d * d + over * over
        narrow, wide = thin * r, broad * r
        core = first * decay(away2 / (np.float32(2.0) * narrow * narrow))
        skirt = second * decay(away2 / (np.float32(2.0) * wide * wide))
        integral[i] += core * min(far, root * narrow) + skirt * min(far, root * wide)
        rate[i] += core + skirt


@kernel
def bound_wide(integral, rate, phase, across, along, length, peak, rho, scale):  # type: ignore[no-untyped-def]
    """As ``bound_shower`` for one Gaussian, ``scale`` times as long along the hop as across."""
    one = np.float32(1.0)
    u0, du = np.float32(phase[0]), np.float32(phase[1])
    d0, dd = np.float32(across[0]), np.float32(across[1])
    s0, ds = np.float32(along[0] / scale), np.float32(along[1] / scale)
    half_u, half_d, half_s = np.float32(0.5) * du, np.float32(0.5) * abs(dd), np.float32(0.5) * abs(ds)
    far, zero, stretch = np.float32(length / scale), np.float32(0.0), np.float32(scale)
    for i in range(len(integral)):
        step = np.float32(i)
        u = u0 + du * step
        u += min(max(np.float32(0.5) - u, -half_u), half_u)
        q = max(np.float32(4.0) * u * (one - u), np.float32(1e-6))
        r = np.float32(rho) * np.sqrt(q * _sine_over(q))
        d = max(abs(d0 + dd * step) - half_d, zero)
        s = s0 + ds * step
        over = max(max(-s, s - far) - half_s, zero)
        height = np.float32(peak) * decay((d * d + over * over) / (np.float32(2.0) * r * r))
        integral[i] += height * stretch * min(far, np.float32(_ROOT_TWO_PI) * r)
        rate[i] += height


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
def decay(x: np.float32) -> np.float32:
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
