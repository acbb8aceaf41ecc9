"""Numba loops that find when storms, their cells and wide shapes come near a hop, in single precision.

A field is prepared once for all hops: its storms and wide shapes as tracks, in order of their start, and its
cells in the frame of their storm, in which they stand still. Loops over tracks and over cells have no branch,
so that the compiler turns them into vector instructions.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel, vector_kernel, written_out
from hopyears.sim.rain.shape_loops import decay
from hopyears.sim.rain.storm_loops import CELL_REACH

_SLACK_KM = 0.1
_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))


@kernel
def in_storm_frames(cells, first_cell, first_lane, starts, storms):  # type: ignore[no-untyped-def]
    """Cells as their storm sees them, one block after another of shape (7, lanes of the storm), flat.

    Place east and north of its moving centre [km], birth and death after its start [s], peak [mm/h] and its
    logarithm, largest radius [km]. ``starts``, ``storms``: as ``RainField.for_kernel`` has them.
    """
    framed = np.zeros(7 * first_lane[-1], np.float32)
    for storm in range(len(starts)):
        start, x, y, vx, vy = (
            starts[storm],
            storms[0, storm],
            storms[1, storm],
            storms[2, storm],
            storms[3, storm],
        )
        block = cells_of(framed, first_lane, storm)
        block[5], block[6] = -100.0, 1.0
        for i in range(first_cell[storm + 1] - first_cell[storm]):
            cell = first_cell[storm] + i
            birth = cells[cell, 0] - start
            block[0, i] = cells[cell, 2] - vx * birth - x
            block[1, i] = cells[cell, 3] - vy * birth - y
            block[2, i], block[3, i] = birth, birth + cells[cell, 1]
            block[4, i], block[5, i], block[6, i] = np.exp(cells[cell, 6]), cells[cell, 6], cells[cell, 7]
    return framed


@written_out
def lanes_of(first_lane, storm):  # type: ignore[no-untyped-def]
    """Number of lanes of one storm's cells."""
    return first_lane[storm + 1] - first_lane[storm]


@written_out
def cells_of(framed, first_lane, storm):  # type: ignore[no-untyped-def]
    """Block of one storm's cells, filled up with cells of no rain."""
    low, high = first_lane[storm], first_lane[storm + 1]
    return framed[7 * low : 7 * high].reshape(7, high - low)


@kernel
def storms_near(hop, line, storms, begin, finish, number, spans):  # type: ignore[no-untyped-def]
    """Storms that may come within their reach of a hop between two times; how many.

    Into ``number`` come their numbers, into ``spans`` from when to when after their starts [s].
    """
    starts, tracks, longest = storms[0], storms[2], storms[6]
    low, high = np.searchsorted(starts, begin - longest), np.searchsorted(starts, finish)
    soon, late = np.empty(high - low, np.float32), np.empty(high - low, np.float32)
    for i in range(high - low):
        soon[i] = begin - starts[low + i]
    _storm_passages(tracks, low, hop, line, finish - begin, soon, late)
    n = 0
    for i in range(high - low):
        number[n], spans[0, n], spans[1, n] = low + i, soon[i], late[i]
        n += soon[i] < late[i]
    return n


@vector_kernel
def _storm_passages(tracks, low, hop, line, lasting, soon, late):  # type: ignore[no-untyped-def]
    """From when to when each storm from number ``low`` on is within its reach of a hop, after its start.

    ``soon`` holds a time after the start, from which ``lasting`` s are looked at.
    """
    lasts, xs, ys = tracks[0, low:], tracks[1, low:], tracks[2, low:]
    vxs, vys, reaches = tracks[3, low:], tracks[4, low:], tracks[5, low:]
    half, zero = 0.5 * hop[0], np.float32(0.0)
    x0, y0 = np.float32(line[0] + half * line[2]), np.float32(line[1] + half * line[3])
    more = np.float32(half + _SLACK_KM)
    for i in range(len(soon)):
        since, until = max(soon[i], zero), min(soon[i] + np.float32(lasting), lasts[i])
        x, y, vx, vy, limit = xs[i] - x0, ys[i] - y0, vxs[i], vys[i], reaches[i] + more
        per_speed2 = np.float32(1.0) / (vx * vx + vy * vy + np.float32(1e-12))
        nearest = -(x * vx + y * vy) * per_speed2
        dx, dy = x + vx * nearest, y + vy * nearest
        left = limit * limit - dx * dx - dy * dy
        root = np.sqrt(max(left, zero) * per_speed2)
        soon[i] = max(nearest - root, since)
        late[i] = min(nearest + root, until) if left > zero else np.float32(-1.0)


@kernel
def wide_near(hop, line, wide, begin, finish, number, spans):  # type: ignore[no-untyped-def]
    """As ``storms_near`` for wide shapes; the third of ``spans`` is the most that each rains there [mm/h]."""
    starts, tracks, longest = wide[0], wide[2], wide[3]
    low, high = np.searchsorted(starts, begin - longest), np.searchsorted(starts, finish)
    soon, late = np.empty(high - low, np.float32), np.empty(high - low, np.float32)
    rate = np.empty(high - low, np.float32)
    for i in range(high - low):
        soon[i] = begin - starts[low + i]
    _wide_passages(tracks, low, hop, line, finish - begin, soon, late, rate)
    n = 0
    for i in range(high - low):
        number[n], spans[0, n], spans[1, n], spans[2, n] = low + i, soon[i], late[i], rate[i]
        n += soon[i] < late[i]
    return n


@vector_kernel
def _wide_passages(tracks, low, hop, line, lasting, soon, late, rate):  # type: ignore[no-untyped-def]
    """As ``_storm_passages``; distances are in standard deviations of the shape."""
    lasts, xs, ys = tracks[0, low:], tracks[1, low:], tracks[2, low:]
    vxs, vys, peaks = tracks[3, low:], tracks[4, low:], tracks[5, low:]
    easts, norths, shorts, longs = tracks[6, low:], tracks[7, low:], tracks[8, low:], tracks[9, low:]
    half, zero = 0.5 * hop[0], np.float32(0.0)
    x0, y0 = np.float32(line[0] + half * line[2]), np.float32(line[1] + half * line[3])
    more = np.float32(half + _SLACK_KM)
    for i in range(len(soon)):
        since, until = max(soon[i], zero), min(soon[i] + np.float32(lasting), lasts[i])
        dx, dy, east, north = xs[i] - x0, ys[i] - y0, easts[i], norths[i]
        # Along the long axis and across it, over the deviation along each.
        x, vx = (dx * east + dy * north) * longs[i], (vxs[i] * east + vys[i] * north) * longs[i]
        y, vy = (dx * north - dy * east) * shorts[i], (vxs[i] * north - vys[i] * east) * shorts[i]
        slack = more * shorts[i]
        limit = np.float32(CELL_REACH) + slack
        per_speed2 = np.float32(1.0) / (vx * vx + vy * vy + np.float32(1e-14))
        nearest = -(x * vx + y * vy) * per_speed2
        x1, y1 = x + vx * nearest, y + vy * nearest
        left = limit * limit - x1 * x1 - y1 * y1
        root = np.sqrt(max(left, zero) * per_speed2)
        first = max(nearest - root, since)
        last = min(nearest + root, until) if left > zero else np.float32(-1.0)
        when = min(max(nearest, first), last)
        x2, y2 = x + vx * when, y + vy * when
        away = max(np.sqrt(x2 * x2 + y2 * y2) - slack, zero)
        soon[i], late[i] = first, last
        rate[i] = peaks[i] * decay(np.float32(0.5) * away * away)


@vector_kernel
def approach(framed, first, lanes, hop, turned, track, soon, late, log_level, found):  # type: ignore[no-untyped-def]
    """What each cell of a storm does to a hop between two times after the storm's start, at the most.

    The storm's cells are those of ``framed`` from number ``first`` on, ``lanes`` of them.

    Into the rows of ``found``: path integral and rate, 0 unless it lives then and comes within reach; from
    when to when it may rain more than a level, given by its logarithm, on any place of the hop. ``track``:
    distance across the hop and place along it at the storm's start [km], each with its speed. Returns the
    sums of path integrals and rates.
    """
    far, half = np.float32(hop[0]), np.float32(0.5 * hop[0])
    core, inner, outer = np.float32(hop[4]), np.float32(hop[5]), np.float32(hop[6])
    root, zero, one, two = np.float32(_ROOT_TWO_PI), np.float32(0.0), np.float32(1.0), np.float32(2.0)
    narrow, wide, most2 = (
        np.float32(0.5 / hop[5] ** 2),
        np.float32(0.5 / hop[6] ** 2),
        np.float32(CELL_REACH**2),
    )
    ux, uy = np.float32(turned[0]), np.float32(turned[1])
    d0, dv, s0, sv = np.float32(track[0]), np.float32(track[1]), np.float32(track[2]), np.float32(track[3])
    # Divided by: a storm that stands still takes long to pass.
    dt = one / (dv if abs(dv) > np.float32(1e-9) else np.float32(1e-9))
    st = one / (sv if abs(sv) > np.float32(1e-9) else np.float32(1e-9))
    per_speed2 = one / (dv * dv + sv * sv + np.float32(1e-12))
    begin, finish, level = np.float32(soon), np.float32(late), np.float32(log_level)
    sum_integral, sum_rate = zero, zero
    easts, norths, births = framed[first:], framed[first + lanes :], framed[first + 2 * lanes :]
    deaths, peaks = framed[first + 3 * lanes :], framed[first + 4 * lanes :]
    log_peaks, radii = framed[first + 5 * lanes :], framed[first + 6 * lanes :]
    for i in range(lanes):
        since, until = max(births[i], begin), min(deaths[i], finish)
        d = d0 + norths[i] * ux - easts[i] * uy
        s = s0 + easts[i] * ux + norths[i] * uy
        d1, d2, s1, s2 = d + dv * since, d + dv * until, s + sv * since, s + sv * until
        across = zero if d1 * d2 < zero else min(abs(d1), abs(d2))
        over = max(max(-max(s1, s2), min(s1, s2) - far), zero)
        # The same by the circle about the hop, which is sharper where the cell moves aslant.
        when = min(max(-(d * dv + (s - half) * sv) * per_speed2, since), until)
        dn, sn = d + dv * when, s - half + sv * when
        ring = max(np.sqrt(dn * dn + sn * sn) - half, zero)
        rho = outer * radii[i]
        away2 = max(across * across + over * over, ring * ring) / (rho * rho)
        peak = peaks[i] if (since < until) & (away2 < most2) else zero
        middle = core * peak * decay(away2 * (narrow * outer * outer))
        skirt = (one - core) * peak * decay(away2 * (wide * outer * outer))
        integral = root * radii[i]
        integral = middle * min(far, integral * inner) + skirt * min(far, integral * outer)
        reach = rho * np.sqrt(max(min(two * (log_peaks[i] - level), most2), zero))
        across_half, along_half = abs(dt) * reach, abs(st) * (reach + half)
        across_at, along_at = -d * dt, (half - s) * st
        found[0, i], found[1, i] = integral, middle + skirt
        found[2, i] = max(max(across_at - across_half, along_at - along_half), since)
        found[3, i] = min(min(across_at + across_half, along_at + along_half), until)
        sum_integral += integral
        sum_rate += middle + skirt
    return sum_integral, sum_rate


@written_out
def across_and_along(x, y, vx, vy, line):  # type: ignore[no-untyped-def]
    """Distance across a hop and place along it [km] of a place that moves, each with its speed [km/s]."""
    dx, dy = x - line[0], y - line[1]
    return (
        dy * line[2] - dx * line[3],
        vy * line[2] - vx * line[3],
        dx * line[2] + dy * line[3],
        vx * line[2] + vy * line[3],
    )
