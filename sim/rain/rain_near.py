"""Numba loops that find when groups of cells, cells and wide shapes come near a hop, in single precision.

A field is prepared once for all hops. Cells of a storm that lie side by side across its drift are a group, of
at most as many as one vector instruction takes: as the group sees them they stand still, and a hop passes
along the drift. So few groups of a storm are near a hop. Loops over tracks and over cells have no branch, so
that the compiler turns them into vector instructions.
"""

import numpy as np

from hopyears.models.basics.kernel import kernel, vector_kernel, written_out
from hopyears.models.basics.search import first_from
from hopyears.sim.rain.shape_loops import LANES, decay
from hopyears.sim.rain.storm_loops import CELL_REACH

GROUP = 8 * LANES
"""Numbers of a group: of its cells, one lane each, place east and north of the first [km], birth and death
after the group's start [s], peak [mm/h] and its logarithm, largest radius [km]; as the last row, place x, y
[km] and speed [km/s] of the group's start."""

EAST, NORTH, BIRTH, DEATH, PEAK, LOG_PEAK, RADIUS, TRACK = range(0, GROUP, LANES)
"""Where they begin."""

MET = GROUP + 4 * LANES
"""Numbers of a group that a hop has met: its own, and of each cell the most that it does to the hop."""

INTEGRAL, RATE, SINCE, UNTIL = range(GROUP, MET, LANES)
"""Where those begin (``approach``)."""

_SLACK_KM = 0.1
_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))


@kernel
def in_groups(cells, first_cell, outer):  # type: ignore[no-untyped-def]
    """Cells in groups, storm by storm (``RainField.for_kernel``); ``outer``: radius of their profile."""
    n = 0
    for storm in range(len(first_cell) - 1):
        n += -(-(first_cell[storm + 1] - first_cell[storm]) // LANES)
    starts, tracks = np.empty(n), np.empty((10, n), np.float32)
    framed = np.zeros((n, 8, LANES), np.float32)
    n = 0
    for storm in range(len(first_cell) - 1):
        some = cells[first_cell[storm] : first_cell[storm + 1]]
        if not len(some):
            continue
        speed = np.sqrt(some[0, 4] ** 2 + some[0, 5] ** 2)
        east, north = (some[0, 4] / speed, some[0, 5] / speed) if speed > 1e-9 else (1.0, 0.0)
        order, parts = _side_by_side(some, east, north), -(-len(some) // LANES)
        for part in range(parts):
            members = order[len(some) * part // parts : len(some) * (part + 1) // parts]
            starts[n], tracks[0, n] = _one_group(
                some, members, east, north, CELL_REACH * outer, framed[n], tracks[6:, n]
            )
            lead, born = some[members[0]], starts[n]
            x, y = lead[2] + lead[4] * (born - lead[0]), lead[3] + lead[5] * (born - lead[0])
            framed[n, 7, 0], framed[n, 7, 1], framed[n, 7, 2], framed[n, 7, 3] = x, y, lead[4], lead[5]
            tracks[1, n], tracks[2, n], tracks[3, n], tracks[4, n] = x, y, east, north
            tracks[5, n] = 1.0 / max(speed, 1e-9)
            n += 1
    return starts, tracks, framed


@kernel
def put_in_order(rows, order):  # type: ignore[no-untyped-def]
    """Move row ``order[i]`` to place i, within the rows: they are most of what a block holds, and never there
    twice. The order is used up."""
    kept = np.empty(rows.shape[1], rows.dtype)
    for first in range(len(order)):
        at = first
        for column in range(len(kept) if order[first] >= 0 else 0):
            kept[column] = rows[first, column]
        while order[at] >= 0:
            source, order[at] = order[at], -1
            for column in range(len(kept)):
                rows[at, column] = kept[column] if source == first else rows[source, column]
            at = source


@kernel
def _side_by_side(cells, east, north):  # type: ignore[no-untyped-def]
    """Numbers of a storm's cells in their order across its drift."""
    order, across = np.empty(len(cells), np.int64), np.empty(len(cells))
    for i in range(len(cells)):
        at, j = cells[i, 3] * east - cells[i, 2] * north, i
        while j > 0 and across[j - 1] > at:
            order[j], across[j] = order[j - 1], across[j - 1]
            j -= 1
        order[j], across[j] = i, at
    return order


@kernel
def _one_group(cells, members, east, north, reach, block, box):  # type: ignore[no-untyped-def]
    """When the first of some cells is born, and how long after that the last ends [s].

    Into ``block`` come the cells, about the first: place east and north [km], birth and death after the start
    [s], peak [mm/h] and its logarithm, largest radius [km]; lanes left have no rain, the last row is the
    caller's. Into ``box``: from where to where they rain across the drift and along it [km].
    """
    start, end = np.inf, -np.inf
    for i in members:
        start, end = min(start, cells[i, 0]), max(end, cells[i, 0] + cells[i, 1])
    block[5], block[6] = -100.0, 1.0
    lead = cells[members[0]]
    low, high, back, front = np.inf, -np.inf, np.inf, -np.inf
    for lane in range(len(members)):
        cell = cells[members[lane]]
        x = cell[2] - lead[2] - lead[4] * (cell[0] - lead[0])
        y = cell[3] - lead[3] - lead[5] * (cell[0] - lead[0])
        across, along, far = y * east - x * north, x * east + y * north, reach * cell[7]
        low, high = min(low, across - far), max(high, across + far)
        back, front = min(back, along - far), max(front, along + far)
        birth = cell[0] - start
        block[0, lane], block[1, lane], block[2, lane], block[3, lane] = x, y, birth, birth + cell[1]
        block[4, lane], block[5, lane], block[6, lane] = np.exp(cell[6]), cell[6], cell[7]
    box[0], box[1], box[2], box[3] = low, high, back, front
    return start, end - start


@kernel
def groups_near(hop, line, groups, begin, finish, number, spans):  # type: ignore[no-untyped-def]
    """Groups that may rain on a hop between two times; how many.

    Into ``number`` come their numbers, into the rows of ``spans`` their starts and from when to when [s].
    """
    starts, tracks, _, longest = groups
    low, high = first_from(starts, begin - longest), first_from(starts, finish)
    soon, late = np.empty(high - low, np.float32), np.empty(high - low, np.float32)
    for i in range(high - low):
        soon[i] = begin - starts[low + i]
    _group_passages(tracks, low, hop, line, finish - begin, soon, late)
    n = 0
    for i in range(high - low):
        start = starts[low + i]
        number[n], spans[0, n], spans[1, n], spans[2, n] = low + i, start, start + soon[i], start + late[i]
        n += soon[i] < late[i]
    return n


@vector_kernel
def _group_passages(tracks, low, hop, line, lasting, soon, late):  # type: ignore[no-untyped-def]
    """From when to when a hop is within the box of each group from number ``low`` on, after its start.

    ``soon`` holds a time after the start, from which ``lasting`` s are looked at.
    """
    lasts, xs, ys, easts, norths = (
        tracks[0, low:],
        tracks[1, low:],
        tracks[2, low:],
        tracks[3, low:],
        tracks[4, low:],
    )
    paces, lows, highs = tracks[5, low:], tracks[6, low:], tracks[7, low:]
    backs, fronts = tracks[8, low:], tracks[9, low:]
    half, zero, slack = np.float32(0.5 * hop[0]), np.float32(0.0), np.float32(_SLACK_KM)
    x0, y0 = np.float32(line[0] + 0.5 * hop[0] * line[2]), np.float32(line[1] + 0.5 * hop[0] * line[3])
    ux, uy = np.float32(line[2]), np.float32(line[3])
    for i in range(len(soon)):
        since, until = max(soon[i], zero), min(soon[i] + np.float32(lasting), lasts[i])
        x, y, east, north = x0 - xs[i], y0 - ys[i], easts[i], norths[i]
        across, along = y * east - x * north, x * east + y * north
        side = half * abs(uy * east - ux * north) + slack
        ahead = half * abs(ux * east + uy * north) + slack
        met = (across > lows[i] - side) & (across < highs[i] + side)
        soon[i] = max((along - fronts[i] - ahead) * paces[i], since)
        late[i] = min((along - backs[i] + ahead) * paces[i], until) if met else np.float32(-1.0)


@kernel
def wide_near(hop, line, wide, begin, finish, number, spans):  # type: ignore[no-untyped-def]
    """As ``groups_near`` for wide shapes; the last of ``spans`` are the most that each gives the hop, path
    integral and rate [mm/h]."""
    starts, tracks, longest = wide[0], wide[2], wide[3]
    low, high = first_from(starts, begin - longest), first_from(starts, finish)
    soon, late = np.empty(high - low, np.float32), np.empty(high - low, np.float32)
    rate = np.empty(high - low, np.float32)
    for i in range(high - low):
        soon[i] = begin - starts[low + i]
    _wide_passages(tracks, low, hop, line, finish - begin, soon, late, rate)
    n = 0
    for i in range(high - low):
        start = starts[low + i]
        number[n], spans[0, n], spans[1, n], spans[2, n] = low + i, start, start + soon[i], start + late[i]
        spans[3, n], spans[4, n] = rate[i] * hop[0], rate[i]
        n += soon[i] < late[i]
    return n


@vector_kernel
def _wide_passages(tracks, low, hop, line, lasting, soon, late, rate):  # type: ignore[no-untyped-def]
    """As ``_group_passages``; distances are in standard deviations of the shape."""
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
def most_of_cells(cells, hop, turned, track, soon, late):  # type: ignore[no-untyped-def]
    """The sums that ``approach`` returns: bounds of path integral and rate of a group.

    Nothing is stored, so that the compiler need not ask whether arrays overlap."""
    view, sum_integral, sum_rate = _view(hop, turned, track, soon, late), np.float32(0.0), np.float32(0.0)
    for i in range(LANES):
        integral, rate = _at_nearest(cells, i, view)[:2]
        sum_integral += integral
        sum_rate += rate
    return sum_integral, sum_rate


@vector_kernel
def meet(met, cells):  # type: ignore[no-untyped-def]
    """Copy a group to the place of those met, for ``approach``."""
    for i in range(GROUP):
        met[i] = cells[i]


@vector_kernel
def approach(met, hop, turned, track, soon, late, log_level):  # type: ignore[no-untyped-def]
    """What each cell of a group does to a hop between two times after the group's start, at the most.

    Beside the cells that were met come path integral and rate, 0 unless a cell lives then and comes within
    reach; from when to when it may rain more than a level, given by its logarithm, on any place of the hop.
    All in one array, or the compiler could not tell whether what is written is still to be read, and would
    make no vector instructions. ``track``: distance across the hop and place along it at the group's start
    [km], each with its speed. Returns the sums of path integrals and rates.
    """
    view, sum_integral, sum_rate = _view(hop, turned, track, soon, late), np.float32(0.0), np.float32(0.0)
    half, zero, one, two = np.float32(0.5 * hop[0]), np.float32(0.0), np.float32(1.0), np.float32(2.0)
    most2, outer, level = np.float32(CELL_REACH**2), np.float32(hop[6]), np.float32(log_level)
    dv, sv = np.float32(track[1]), np.float32(track[3])
    # Divided by: a storm that stands still takes long to pass.
    dt = one / (dv if abs(dv) > np.float32(1e-9) else np.float32(1e-9))
    st = one / (sv if abs(sv) > np.float32(1e-9) else np.float32(1e-9))
    for i in range(LANES):
        integral, rate, since, until, d, s = _at_nearest(met, i, view)
        reach = outer * met[RADIUS + i] * np.sqrt(max(min(two * (met[LOG_PEAK + i] - level), most2), zero))
        across_half, along_half = abs(dt) * reach, abs(st) * (reach + half)
        across_at, along_at = -d * dt, (half - s) * st
        met[INTEGRAL + i], met[RATE + i] = integral, rate
        met[SINCE + i] = max(max(across_at - across_half, along_at - along_half), since)
        met[UNTIL + i] = min(min(across_at + across_half, along_at + along_half), until)
        sum_integral += integral
        sum_rate += rate
    return sum_integral, sum_rate


@written_out
def _view(hop, turned, track, soon, late):  # type: ignore[no-untyped-def]
    """A hop as a group passes it, and the times looked at, in single precision."""
    d0, dv, s0, sv = np.float32(track[0]), np.float32(track[1]), np.float32(track[2]), np.float32(track[3])
    per_speed2 = np.float32(1.0) / (dv * dv + sv * sv + np.float32(1e-12))
    shape = np.float32(hop[4]), np.float32(hop[5]), np.float32(hop[6])
    times = np.float32(soon), np.float32(late)
    return (
        np.float32(hop[0]),
        np.float32(turned[0]),
        np.float32(turned[1]),
        d0,
        dv,
        s0,
        sv,
        per_speed2,
        shape,
        times,
    )


@written_out
def _at_nearest(cells, i, view):  # type: ignore[no-untyped-def]
    """The most that the i-th cell of a group does to a hop: path integral and rate; from when to when it
    lives then; distance across the hop and place along it at the group's start."""
    east, north, birth, death = cells[EAST + i], cells[NORTH + i], cells[BIRTH + i], cells[DEATH + i]
    peak, radius = cells[PEAK + i], cells[RADIUS + i]
    far, ux, uy, d0, dv, s0, sv, per_speed2, shape, times = view
    core, inner, outer = shape
    half, zero, one = np.float32(0.5) * far, np.float32(0.0), np.float32(1.0)
    since, until = max(birth, times[0]), min(death, times[1])
    d, s = d0 + north * ux - east * uy, s0 + east * ux + north * uy
    d1, d2, s1, s2 = d + dv * since, d + dv * until, s + sv * since, s + sv * until
    across = zero if d1 * d2 < zero else min(abs(d1), abs(d2))
    over = max(max(-max(s1, s2), min(s1, s2) - far), zero)
    # The same by the circle about the hop, which is sharper where the cell moves aslant.
    when = min(max(-(d * dv + (s - half) * sv) * per_speed2, since), until)
    dn, sn = d + dv * when, s - half + sv * when
    ring = max(np.sqrt(dn * dn + sn * sn) - half, zero)
    rho = outer * radius
    away2 = max(across * across + over * over, ring * ring) / (rho * rho)
    peak = peak if (since < until) & (away2 < np.float32(CELL_REACH**2)) else zero
    middle = core * peak * decay(away2 * (np.float32(0.5) * (outer / inner) ** 2))
    skirt = (one - core) * peak * decay(away2 * np.float32(0.5))
    integral = np.float32(_ROOT_TWO_PI) * radius
    integral = middle * min(far, integral * inner) + skirt * min(far, integral * outer)
    return integral, middle + skirt, since, until, d, s
