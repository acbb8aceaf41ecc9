"""When cells pass a place, as a numba loop, and the numbers that all loops over shapes share."""

import numpy as np

from hopyears.models.basics.kernel import kernel

SCORES = np.linspace(-6.0, 6.0, 481)
"""Normal scores at which the loop takes the quantiles of ln M."""

CELL_REACH = 3.5
"""Outer radii beyond which a shape rains on nothing."""

LONGEST_LIVES = 4.0
"""Mean lives after which a cell counts as gone when it is judged whether it can reach the region."""


@kernel
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


@kernel
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
