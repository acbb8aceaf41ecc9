"""Numba loops over cells: drawing those that may rain on a region, and when they pass a place."""

import numpy as np
from numba import njit

SCORES = np.linspace(-6.0, 6.0, 2401)
"""Normal scores at which the loop takes the quantiles of ln M."""

CELL_REACH = 3.5
"""Outer radii beyond which a shape rains on nothing."""

LONGEST_LIVES = 4.0
"""Mean lives after which a cell counts as gone when it is judged whether it can reach the region."""


@njit(cache=True, error_model="numpy", nogil=True)
def cells_near(rng, n_drawn, storm, region, quantiles, gathering, life_law, size):  # type: ignore[no-untyped-def]
    """Draw each storm's cells; keep those whose track comes near the region.

    Parameters
    ----------
    rng : numpy Generator
        Source of the draws.
    n_drawn : int64, shape (n_storms,)
        Cells of each storm.
    storm : tuple of float64, shape (n_storms,)
        Start [s], place x, y [km], speed x, y [km/s], common score of its peaks, first and last birth [s]
        after the start.
    region : float64, shape (4,)
        West, south, east, north [km].
    quantiles : float64, shape (2401,)
        ln M at ``SCORES``.
    gathering : float64, shape (3,)
        Spread [km] of a storm, its shape, correlation of peaks.
    life_law, size : float64
        Mean life [s], its shape, outer radius of the profile; size law and its limits [km].

    Returns
    -------
    float64, shape (n, 8); int64, float64 and float64, shape (n_storms,)
        Cells storm by storm, as rows of ``RainField.cells``; of each storm the number of its cells, when the
        last of them ends [s], and how far from its centre they rain [km].
    """
    start, sx, sy, svx, svy, intensity_score, first, last = storm
    spread, spread_shape, correlation = gathering
    mean_life, life_shape, outer = life_law
    common, own = np.sqrt(correlation), np.sqrt(1.0 - correlation)
    room, n = 1024, 0
    cells = np.empty((room, 8))
    count, end, far = np.zeros(len(n_drawn), np.int64), np.zeros(len(n_drawn)), np.zeros(len(n_drawn))
    size_km, exponent, smallest_km, largest_km = size[0], size[1], size[2], size[3]
    widest, step = CELL_REACH * outer * largest_km, SCORES[1] - SCORES[0]
    for i in range(len(n_drawn)):
        soonest, span, birth_0 = first[i], last[i] - first[i], start[i]
        x_0, y_0, vx, vy = sx[i], sy[i], svx[i], svy[i]
        # Where a cell of the longest life and the greatest width must be born to meet the region.
        move_x, move_y = vx * LONGEST_LIVES * mean_life, vy * LONGEST_LIVES * mean_life
        west, east = region[0] - widest - max(move_x, 0.0), region[2] + widest - min(move_x, 0.0)
        south, north = region[1] - widest - max(move_y, 0.0), region[3] + widest - min(move_y, 0.0)
        ends, farthest, n_before = 0.0, 0.0, n
        for _ in range(n_drawn[i]):
            offset = soonest + rng.random() * span
            scale = spread * np.sqrt(_gamma(rng, spread_shape) / spread_shape)
            dx, dy = scale * rng.standard_normal(), scale * rng.standard_normal()
            x, y = x_0 + vx * offset + dx, y_0 + vy * offset + dy
            if x <= west or x >= east or y <= south or y >= north:
                continue
            life = _gamma(rng, life_shape) * mean_life / life_shape
            score = common * intensity_score[i] + own * rng.standard_normal()
            place = min(max((score - SCORES[0]) / step, 0.0), len(SCORES) - 1.001)
            low = int(place)
            log_peak = quantiles[low] + (place - low) * (quantiles[low + 1] - quantiles[low])
            rho = min(max(size_km * np.exp(-exponent * log_peak), smallest_km), largest_km)
            reach = CELL_REACH * outer * rho
            if not _meets(x, y, vx, vy, life, region, reach):
                continue
            if n == room:
                cells = np.concatenate((cells, np.empty((room, 8))))
                room *= 2
            birth = birth_0 + offset
            cells[n, 0], cells[n, 1], cells[n, 2], cells[n, 3] = birth, life, x, y
            cells[n, 4], cells[n, 5], cells[n, 6], cells[n, 7] = vx, vy, log_peak, rho
            ends = max(ends, birth + life)
            farthest = max(farthest, np.sqrt(dx * dx + dy * dy) + reach)
            n += 1
        count[i], end[i], far[i] = n - n_before, ends, farthest
    return cells[:n].copy(), count, end, far


@njit(cache=True, error_model="numpy", nogil=True)
def cell_passages(cells, places, radius, least):  # type: ignore[no-untyped-def]
    """When cells are near places.

    Parameters
    ----------
    cells : float64, shape (n_cells, 8)
        Rows of ``RainField.cells``.
    places : float64, shape (n_places, 2)
        Places x, y [km].
    radius : float
        How near a cell's centre must come [km].
    least : float
        Cells of less than this ln of the peak [ln mm/h] do not count.

    Returns
    -------
    float64, shape (2, n), and int64, shape (2, n)
        Time in and out [s], and place and cell, of each cell that is in the circle about a place at some time
        of its life; place by place.
    """
    strong = np.flatnonzero(cells[:, 6] >= least)
    circles = _circles(cells, strong, radius)
    room, n = 256, 0
    times, of = np.empty((2, room)), np.empty((2, room), np.int64)
    near = np.empty(len(strong), np.int64)
    for place in range(len(places)):
        at_x, at_y = np.float32(places[place, 0]), np.float32(places[place, 1])
        count = 0
        for k in range(len(strong)):
            dx, dy, extent = circles[0, k] - at_x, circles[1, k] - at_y, circles[2, k]
            near[count] = strong[k]
            count += dx * dx + dy * dy < extent * extent
        for k in range(count):
            i = near[k]
            birth, life, x, y, vx, vy, _, _ = cells[i]
            x, y = x - places[place, 0], y - places[place, 1]
            speed2 = max(vx * vx + vy * vy, 1e-18)
            middle = -(x * vx + y * vy) / speed2
            miss2 = x * x + y * y - middle * middle * speed2
            if miss2 >= radius * radius:
                continue
            half = np.sqrt((radius * radius - miss2) / speed2)
            enter, leave = max(middle - half, 0.0), min(middle + half, life)
            if enter >= leave:
                continue
            if n == room:
                times = np.concatenate((times, np.empty((2, room))), axis=1)
                of = np.concatenate((of, np.empty((2, room), np.int64)), axis=1)
                room *= 2
            times[0, n], times[1, n] = birth + enter, birth + leave
            of[0, n], of[1, n] = place, i
            n += 1
    return times[:, :n].copy(), of[:, :n].copy()


@njit(cache=True, error_model="numpy", nogil=True)
def _circles(cells, wanted, radius):  # type: ignore[no-untyped-def]
    """Circles about the tracks of some cells with a margin of ``radius``: centre x, y and radius [km]."""
    circles = np.empty((3, len(wanted)), np.float32)
    for k in range(len(wanted)):
        cell = cells[wanted[k]]
        half = 0.5 * cell[1]
        circles[0, k], circles[1, k] = cell[2] + cell[4] * half, cell[3] + cell[5] * half
        travel = half * np.sqrt(cell[4] * cell[4] + cell[5] * cell[5])
        circles[2, k] = travel + radius + 0.01
    return circles


@njit(cache=True, error_model="numpy", nogil=True, inline="always")
def _gamma(rng, shape):  # type: ignore[no-untyped-def]
    """Standard gamma variable; of a small whole shape as a sum of exponentials, which is faster."""
    if shape <= 4.0 and shape == np.floor(shape):
        total = 0.0
        for _ in range(int(shape)):
            total += rng.standard_exponential()
        return total
    return rng.standard_gamma(shape)


@njit(cache=True, error_model="numpy", nogil=True, inline="always")
def _meets(x, y, vx, vy, time_s, region, reach):  # type: ignore[no-untyped-def]
    """Whether a track's bounding box comes within reach of the region."""
    end_x, end_y = x + vx * time_s, y + vy * time_s
    return (
        max(x, end_x) > region[0] - reach
        and max(y, end_y) > region[1] - reach
        and min(x, end_x) < region[2] + reach
        and min(y, end_y) < region[3] + reach
    )
