"""Numba loops that find the times at which, and the shapes of a rain field by which, a hop may be in danger.

A field is prepared once for all hops: its storms in order of their start, each with the most that it rains
anywhere, and its cells in the frame of their storm, in which they stand still.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel, vector_kernel, written_out
from hopyears.sim.rain.shape_loops import COLUMN, LANES, decay, sine_over
from hopyears.sim.rain.storm_loops import CELL_REACH

BIN_S = 240.0
"""Bins of time in which bounds are first compared with what is needed [s]; years hold a whole number."""

BOUND_MARGIN = 0.999
"""Share of what is needed that a bound must reach: it is summed in single precision."""

WEAK = 0.2
"""Share of what is needed below which a storm, or a cell at its nearest, is bounded for all its time."""

BLOCK_LANES = 8
"""Cells of a storm are filled up to a multiple of this number."""

TRIFLE = 0.01
"""The same of a cell below which it counts with the others of its storm."""

_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))


@kernel
def in_storm_frames(cells, first_cell, first_lane, storms):  # type: ignore[no-untyped-def]
    """Cells as their storm sees them, one block after another of shape (6, lanes of the storm), flat.

    Place east and north of its moving centre [km], birth and death after its start [s], peak [mm/h], largest
    radius [km]. ``storms``: as ``RainField.for_kernel`` gives them.
    """
    framed = np.zeros(6 * first_lane[-1], np.float32)
    starts, _, xs, ys, vxs, vys = storms[:6]
    for storm in range(len(starts)):
        start, x, y, vx, vy = starts[storm], xs[storm], ys[storm], vxs[storm], vys[storm]
        block = cells_of(framed, first_lane, storm)
        block[5] = 1.0
        for i in range(first_cell[storm + 1] - first_cell[storm]):
            cell = first_cell[storm] + i
            birth = cells[cell, 0] - start
            block[0, i] = cells[cell, 2] - vx * birth - x
            block[1, i] = cells[cell, 3] - vy * birth - y
            block[2, i], block[3, i] = birth, birth + cells[cell, 1]
            block[4, i], block[5, i] = np.exp(cells[cell, 6]), cells[cell, 7]
    return framed


@written_out
def cells_of(framed, first_lane, storm):  # type: ignore[no-untyped-def]
    """Block of one storm's cells, filled up with cells of no rain."""
    low, high = first_lane[storm], first_lane[storm + 1]
    return framed[6 * low : 6 * high].reshape(6, high - low)


@vector_kernel
def storm_rates(framed, first_lane, weight, inner, outer):  # type: ignore[no-untyped-def]
    """Rain rate that each storm exceeds nowhere and never [mm/h].

    At a place whose nearest centre is that of cell j, every other cell i is at least half as far away as the
    two centres are apart. So no place has more than the largest, over j, of the peak of j and what the others
    that live at some time with it would give at half the distance of their centres.
    """
    thin, broad = np.float32(0.125 / inner**2), np.float32(0.125 / outer**2)
    core, skirt, zero = np.float32(weight), np.float32(1.0 - weight), np.float32(0.0)
    rates = np.zeros(len(first_lane) - 1, np.float32)
    for storm in range(len(rates)):
        x, y, birth, death, peak, rho = cells_of(framed, first_lane, storm)
        most = zero
        for j in range(len(x)):
            total = zero
            for i in range(len(x)):
                dx, dy = x[i] - x[j], y[i] - y[j]
                away = (dx * dx + dy * dy) / (rho[i] * rho[i])
                each = peak[i] * (core * decay(away * thin) + skirt * decay(away * broad))
                total += each if (birth[i] < death[j]) & (death[i] > birth[j]) else zero
            most = max(most, total)
        rates[storm] = most
    return rates


@kernel
def seen_from(field, x, y, radius, shape):  # type: ignore[no-untyped-def]
    """The part of a field, of the same form, whose cells ever rain within a circle [km]; all wide shapes.

    The most that a storm rains is taken within the circle. ``shape``: weight, inner and outer radius of the
    profile of showers.
    """
    storms, framed, first_lane, wide, most, longest, longest_wide = field
    starts, ends, xs, ys, vxs, vys, reaches, _ = storms
    found = np.empty((2, most), np.float32)
    # Two rounds: count, then copy.
    kept, lanes = np.zeros(storms.shape[1], np.int64), np.zeros(storms.shape[1] + 1, np.int64)
    n = 0
    for storm in range(storms.shape[1]):
        soon, late = _within(
            xs[storm] - x,
            ys[storm] - y,
            vxs[storm],
            vys[storm],
            reaches[storm] + radius,
            0.0,
            ends[storm] - starts[storm],
        )
        if soon < late:
            cells = cells_of(framed, first_lane, storm)
            _into_circle(cells, xs[storm] - x, ys[storm] - y, vxs[storm], vys[storm], radius, shape, found)
            count = 0
            for i in range(cells.shape[1]):
                count += found[0, i] > 0.0
            if count > 0:
                kept[n] = storm
                n += 1
                lanes[n] = lanes[n - 1] + -(-count // BLOCK_LANES) * BLOCK_LANES
    near, blocks = storms[:, kept[:n]], np.zeros(6 * lanes[n], np.float32)
    widest = 1
    for k in range(n):
        storm = kept[k]
        cells, block = cells_of(framed, first_lane, storm), cells_of(blocks, lanes, k)
        _into_circle(cells, xs[storm] - x, ys[storm] - y, vxs[storm], vys[storm], radius, shape, found)
        block[5] = 1.0
        put, farthest, rate = 0, 0.0, 0.0
        for i in range(cells.shape[1]):
            if found[0, i] > 0.0:
                for row in range(6):
                    block[row, put] = cells[row, i]
                put += 1
                farthest = max(farthest, found[1, i])
                rate += found[0, i]
        near[6, k], near[7, k] = farthest, min(near[7, k], rate)
        widest = max(widest, block.shape[1])
    return near, blocks, lanes[: n + 1].copy(), wide, widest, longest, longest_wide


@vector_kernel
def _into_circle(cells, x, y, vx, vy, radius, shape, found):  # type: ignore[no-untyped-def]
    """The most that each cell rains within a circle [mm/h]; how far from its storm's centre it rains [km].

    ``x``, ``y``: place of the storm at its start, as seen from the centre of the circle.
    """
    x0, y0, vx0, vy0 = np.float32(x), np.float32(y), np.float32(vx), np.float32(vy)
    limit, reach, zero = np.float32(radius), np.float32(CELL_REACH * shape[2]), np.float32(0.0)
    core, narrow, wide = (
        np.float32(shape[0]),
        np.float32(0.5 / shape[1] ** 2),
        np.float32(0.5 / shape[2] ** 2),
    )
    per_speed2 = np.float32(1.0 / (vx * vx + vy * vy + 1e-12))
    for i in range(cells.shape[1]):
        px, py = x0 + cells[0, i], y0 + cells[1, i]
        when = min(max(-(px * vx0 + py * vy0) * per_speed2, cells[2, i]), cells[3, i])
        px, py = px + vx0 * when, py + vy0 * when
        rho = cells[5, i]
        away = max(np.sqrt(px * px + py * py) - limit, zero) / rho
        rate = core * decay(away * away * narrow) + (np.float32(1.0) - core) * decay(away * away * wide)
        found[0, i] = cells[4, i] * rate if away < reach else zero
        found[1, i] = np.sqrt(cells[0, i] * cells[0, i] + cells[1, i] * cells[1, i]) + reach * rho


@kernel
def storms_near(hop, line, field, begin, finish, near):  # type: ignore[no-untyped-def]
    """Storms and wide shapes that may rain on the hop between two times, as rows of ``near``; their number.

    From when and until when [s]; number of the storm, or -1 - that of the wide shape; the most that it rains
    anywhere [mm/h].
    """
    half = 0.5 * hop[0]
    middle_x, middle_y = line[0] + half * line[2], line[1] + half * line[3]
    n = 0
    starts, ends, xs, ys, vxs, vys, reaches, rates = field[0]
    for storm in range(np.searchsorted(starts, begin - field[5]), np.searchsorted(starts, finish)):
        start, reach = starts[storm], reaches[storm] + half
        x, y, vx, vy = xs[storm] - middle_x, ys[storm] - middle_y, vxs[storm], vys[storm]
        soon, late = _within(x, y, vx, vy, reach, max(begin - start, 0.0), min(finish, ends[storm]) - start)
        if soon < late:
            near[n, 0], near[n, 1], near[n, 2], near[n, 3] = start + soon, start + late, storm, rates[storm]
            n += 1
    births, lives, xs, ys, vxs, vys, log_peaks, rhos, ratios, _ = field[3]
    for i in range(np.searchsorted(births, begin - field[6]), np.searchsorted(births, finish)):
        birth, reach = births[i], CELL_REACH * rhos[i] * np.sqrt(ratios[i]) + half
        x, y, vx, vy = xs[i] - middle_x, ys[i] - middle_y, vxs[i], vys[i]
        soon, late = _within(x, y, vx, vy, reach, max(begin - birth, 0.0), min(finish - birth, lives[i]))
        if soon < late:
            near[n, 0], near[n, 1], near[n, 2] = birth + soon, birth + late, -1 - i
            near[n, 3] = np.exp(log_peaks[i])
            n += 1
    return n


@kernel
def bins_reached(hop, line, field, near, first_bin, n_bins, needed_rate):  # type: ignore[no-untyped-def]
    """Upper bounds of the path integral of the rate [mm/h km] and of the rate in bins of time.

    Weak storms, and cells that are weak at their nearest to the hop, count with their most for as long as
    they may reach it; the others are bounded bin by bin. Only where all that is near, each with the most
    that it rains anywhere, could give the rate needed [mm/h]; elsewhere the bounds are 0.
    """
    begin, length = first_bin * BIN_S, hop[0]
    sums = np.zeros((2, n_bins + BLOCK_LANES), np.float32)
    integral, rates = sums[0], sums[1]
    for k in range(len(near)):
        _add_flat(sums, near[k, 0] - begin, near[k, 1] - begin, 0.0, near[k, 3])
    needed = np.zeros(n_bins + 1, np.int64)
    for b in range(n_bins):
        needed[b + 1] = needed[b] + (sums[1, b] >= BOUND_MARGIN * needed_rate)
    sums[:] = 0.0
    found = np.empty((5, field[4]), np.float32)
    weak, trifle = WEAK * needed_rate * length, TRIFLE * needed_rate * length
    starts, _, xs, ys, vxs, vys, _, _ = field[0]
    for k in range(len(near)):
        soon, late, storm, rate = near[k, 0] - begin, near[k, 1] - begin, int(near[k, 2]), near[k, 3]
        if needed[int(soon / BIN_S)] == needed[min(int(late / BIN_S) + 1, n_bins)]:
            continue
        if storm < 0 or rate * length < weak:
            _add_flat(sums, soon, late, rate * length, rate)
            continue
        since, vx, vy = starts[storm] - begin, vxs[storm], vys[storm]
        cells = cells_of(field[1], field[2], storm)
        dx, dy, dv, sv = xs[storm] - line[0], ys[storm] - line[1], vy * line[2] - vx * line[3], vx * line[2]
        sv += vy * line[3]
        track = (dy * line[2] - dx * line[3], dv, dx * line[2] + dy * line[3], sv)
        _nearest(cells, hop, line, track, soon - since, late - since, found)
        rest_integral, rest_rate = 0.0, 0.0
        for i in range(cells.shape[1]):
            if found[0, i] < trifle:
                rest_integral += found[0, i]
                rest_rate += found[1, i]
            elif found[0, i] < weak:
                _add_flat(sums, since + found[2, i], since + found[3, i], found[0, i], found[1, i])
            else:
                d = track[0] + cells[1, i] * line[2] - cells[0, i] * line[3]
                s = track[2] + cells[0, i] * line[2] + cells[1, i] * line[3]
                # Only while the cell is near; before and after it counts as much less than a trifle.
                reach = (
                    hop[6] * cells[5, i] * np.sqrt(2.0 * np.log(10.0 * cells[4, i] / needed_rate / TRIFLE))
                )
                begin_s, end_s = _within(
                    s - 0.5 * length, d, sv, dv, 0.5 * length + reach, found[2, i], found[3, i]
                )
                rest_integral += 0.1 * trifle
                rest_rate += 0.1 * TRIFLE * needed_rate
                if begin_s < end_s:
                    low, high = int((since + begin_s) / BIN_S), min(int((since + end_s) / BIN_S), n_bins - 1)
                    at = (d, dv, s, sv)
                    life = cells[2, i], cells[3, i]
                    _add_bins(integral, rates, hop, at, *life, cells[4, i], cells[5, i], low, high, since)
        _add_flat(sums, soon, late, rest_integral, rest_rate)
    for b in range(n_bins):
        if needed[b + 1] == needed[b]:
            integral[b] = 0.0
    return sums[:, :n_bins]


@written_out
def _add_flat(sums, since, until, integral, rate):  # type: ignore[no-untyped-def]
    """Add a bound to the bins from one time to another."""
    more, faster = np.float32(integral), np.float32(rate)
    for b in range(int(since / BIN_S), min(int(until / BIN_S) + 1, sums.shape[1])):
        sums[0, b] += more
        sums[1, b] += faster


@vector_kernel
def _nearest(cells, hop, line, track, soon, late, found):  # type: ignore[no-untyped-def]
    """What each cell does to the hop between two times [s] at the most, into the rows of ``found``.

    Path integral and rate, 0 unless it lives then; since when and until when it lives then; square of its
    distance, over that within which it rains.
    """
    far, half = np.float32(hop[0]), np.float32(0.5 * hop[0])
    core, inner, outer = np.float32(hop[4]), np.float32(hop[5]), np.float32(hop[6])
    root, zero, one = np.float32(_ROOT_TWO_PI), np.float32(0.0), np.float32(1.0)
    narrow, wide = np.float32(0.5 / hop[5] ** 2), np.float32(0.5 / hop[6] ** 2)
    per_reach2 = np.float32(1.0 / (CELL_REACH * hop[6]) ** 2)
    ux, uy = np.float32(line[2]), np.float32(line[3])
    d0, dv, s0, sv = np.float32(track[0]), np.float32(track[1]), np.float32(track[2]), np.float32(track[3])
    per_speed2 = one / (dv * dv + sv * sv + np.float32(1e-12))
    first, last = np.float32(soon), np.float32(late)
    for i in range(cells.shape[1]):
        since, until = max(cells[2, i], first), min(cells[3, i], last)
        d = d0 + cells[1, i] * ux - cells[0, i] * uy
        s = s0 + cells[0, i] * ux + cells[1, i] * uy
        d1, d2, s1, s2 = d + dv * since, d + dv * until, s + sv * since, s + sv * until
        across = zero if d1 * d2 < zero else min(abs(d1), abs(d2))
        over = max(max(-max(s1, s2), min(s1, s2) - far), zero)
        # The same by the circle about the hop, which is sharper where the cell moves aslant.
        when = min(max(-(d * dv + (s - half) * sv) * per_speed2, since), until)
        dn, sn = d + dv * when, s - half + sv * when
        ring = max(np.sqrt(dn * dn + sn * sn) - half, zero)
        rho = cells[5, i]
        away2 = max(across * across + over * over, ring * ring) / (rho * rho)
        peak = cells[4, i] if since < until else zero
        middle = core * peak * decay(away2 * narrow)
        skirt = (one - core) * peak * decay(away2 * wide)
        found[0, i] = middle * min(far, root * inner * rho) + skirt * min(far, root * outer * rho)
        found[1, i] = middle + skirt
        found[2, i], found[3, i] = since, until
        found[4, i] = away2 * per_reach2


@vector_kernel
def _add_bins(integral, rate, hop, track, birth, death, peak, rho, low, high, since):  # type: ignore[no-untyped-def]
    """Add one cell's bounds bin by bin, ``BLOCK_LANES`` bins at a time, from ``low`` to ``high`` at least.

    ``track``: distance across the hop and place along it at the start of the cell's storm [km], each with its
    speed [km/s]; birth and death after that start [s]; ``since``: start after that of the bins [s].
    """
    far, half = np.float32(hop[0]), np.float32(0.5 * BIN_S)
    root, zero, one = np.float32(_ROOT_TWO_PI), np.float32(0.0), np.float32(1.0)
    inner, outer = np.float32(hop[5]), np.float32(hop[6])
    narrow, wide = np.float32(0.5 / hop[5] ** 2), np.float32(0.5 / hop[6] ** 2)
    first, second = np.float32(peak * hop[4]), np.float32(peak * (1.0 - hop[4]))
    d, dv, s, sv = np.float32(track[0]), np.float32(track[1]), np.float32(track[2]), np.float32(track[3])
    half_d, half_s = abs(dv) * half, abs(sv) * half
    du = one / np.float32(death - birth)
    half_u, begin, size = half * du, np.float32(birth), np.float32(rho)
    for block in range(low, high + 1, BLOCK_LANES):
        middle = np.float32((block + 0.5) * BIN_S - since)
        for i in range(BLOCK_LANES):
            age = middle + np.float32(BIN_S) * np.float32(i)
            away = max(abs(d + dv * age) - half_d, zero)
            place = s + sv * age
            over = max(max(-place, place - far) - half_s, zero)
            u = (age - begin) * du
            u += min(max(np.float32(0.5) - u, -half_u), half_u)
            q = max(np.float32(4.0) * u * (one - u), np.float32(1e-6))
            r = size * np.sqrt(q * sine_over(q))
            away2 = (away * away + over * over) / (r * r)
            core, skirt = first * decay(away2 * narrow), second * decay(away2 * wide)
            integral[block + i] += core * min(far, root * inner * r) + skirt * min(far, root * outer * r)
            rate[block + i] += core + skirt


@kernel
def columns_within(hop, line, field, near, begin, finish):  # type: ignore[no-untyped-def]
    """Columns (see ``shape_loops``) of the shapes that rain on the hop between two times.

    Of these storms and wide shapes; time counts from ``begin``. Filled up with shapes of no rain to a
    multiple of ``LANES``.
    """
    framed, first_lane, wide, outer = field[1], field[2], field[3], hop[6]
    starts, _, xs, ys, vxs, vys, _, _ = field[0]
    n, room = 0, 0
    for k in range(len(near)):
        if near[k, 0] < finish and near[k, 1] > begin:
            number = int(near[k, 2])
            room += 1 if number < 0 else first_lane[number + 1] - first_lane[number]
    room = -(-room // LANES) * LANES
    columns, found = np.zeros((COLUMN, room), np.float32), np.empty((5, field[4]), np.float32)
    for k in range(len(near)):
        if near[k, 0] >= finish or near[k, 1] <= begin:
            continue
        number = int(near[k, 2])
        if number < 0:
            i = -1 - number
            ratio, long_axis = wide[8, i], wide[9, i]
            # models.air.path_rain.ellipse_chord
            along = line[2] * np.sin(long_axis) + line[3] * np.cos(long_axis)
            left = line[2] * np.cos(long_axis) - line[3] * np.sin(long_axis)
            stiff = along**2 / ratio + left**2 * ratio
            skew, per_scale = along * left * (1.0 / ratio - ratio) / stiff, np.sqrt(stiff)
            dx, dy, vx, vy = wide[2, i] - line[0], wide[3, i] - line[1], wide[4, i], wide[5, i]
            d, s = dy * line[2] - dx * line[3], dx * line[2] + dy * line[3]
            dv, sv = vy * line[2] - vx * line[3], vx * line[2] + vy * line[3]
            d, s, dv, sv = (
                d / per_scale,
                (s + skew * d) * per_scale,
                dv / per_scale,
                (sv + skew * dv) * per_scale,
            )
            born, rho, peak = wide[0, i] - begin, wide[7, i] / outer, np.exp(wide[6, i])
            _put(columns, n, born, wide[1, i], d - dv * born, dv, s - sv * born, sv)
            _fill(columns, n, 0.0, peak, rho, per_scale, hop[8])
            n += 1
            continue
        start, x, y, vx, vy = starts[number], xs[number], ys[number], vxs[number], vys[number]
        cells = cells_of(framed, first_lane, number)
        dx, dy, dv, sv = x - line[0], y - line[1], vy * line[2] - vx * line[3], vx * line[2] + vy * line[3]
        track = (dy * line[2] - dx * line[3], dv, dx * line[2] + dy * line[3], sv)
        _nearest(cells, hop, line, track, begin - start, finish - start, found)
        for i in range(cells.shape[1]):
            if found[0, i] > 0.0 and found[4, i] < 1.0:
                d = track[0] + cells[1, i] * line[2] - cells[0, i] * line[3]
                s = track[2] + cells[0, i] * line[2] + cells[1, i] * line[3]
                born, age = start + cells[2, i] - begin, begin - start
                _put(columns, n, born, cells[3, i] - cells[2, i], d + dv * age, dv, s + sv * age, sv)
                core, peak = hop[4], cells[4, i]
                _fill(columns, n, peak * core, peak * (1.0 - core), cells[5, i], 1.0, hop[7])
                n += 1
    room = -(-n // LANES) * LANES
    columns[8:10, n:] = 1.0
    return columns[:, :room].copy()


@written_out
def _put(columns, n, born, life, d, dv, s, sv):  # type: ignore[no-untyped-def]
    columns[0, n], columns[1, n] = -born / life, 1.0 / life
    columns[2, n], columns[3, n], columns[4, n], columns[5, n] = d, dv, s, sv


@written_out
def _fill(columns, n, core, skirt, rho, per_scale, share):  # type: ignore[no-untyped-def]
    columns[6, n], columns[7, n], columns[8, n] = core, skirt, rho * rho
    columns[9, n], columns[10, n] = per_scale, share


@written_out
def _within(x, y, vx, vy, limit, begin, finish):  # type: ignore[no-untyped-def]
    """When from ``begin`` to ``finish`` a moving point is within ``limit`` of the origin: since, until."""
    speed2 = vx * vx + vy * vy + 1e-18
    nearest = -(x * vx + y * vy) / speed2
    left = limit * limit - (x * x + y * y - nearest * nearest * speed2)
    if left <= 0.0:
        return 1.0, 0.0
    half = np.sqrt(left / speed2)
    return max(nearest - half, begin), min(nearest + half, finish)
