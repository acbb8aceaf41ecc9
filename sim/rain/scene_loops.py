"""Numba loops that work out what the shapes of snapshots do to hops or points.

As ``models.air.path_rain`` says, in double precision. A hop of no length is a point: k R^alpha of its rate.
What a shape is across the hops is the same for all of them, placed alike as they are; along them, loops run
over ``LANES`` hops, without a branch, so that the compiler turns them into vector instructions. What a hop
gets does not depend on the others.
"""

from collections.abc import Sequence
from math import factorial

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.kernel import kernel, vector_kernel, written_out

LANES = 8
"""Hops of one vector instruction: arrays are filled up to a multiple."""

LENGTH, K, POWER, PARTS, SHOWER, WIDE, FAR, PER_FAR, BEGIN, INTEGRAL, OWN, END = (
    LANES * row for row in range(12)
)
"""Where the lanes of each number of some hops begin: length [km], k, alpha less one, stretches, share of a
shower's peak that is its own mean rate, the same of wide shapes; length of a stretch and its inverse (1 for a
point); then what the loops change."""

_FAR, _TINY = 6.0, 1e-300
_FADED = 0.5 * _FAR * _FAR
_2, _3, _4, _5, _6, _7, _8 = (1.0 / float(factorial(n)) for n in range(2, 9))
_ROOT_HALF = float(np.sqrt(0.5))
_ROOT_HALF_PI = float(np.sqrt(np.pi / 2.0))


def batches(hops: Sequence[tuple[float, ...]]) -> Floats:
    """Hops, each as ``path_rain.hop_numbers``, in lanes: shape (n, END); the last one fills up."""
    filled = [*hops, *[hops[-1]] * (-len(hops) % LANES)]
    length, k, alpha, parts, *_, shower, wide = np.array(filled).T
    per_far = np.divide(parts, length, out=np.ones(len(filled)), where=length > 0.0)
    zero = np.zeros(len(filled))
    rows = np.stack([length, k, alpha - 1.0, parts, shower, wide, length / parts, per_far, zero, zero, zero])
    return np.ascontiguousarray(rows.reshape(len(rows), -1, LANES).transpose(1, 0, 2)).reshape(-1, END)


@kernel
def sum_scenes(hops, profile, scenes, bearing, reach_in_radii, shift):  # type: ignore[no-untyped-def]
    """Attenuation of each hop in each scene, and the share of its rain by the known shape times the area over
    which that was placed [km2].

    Parameters
    ----------
    hops : array, shape (n, END)
        From ``batches``.
    profile : tuple of float
        Weight, inner and outer radius of showers.
    scenes : tuple of arrays
        First shape of each scene; of each shape x along and y across the hop [km], whether they are from the
        hop's middle, ln of the peak, radius, ratio of the axes (0 for a shower) and bearing of the long axis;
        of each scene its place, two numbers from 0 to 1.
    bearing : float
        Bearing of the hops [rad].
    reach_in_radii : tuple of two float
        Radii of a shower, and of a round wide shape, beyond which it is not placed.
    shift : tuple of two float
        How far the hops are shifted along and across [km] from where the known shape is placed.

    Returns arrays of shape (n_hops, n_scenes).
    """
    first, radius, ratio, place = scenes[0], scenes[5], scenes[6], scenes[8]
    n, n_hops = len(first) - 1, len(hops) * LANES
    total, share_area = np.zeros((n_hops, n)), np.zeros((n_hops, n))
    most = 1
    for i in range(n):
        most = max(most, first[i + 1] - first[i])
    shapes = np.empty((most, 11))
    extent, everything, known = np.empty(LANES), np.empty(LANES), np.empty(LANES)
    for i in range(n):
        head = first[i]
        reach = reach_in_radii[0] * radius[head]
        if ratio[head] > 0.0:
            reach = reach_in_radii[1] * radius[head] * np.sqrt(ratio[head])
        across, spread = placed(place[i, 0], 0.0, reach)
        count = _across(shapes, scenes, i, profile, across, bearing, shift)
        for batch in range(len(hops)):
            some = hops[batch]
            for lane in range(LANES):
                some[BEGIN + lane], extent[lane] = placed(place[i, 1], some[LENGTH + lane], reach)
            everything[:] = 0.0
            known[:] = 0.0
            parts = 0.0
            for lane in range(PARTS, SHOWER):
                parts = max(parts, some[lane])
            for part in range(int(parts)):
                some[INTEGRAL:END] = 0.0
                for shape in range(count):
                    _add_shape(some, part, shapes[shape], shapes[shape, 0] > 0.0)
                    if shape == 0:
                        known += some[INTEGRAL:OWN]
                for lane in range(LANES):
                    integral = some[INTEGRAL + lane]
                    if integral > 0.0:
                        everything[lane] += integral
                        mean = some[OWN + lane] / integral + integral * some[PER_FAR + lane]
                        more = some[K + lane] * integral * mean ** some[POWER + lane]
                        total[batch * LANES + lane, i] += more
            for lane in range(LANES):
                if known[lane] > 0.0:
                    area = spread * extent[lane]
                    share_area[batch * LANES + lane, i] = known[lane] / everything[lane] * area
    return total, share_area


@kernel
def _across(shapes, scenes, i, profile, across, bearing, shift):  # type: ignore[no-untyped-def]
    """Put the shapes of a scene near the line of the hops in rows, the known one first; their number.

    A row: the height of each of its two Gaussians on the line [mm/h], their spread along it over root two
    [1/km], and its inverse; their integrals [mm/h km]; place along the line [km], whether that is from the
    hops' middle; which share of the peak is its own mean rate.
    """
    first, x, y, near_hop, log_peak, radius, ratio, long_axis, _ = scenes
    count = 0
    for shape in range(first[i], first[i + 1]):
        near, axes = near_hop[shape], ratio[shape]
        d, s = y[shape] - shift[1], x[shape] - shift[0]
        if not near:
            d += across
        weight, inner, outer, scale = profile[0], profile[1], profile[2], 1.0
        if axes > 0.0:
            weight, inner, outer = 0.0, 1.0, 1.0
            turn = long_axis[shape] - bearing
            along, left = np.cos(turn), -np.sin(turn)
            stiff = along * along / axes + left * left * axes
            s += d * along * left * (1.0 / axes - axes) / stiff
            scale = 1.0 / np.sqrt(stiff)
            d *= scale
        rho = radius[shape]
        if count > 0 and abs(d) > _FAR * outer * rho:
            continue
        peak, row = np.exp(log_peak[shape]), shapes[count]
        for gaussian in range(2):
            part = weight if gaussian == 0 else 1.0 - weight
            spread = (inner if gaussian == 0 else outer) * rho
            height = part * peak * np.exp(-0.5 * (d / spread) ** 2) if abs(d) <= _FAR * spread else 0.0
            row[gaussian], row[2 + gaussian] = height, _ROOT_HALF / (spread * scale)
            row[4 + gaussian] = height * spread * scale * _ROOT_HALF_PI
        row[6], row[7], row[8] = s, 0.5 if near else 0.0, 0.0 if near else 1.0
        row[9], row[10] = (0.0, 1.0) if axes > 0.0 else (1.0, 0.0)
        count += 1
    return count


@vector_kernel
def _add_shape(hops, part, row, both):  # type: ignore[no-untyped-def]
    """Add a shape to the sums I_i and I_i (r_i - I_i / L) of a stretch of some hops."""
    core, skirt, thin, broad, core_path, skirt_path = row[0], row[1], row[2], row[3], row[4], row[5]
    place, of_length, of_begin, is_shower, is_wide = row[6], row[7], row[8], row[9], row[10]
    number = np.float64(part)
    for i in range(LANES):
        far, per_far = hops[FAR + i], hops[PER_FAR + i]
        start = number * far - place - of_length * hops[LENGTH + i] - of_begin * hops[BEGIN + i]
        end = start + far
        beyond = max(max(start, -end), 0.0)
        over, much = beyond * beyond * broad * broad, erf_between(start * broad, end * broad)
        path, top = (skirt_path * much if over <= _FADED else 0.0), skirt * decay(over)
        if both:
            over, much = beyond * beyond * thin * thin, erf_between(start * thin, end * thin)
            path += core_path * much if over <= _FADED else 0.0
            top += core * decay(over)
        mean_share, mean = is_shower * hops[SHOWER + i] + is_wide * hops[WIDE + i], path * per_far
        flat = min(mean / (top + _TINY), 1.0)
        more = path * (top * (mean_share + (1.0 - mean_share) * flat * np.sqrt(flat)) - mean)
        gives = path if far > 0.0 else top
        hops[INTEGRAL + i] += gives if number < hops[PARTS + i] else 0.0
        hops[OWN + i] += more if number < hops[PARTS + i] else 0.0


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


@written_out
def decay(x: float) -> float:
    """exp(-x) of x at least 0 to 3e-9 of itself, 0 beyond 18: the 64th power of a Taylor polynomial."""
    z = min(x, _FADED) * (1.0 / 64.0)
    p = 1.0 - z * (1.0 - z * (_2 - z * (_3 - z * (_4 - z * (_5 - z * (_6 - z * (_7 - z * _8)))))))
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    p = p * p
    return p if x <= _FADED else 0.0


@written_out
def erf_between(x, y):  # type: ignore[no-untyped-def]
    """erf(y) - erf(x), each by Abramowitz and Stegun 7.1.28 (error under 3e-7)."""
    p, q = _power(min(abs(x), 4.5)), _power(min(abs(y), 4.5))
    of_x, of_y = (1.0 if x >= 0.0 else -1.0), (1.0 if y >= 0.0 else -1.0)
    return (of_y - of_x) - (of_y * p - of_x * q) / (p * q)


@written_out
def _power(a: float) -> float:
    p = 1.0 + a * (
        0.0705230784
        + a * (0.0422820123 + a * (0.0092705272 + a * (0.0001520143 + a * (0.0002765672 + a * 0.0000430638))))
    )
    p = p * p
    p = p * p
    p = p * p
    return p * p
