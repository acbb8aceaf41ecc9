"""Numba loops that work out what the shapes of snapshots do to a hop or a point.

As ``models.air.path_rain`` says, in double precision. A hop of no length is a point: k R^alpha of its rate.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel

_FAR = 6.0
_ROOT_TWO = float(np.sqrt(2.0))
_ROOT_HALF_PI = float(np.sqrt(np.pi / 2.0))


@kernel
def sum_scenes(hop, scenes, bearing, reach_in_radii, shift):  # type: ignore[no-untyped-def]
    """Attenuation in each scene, share of its rain by the known shape, area over which that was placed.

    Parameters
    ----------
    hop : tuple of float
        Length [km], k, alpha, stretches; weight, inner and outer radius of showers, share of their peak that
        is their own mean rate, the same of wide shapes.
    scenes : tuple of arrays
        First shape of each scene; of each shape x along and y across the hop [km], whether they are from the
        hop's middle, ln of the peak, radius, ratio of the axes (0 for a shower) and bearing of the long axis;
        of each scene its place, two numbers from 0 to 1.
    bearing : float
        Bearing of the hop [rad].
    reach_in_radii : tuple of two float
        Radii of a shower, and of a round wide shape, beyond which it is not placed.
    shift : tuple of two float
        How far the hop is shifted along and across [km] from that by which the known shape is placed.
    """
    first, x, y, near_hop, log_peak, radius, ratio, long_axis, place = scenes
    length, k, alpha, parts = hop[0], hop[1], hop[2], int(hop[3])
    per_km = parts / length if length > 0.0 else 1.0
    n = len(first) - 1
    total, share, area = np.zeros(n), np.zeros(n), np.empty(n)
    integral, own = np.empty(parts), np.empty(parts)
    for i in range(n):
        head = first[i]
        reach = reach_in_radii[0] * radius[head]
        if ratio[head] > 0.0:
            reach = reach_in_radii[1] * radius[head] * np.sqrt(ratio[head])
        across, spread = placed(place[i, 0], 0.0, reach)
        along, extent = placed(place[i, 1], length, reach)
        area[i] = spread * extent
        integral[:] = 0.0
        own[:] = 0.0
        known = 0.0
        for shape in range(head, first[i + 1]):
            if near_hop[shape]:
                d, s = y[shape] - shift[1], x[shape] + 0.5 * length - shift[0]
            else:
                d, s = across + y[shape] - shift[1], along + x[shape] - shift[0]
            peak, axes = np.exp(log_peak[shape]), ratio[shape]
            _add_shape(hop, integral, own, d, s, peak, radius[shape], axes, long_axis[shape] - bearing)
            if shape == head:
                known = integral.sum()
        for part in range(parts):
            if integral[part] > 0.0:
                mean = own[part] / integral[part] + integral[part] * per_km
                total[i] += k * integral[part] * mean ** (alpha - 1.0)
        if known > 0.0:
            share[i] = known / integral.sum()
    return total, share, area


@kernel
def _add_shape(hop, integral, own, d, s, peak, rho, axes, turn):  # type: ignore[no-untyped-def]
    """Add a shape to the sums I_i and I_i (r_i - I_i / L) of each stretch of a hop."""
    weight, inner, outer, mean_share = hop[4], hop[5], hop[6], hop[7]
    scale = 1.0
    if axes > 0.0:
        weight, inner, outer, mean_share = 0.0, 1.0, 1.0, hop[8]
        along, left = np.cos(turn), -np.sin(turn)
        stiff = along * along / axes + left * left * axes
        s += d * along * left * (1.0 / axes - axes) / stiff
        scale = 1.0 / np.sqrt(stiff)
        d *= scale
    far = hop[0] / len(integral)
    for part in range(len(integral)):
        start, end = part * far - s, (part + 1) * far - s
        beyond = max(max(start, -end), 0.0) / scale
        path, top = 0.0, 0.0
        for gaussian in range(2):
            part_weight = weight if gaussian == 0 else 1.0 - weight
            spread = (inner if gaussian == 0 else outer) * rho
            if part_weight == 0.0 or abs(d) > _FAR * spread or beyond > _FAR * spread:
                continue
            height = part_weight * peak * np.exp(-0.5 * (d / spread) ** 2)
            top += height * np.exp(-0.5 * (beyond / spread) ** 2)
            root = spread * scale * _ROOT_TWO
            path += height * spread * scale * _ROOT_HALF_PI * (_erf(end / root) - _erf(start / root))
        if far == 0.0:
            integral[part] += top
        elif path > 0.0:
            mean = path / far
            flat = min(mean / top, 1.0)
            integral[part] += path
            own[part] += path * (top * (mean_share + (1.0 - mean_share) * flat * np.sqrt(flat)) - mean)


@kernel
def placed(uniform, length, reach):  # type: ignore[no-untyped-def]
    """A place from -reach to length + reach, dense near 0 to length, and the inverse of its density [km]."""
    inside = length / (length + 0.8 * reach)
    if uniform < inside:
        return uniform / inside * length, length / inside
    rest = 2.0 * (uniform - inside) / (1.0 - inside) - 1.0
    away = abs(rest)
    density_inverse = 4.0 * reach * away / (1.0 - inside)
    distance = reach * away * away
    return (length + distance if rest > 0.0 else -distance), density_inverse


@kernel
def _erf(x):  # type: ignore[no-untyped-def]
    """Error function, Abramowitz and Stegun 7.1.28 (error under 3e-7)."""
    a = min(abs(x), 4.5)
    p = 1.0 + a * (
        0.0705230784
        + a * (0.0422820123 + a * (0.0092705272 + a * (0.0001520143 + a * (0.0002765672 + a * 0.0000430638))))
    )
    p = p * p
    p = p * p
    p = p * p
    value = 1.0 - 1.0 / (p * p)
    return value if x >= 0.0 else -value
