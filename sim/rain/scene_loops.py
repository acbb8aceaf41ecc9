"""Numba loops that work out what the cells of snapshots do to a hop or a point."""

import numpy as np

from hopyears.models.basics.kernel import kernel


@kernel
def sum_scenes(  # type: ignore[no-untyped-def]
    numbers, first, x, y, near_hop, log_peak, radius, place, reach_in_radii
):
    """Attenuation in each scene, share of it by the known cell, and area over which that cell was placed."""
    length, k, alpha, weight, inner, outer = numbers
    n = len(first) - 1
    total, share, area = np.empty(n), np.empty(n), np.empty(n)
    for i in range(n):
        reach = reach_in_radii * radius[first[i]]
        across, spread = placed(place[i, 0], 0.0, reach)
        along, extent = placed(place[i, 1], length, reach)
        area[i] = spread * extent
        summed, known = 0.0, 0.0
        for cell in range(first[i], first[i + 1]):
            if near_hop[cell]:
                d, s = y[cell], x[cell] + 0.5 * length
            else:
                d, s = across + y[cell], along + x[cell]
            value = one_cell(d, s, length, radius[cell], weight, inner, outer)
            value *= k * np.exp(alpha * log_peak[cell])
            summed += value
            if cell == first[i]:
                known = value
        total[i] = summed
        share[i] = known / summed if summed > 0.0 else 0.0
    return total, share, area


@kernel
def sum_pairs(  # type: ignore[no-untyped-def]
    numbers, first, x, y, near_hop, log_peak, radius, place, reach_in_radii, east, north
):
    """As ``sum_scenes``, with the attenuation of a second, parallel hop shifted by (east, north) km."""
    total, share, area = sum_scenes(numbers, first, x, y, near_hop, log_peak, radius, place, reach_in_radii)
    length, k, alpha, weight, inner, outer = numbers
    other = np.zeros(len(total))
    for i in range(len(total)):
        reach = reach_in_radii * radius[first[i]]
        across, _ = placed(place[i, 0], 0.0, reach)
        along, _ = placed(place[i, 1], length, reach)
        for cell in range(first[i], first[i + 1]):
            if near_hop[cell]:
                d, s = y[cell], x[cell] + 0.5 * length
            else:
                d, s = across + y[cell], along + x[cell]
            value = one_cell(d - north, s - east, length, radius[cell], weight, inner, outer)
            other[i] += value * k * np.exp(alpha * log_peak[cell])
    return total, other, share, area


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
def one_cell(d, s, length, rho, weight, inner, outer):  # type: ignore[no-untyped-def]
    """Integral of a cell's relative attenuation along the hop [km], or its value at a point of no length."""
    total = 0.0
    for part in range(2):
        share, spread = (weight, inner * rho) if part == 0 else (1.0 - weight, outer * rho)
        if abs(d) > 6.0 * spread or s < -6.0 * spread or s > length + 6.0 * spread:
            continue
        fall = share * np.exp(-0.5 * (d / spread) ** 2)
        if length > 0.0:
            root = spread * np.sqrt(2.0)
            chord = _erf(abs(length - s) / root) * (1.0 if length > s else -1.0)
            chord += _erf(abs(s) / root) * (1.0 if s > 0.0 else -1.0)
            total += fall * spread * np.sqrt(np.pi / 2.0) * chord
        else:
            total += fall * np.exp(-0.5 * (s / spread) ** 2)
    return total


@kernel
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
