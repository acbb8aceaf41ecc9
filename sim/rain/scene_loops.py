"""Numba loops that work out what the shapes of snapshots do to a hop or a point."""

import numpy as np
from numba import njit


@njit(cache=True, error_model="numpy", nogil=True)
def sum_scenes(numbers, first, shapes, place, shift):  # type: ignore[no-untyped-def]
    """Attenuation in each scene, with that of a parallel hop where ``shift`` is not (0, 0).

    Parameters
    ----------
    numbers : float64, shape (10,)
        Path length [km], k, alpha, number of stretches; weight, inner and outer radius of a shower; own mean
        share of showers and of wide shapes; radii within which a shape rains.
    first : int64, shape (n_scenes + 1,)
        Shapes of scene i are ``first[i] : first[i + 1]``, the known one first.
    shapes : float64, shape (n_shapes, 7)
        Place x, y [km] from the known shape, or from the hop's middle; 1 if from the hop's middle; ln of
        the peak; radius [km]; long over short axis of a wide shape, 0 of a shower; angle of the long axis to the
        hop.
    place : float64, shape (n_scenes, 2)
        Where the known shape stands, two numbers 0 to 1.
    shift : float64, shape (2,)
        Place of the parallel hop, along and across [km].

    Returns
    -------
    total, other, share, area : float64, shape (n_scenes,)
        Attenuation of both hops [dB], share of the first by the known shape, and the area over which that shape
        was placed [km^2].
    """
    n = len(first) - 1
    total, other, share, area = np.empty(n), np.zeros(n), np.empty(n), np.empty(n)
    length = numbers[0]
    for i in range(n):
        known = shapes[first[i]]
        widest = numbers[6] if known[5] == 0.0 else np.sqrt(known[5])
        reach = numbers[9] * widest * known[4]
        across, spread = placed(place[i, 0], 0.0, reach)
        along, extent = placed(place[i, 1], length, reach)
        area[i] = spread * extent
        members = shapes[first[i] : first[i + 1]]
        total[i], share[i] = _hop(numbers, members, along, across)
        if shift[0] != 0.0 or shift[1] != 0.0:
            other[i], _ = _hop(numbers, _moved(members, shift), along - shift[0], across - shift[1])
    return total, other, share, area


@njit(cache=True, error_model="numpy", nogil=True)
def _moved(members, shift):  # type: ignore[no-untyped-def]
    moved = members.copy()
    for i in range(len(moved)):
        if moved[i, 2] > 0.0:
            moved[i, 0] -= shift[0]
            moved[i, 1] -= shift[1]
    return moved


@njit(cache=True, error_model="numpy", nogil=True)
def _hop(numbers, members, along, across):  # type: ignore[no-untyped-def]
    """Attenuation of the hop [dB] by shapes, the first at (along, across), and its share of the rate."""
    length, k, alpha, parts = numbers[0], numbers[1], numbers[2], int(numbers[3])
    stretch = length / parts
    total, by_known, by_all = 0.0, 0.0, 0.0
    for part in range(parts):
        summed, own, known = 0.0, 0.0, 0.0
        for m in range(len(members)):
            x, y, from_middle, log_peak, radius, ratio, angle = members[m]
            if from_middle > 0.0:
                s, d = x + 0.5 * length, y
            else:
                s, d = along + x, across + y
            s -= part * stretch
            scale, c = 1.0, numbers[7]
            if ratio > 0.0:
                # A centre d to the left of the line cuts it as a round shape at scale * d does.
                cosine, sine = np.cos(angle), np.sin(angle)
                stiff = cosine * cosine / ratio + sine * sine * ratio
                s += d * cosine * sine * (1.0 / ratio - ratio) / stiff
                scale, c = 1.0 / np.sqrt(stiff), numbers[8]
                d *= scale
            integral, greatest = _chord(numbers, d, s, stretch, radius, ratio > 0.0, scale)
            if greatest == 0.0:
                continue
            peak = np.exp(log_peak)
            integral, greatest = integral * peak, greatest * peak
            if m == 0:
                known = integral
            if stretch > 0.0:
                mean = integral / stretch
                flat = min(max(mean / greatest, 0.0), 1.0)
                own += integral * (greatest * (c + (1.0 - c) * flat * np.sqrt(flat)) - mean)
            summed += integral
        by_known += known
        by_all += summed
        if summed > 0.0:
            if stretch > 0.0:
                mean = max(own / summed, 0.0) + summed / stretch
                total += k * summed * mean ** (alpha - 1.0)
            else:
                total += k * summed**alpha
    return total, (by_known / by_all if by_all > 0.0 else 0.0)


@njit(cache=True, error_model="numpy", nogil=True)
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


@njit(cache=True, error_model="numpy", nogil=True)
def _chord(numbers, d, s, length, rho, wide, scale):  # type: ignore[no-untyped-def]
    """Integral of a shape's relative rate along a stretch [km] and its greatest value there.

    At a point of no length both are the value.
    """
    integral, greatest = 0.0, 0.0
    for part in range(1 if wide else 2):
        if wide:
            share, spread = 1.0, rho
        else:
            share, spread = (numbers[4], numbers[5] * rho) if part == 0 else (1.0 - numbers[4], numbers[6] * rho)
        long = spread * scale
        if abs(d) > 6.0 * spread or s < -6.0 * long or s > length + 6.0 * long:
            continue
        fall = share * np.exp(-0.5 * (d / spread) ** 2)
        over = max(max(-s, s - length), 0.0) / long
        value = fall * np.exp(-0.5 * over * over)
        greatest += value
        if length > 0.0:
            root = long * np.sqrt(2.0)
            chord = _erf(abs(length - s) / root) * (1.0 if length > s else -1.0)
            chord += _erf(abs(s) / root) * (1.0 if s > 0.0 else -1.0)
            integral += fall * long * np.sqrt(np.pi / 2.0) * chord
        else:
            integral += value
    return integral, greatest


@njit(cache=True, error_model="numpy", nogil=True)
def _erf(x):  # type: ignore[no-untyped-def]
    """Error function of x at least 0, Abramowitz and Stegun 7.1.28 (error under 3e-7)."""
    a = min(x, 4.5)
    p = 1.0 + a * (
        0.0705230784
        + a * (0.0422820123 + a * (0.0092705272 + a * (0.0001520143 + a * (0.0002765672 + a * 0.0000430638))))
    )
    p = p * p
    p = p * p
    p = p * p
    return 1.0 - 1.0 / (p * p)
