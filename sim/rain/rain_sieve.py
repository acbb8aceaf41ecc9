"""Numba loops that find the storms and shapes of a rain field which matter to one hop."""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.shape_loops import decay
from hopyears.sim.rain.storm_loops import CELL_REACH

BIN_S = 240.0
"""Bins of time in which bounds are first compared with what is needed [s]; years hold a whole number."""

BOUND_MARGIN = 0.999
"""Share of what is needed that a bound must reach: it is summed in single precision."""

_MOST_BINS = 45


@kernel
def storm_rates(cells, first_cell, weight, inner, outer):  # type: ignore[no-untyped-def]
    """Rain rate that each storm exceeds nowhere and never [mm/h], its cells drifting together.

    At a place whose nearest centre is that of cell j, every other cell i is at least half as far away as the
    two centres are apart. So no place has more than the largest, over j, of the peak of j and what the others
    that live at some time with it would give at half the distance of their centres.
    """
    rates = np.zeros(len(first_cell) - 1, np.float32)
    for storm in range(len(rates)):
        low, n = first_cell[storm], first_cell[storm + 1] - first_cell[storm]
        x, y = np.empty(n, np.float32), np.empty(n, np.float32)
        birth, death = np.empty(n, np.float32), np.empty(n, np.float32)
        peak, stiff = np.empty(n, np.float32), np.empty(n, np.float32)
        for i in range(n):
            cell, begin = cells[low + i], cells[low, 0]
            birth[i] = cell[0] - begin
            death[i] = birth[i] + cell[1]
            x[i], y[i] = cell[2] - cell[4] * birth[i], cell[3] - cell[5] * birth[i]
            peak[i], stiff[i] = np.exp(cell[6]), 0.125 / (cell[7] * cell[7])
        thin, broad = np.float32(1.0 / inner**2), np.float32(1.0 / outer**2)
        core, skirt = np.float32(weight), np.float32(1.0 - weight)
        most = np.float32(0.0)
        for j in range(n):
            total = np.float32(0.0)
            for i in range(n):
                dx, dy = x[i] - x[j], y[i] - y[j]
                away = (dx * dx + dy * dy) * stiff[i]
                each = peak[i] * (core * decay(away * thin) + skirt * decay(away * broad))
                total += each if (birth[i] < death[j]) & (death[i] > birth[j]) else np.float32(0.0)
            most = max(most, total)
        rates[storm] = most
    return rates


@kernel
def storms_in_reach(line, length, field, end_s):  # type: ignore[no-untyped-def]
    """Storms and wide shapes that may rain on a hop, in order of the time from which they may.

    Returns from when and until when [s], the most that each rains anywhere [mm/h], and its number: that of a
    storm, or -1 - that of a wide shape.
    """
    storms, rates, wide = field[0], field[1], field[4]
    middle_x, middle_y = line[0] + 0.5 * length * line[2], line[1] + 0.5 * length * line[3]
    room, n = len(storms) + len(wide), 0
    enter, leave, rate = np.empty(room), np.empty(room), np.empty(room, np.float32)
    which = np.empty(room, np.int64)
    for storm in range(len(storms)):
        start, end, x, y, vx, vy, reach = storms[storm]
        begin, finish = _within(x - middle_x, y - middle_y, vx, vy, reach + 0.5 * length, end - start)
        if begin < finish and start + finish > 0.0 and start + begin < end_s:
            enter[n], leave[n] = max(start + begin, 0.0), min(start + finish, end_s)
            rate[n], which[n] = rates[storm], storm
            n += 1
    for i in range(len(wide)):
        birth, life, x, y, vx, vy, log_peak, rho, ratio, _ = wide[i]
        reach = CELL_REACH * rho * np.sqrt(ratio) + 0.5 * length
        begin, finish = _within(x - middle_x, y - middle_y, vx, vy, reach, life)
        if begin < finish and birth + finish > 0.0 and birth + begin < end_s:
            enter[n], leave[n] = max(birth + begin, 0.0), min(birth + finish, end_s)
            rate[n], which[n] = np.exp(log_peak), -1 - i
            n += 1
    order = np.argsort(enter[:n])
    return enter[:n][order], leave[:n][order], rate[:n][order], which[:n][order]


@written_out
def _within(x, y, vx, vy, limit, lasting):  # type: ignore[no-untyped-def]
    """Time from 0 to ``lasting`` during which a moving point is within ``limit`` of the origin."""
    speed2 = vx * vx + vy * vy + 1e-18
    nearest = -(x * vx + y * vy) / speed2
    left = limit * limit - (x * x + y * y - nearest * nearest * speed2)
    if left <= 0.0:
        return 1.0, 0.0
    half = np.sqrt(left / speed2)
    return max(nearest - half, 0.0), min(nearest + half, lasting)


@kernel
def runs_of_bins(enter, leave, rate, needed):  # type: ignore[no-untyped-def]
    """Bins in which the rates of what is present add up to what is needed, as first bin and the one after.

    ``enter`` in order; no run is longer than three hours.
    """
    runs = np.empty((256, 2), np.int64)
    n_runs, i, n = 0, 0, len(enter)
    while i < n:
        last, j, summed = leave[i], i + 1, rate[i]
        while j < n and enter[j] <= last:
            last = max(last, leave[j])
            summed += rate[j]
            j += 1
        if summed >= BOUND_MARGIN * needed:
            first = int(enter[i] // BIN_S)
            change = np.zeros(int(np.ceil(last / BIN_S)) - first + 1)
            for m in range(i, j):
                change[int(enter[m] // BIN_S) - first] += rate[m]
                change[int(np.ceil(leave[m] / BIN_S)) - first] -= rate[m]
            now, since = 0.0, -1
            for b in range(len(change)):
                now += change[b]
                reaches = now >= BOUND_MARGIN * needed
                if since >= 0 and (not reaches or b - since == _MOST_BINS):
                    if n_runs == len(runs):
                        runs = np.concatenate((runs, np.empty_like(runs)))
                    runs[n_runs, 0], runs[n_runs, 1] = first + since, first + b
                    n_runs += 1
                    since = -1
                if reaches and since < 0:
                    since = b
        i = j
    return runs[:n_runs]


@kernel
def rows_within(line, length, field, which, begin, finish):  # type: ignore[no-untyped-def]
    """Shapes of these storms and wide shapes that rain on the hop between two times, in any order.

    Rows of eleven numbers: when the shape enters and leaves [s], its birth and life [s], distance across the
    line at birth [km] and its speed [km/s], place along it and its speed, peak [mm/h], largest radius [km],
    and the scale of a wide shape's chord, 0 for a shower (``models.air.path_rain.Chords``).
    """
    first_cell, cells, wide, outer = field[2], field[3], field[4], field[5]
    room = 0
    for storm in which:
        room += 1 if storm < 0 else first_cell[storm + 1] - first_cell[storm]
    rows = np.empty((room, 11))
    n = 0
    for storm in which:
        if storm < 0:
            shape = wide[-1 - storm]
            reach = CELL_REACH * shape[7]
            along = line[2] * np.sin(shape[9]) + line[3] * np.cos(shape[9])
            left = line[2] * np.cos(shape[9]) - line[3] * np.sin(shape[9])
            stiff = along**2 / shape[8] + left**2 * shape[8]
            scale, skew = 1.0 / np.sqrt(stiff), along * left * (1.0 / shape[8] - shape[8]) / stiff
            n = _add_row(rows, n, line, length, shape, reach, scale, skew, begin, finish)
            continue
        for cell in range(first_cell[storm], first_cell[storm + 1]):
            shape = cells[cell]
            if shape[0] < finish and shape[0] + shape[1] > begin:
                n = _add_row(
                    rows, n, line, length, shape, CELL_REACH * outer * shape[7], 0.0, 0.0, begin, finish
                )
    return rows[:n]


@kernel
def _add_row(rows, n, line, length, shape, reach, scale, skew, begin, finish):  # type: ignore[no-untyped-def]
    """Add a shape's row if it reaches the hop; the number of rows then."""
    x0, y0, ux, uy = line
    birth, life, dx, dy = shape[0], shape[1], shape[2] - x0, shape[3] - y0
    d0, s0 = dy * ux - dx * uy, dx * ux + dy * uy
    dv, sv = shape[5] * ux - shape[4] * uy, shape[4] * ux + shape[5] * uy
    extent = reach
    if scale > 0.0:
        d0, s0, dv, sv = d0 * scale, s0 + skew * d0, dv * scale, sv + skew * dv
        extent = reach * scale
    first, last = _passage(d0, dv, -reach, reach, max(begin - birth, 0.0), min(finish - birth, life))
    first, last = _passage(s0, sv, -extent, length + extent, first, last)
    if first >= last:
        return n
    rows[n, 0], rows[n, 1], rows[n, 2], rows[n, 3] = birth + first, birth + last, birth, life
    rows[n, 4], rows[n, 5], rows[n, 6], rows[n, 7] = d0, dv, s0, sv
    rows[n, 8], rows[n, 9], rows[n, 10] = np.exp(shape[6]), shape[7], scale
    return n + 1


@written_out
def _passage(start, speed, low, high, begin, end):  # type: ignore[no-untyped-def]
    """Part of the time from begin to end during which start + speed t lies between low and high."""
    if abs(speed) < 1e-15:
        return (begin, end) if low <= start <= high else (end, begin)
    first, second = (low - start) / speed, (high - start) / speed
    return max(begin, min(first, second)), min(end, max(first, second))
