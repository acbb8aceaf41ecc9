"""Numba loops that find the cells of a rain field which matter to one hop."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.storm_loops import CELL_REACH

_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))


def cells_in_reach(
    line: NDArray[np.float64],
    circles: Any,
    storms: Any,
    cells: NDArray[np.float64],
    largest_km: float,
    least_db: float,
) -> NDArray[np.float64]:
    """Cells that may take at least ``least_db`` from a hop, as rows sorted by the time they begin to.

    ``line``: first end x, y [km], unit vector x, y, length [km], k, alpha, and weight, inner and outer
    radius of the cells' attenuation. ``circles``, ``storms`` and ``cells``: of a RainField; ``largest_km``:
    radius that none of its cells exceeds.

    Returns rows of ten numbers: when the cell enters and leaves [s], its birth and life [s], distance
    across the line at birth [km] and its speed [km/s], place along it and its speed, peak attenuation per
    kilometre [dB/km] and largest radius [km].
    """
    near_by = _near_by(line, circles, storms, _least_log_peak(line, largest_km, least_db))
    rows = _rows(line, near_by, cells, least_db)
    ordered: NDArray[np.float64] = rows[np.argsort(rows[:, 0], kind="stable")]
    return ordered


def _least_log_peak(line: NDArray[np.float64], largest_km: float, least_db: float) -> float:
    """ln of the peak [ln mm/h] under which no cell, however wide, takes ``least_db`` from a hop."""
    length, k, alpha, weight, inner, outer = line[4:]
    reach_km = weight * min(length, _ROOT_TWO_PI * inner * largest_km)
    reach_km += (1.0 - weight) * min(length, _ROOT_TWO_PI * outer * largest_km)
    return float(np.log(least_db / (k * reach_km)) / alpha) - 1e-3


@kernel
def _near_by(line, circles, storms, least_log_peak):  # type: ignore[no-untyped-def]
    """Cells of at least this ln of the peak whose circle, of a storm whose course, comes near the hop."""
    storm_start, storm_end, storm_x, storm_y, storm_vx, storm_vy, storm_reach, first_cell = storms
    centre_x, centre_y, extent, log_peak = circles[0], circles[1], circles[2], circles[3]
    least = np.float32(least_log_peak)
    middle_x, middle_y = line[0] + 0.5 * line[4] * line[2], line[1] + 0.5 * line[4] * line[3]
    at_x, at_y, half = np.float32(middle_x), np.float32(middle_y), np.float32(0.5 * line[4])
    found = np.empty(len(centre_x), np.int32)
    count = 0
    for storm in range(len(storm_start)):
        # Nearest approach of the storm's moving centre to the middle of the hop.
        rx, ry = middle_x - storm_x[storm], middle_y - storm_y[storm]
        sx, sy = storm_vx[storm], storm_vy[storm]
        lasting = storm_end[storm] - storm_start[storm]
        nearest = min(max((rx * sx + ry * sy) / (sx * sx + sy * sy + 1e-18), 0.0), lasting)
        rx, ry = rx - sx * nearest, ry - sy * nearest
        limit = storm_reach[storm] + 0.5 * line[4]
        if rx * rx + ry * ry > limit * limit:
            continue
        for cell in range(first_cell[storm], first_cell[storm + 1]):
            dx, dy, reach = centre_x[cell] - at_x, centre_y[cell] - at_y, extent[cell] + half
            found[count] = cell
            count += (dx * dx + dy * dy < reach * reach) & (log_peak[cell] >= least)
    return found[:count]


@kernel
def _rows(line, near_by, cells, least_db):  # type: ignore[no-untyped-def]
    """Rows of those cells that may take ``least_db``, in any order."""
    x0, y0, ux, uy, length, k, alpha, weight, inner, outer = line
    rows = np.empty((len(near_by), 10))
    count = 0
    for i in range(len(near_by)):
        birth, life, x, y, vx, vy, log_peak, rho = cells[near_by[i]]
        reach = CELL_REACH * outer * rho
        dx, dy = x - x0, y - y0
        d0, s0 = dy * ux - dx * uy, dx * ux + dy * uy
        dv, sv = vy * ux - vx * uy, vx * ux + vy * uy
        d1, s1 = d0 + dv * life, s0 + sv * life
        near = 0.0 if d0 * d1 < 0.0 else min(abs(d0), abs(d1))
        if near > reach or max(s0, s1) < -reach or min(s0, s1) > length + reach:
            continue
        wide, narrow = outer * rho, inner * rho
        peak = k * np.exp(alpha * log_peak)
        first = peak * weight * min(length, _ROOT_TWO_PI * narrow)
        second = peak * (1.0 - weight) * min(length, _ROOT_TWO_PI * wide)
        if first + second < least_db:
            continue
        away = 0.5 * near * near
        if first * np.exp(-away / (narrow * narrow)) + second * np.exp(-away / (wide * wide)) < least_db:
            continue
        reach = wide * min(np.sqrt(2.0 * np.log((first + second) / least_db)), CELL_REACH)
        begin, end = _passage(d0, dv, -reach, reach, 0.0, life)
        begin, end = _passage(s0, sv, -reach, length + reach, begin, end)
        if begin >= end:
            continue
        rows[count, 0], rows[count, 1] = birth + begin, birth + end
        rows[count, 2], rows[count, 3] = birth, life
        rows[count, 4], rows[count, 5], rows[count, 6], rows[count, 7] = d0, dv, s0, sv
        rows[count, 8], rows[count, 9] = peak, rho
        count += 1
    return rows[:count]


@written_out
def _passage(
    start: float, speed: float, low: float, high: float, begin: float, end: float
) -> tuple[float, float]:
    """Part of the time from begin to end during which start + speed t lies between low and high."""
    if abs(speed) < 1e-15:
        return (begin, end) if low <= start <= high else (end, begin)
    first, second = (low - start) / speed, (high - start) / speed
    return max(begin, min(first, second)), min(end, max(first, second))
