"""When storms are near places, from where and how wide each storm is, not from each of its cells."""

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats, Ints, read_only
from hopyears.models.basics.intervals import Intervals
from hopyears.models.basics.kernel import bare_inlined, kernel, written_out
from hopyears.sim.rain.rain_field import RainField

PLACES_AT_ONCE = 16
"""Most discs of a large network pass so many places side by side by: they are left out for all at once."""


def storm_intervals(
    field: RainField, places_km: ArrayLike, *, distance_km: float, least_peak_mm_h: float
) -> Intervals:
    """When a storm is near each place, one row a place.

    A storm's strong cells are those of at least ``least_peak_mm_h``. It is near from the birth of the first
    to the end of the last of them, while the circle about their middle comes within ``distance_km`` of the
    place whose radius is the standard deviation of their places (east and north on the average). A strong
    wide shape is near while its middle is within the distance.

    Parameters
    ----------
    field : RainField
    places_km : float array, shape (n_places, 2)
        Places x, y in the local plane [km].
    distance_km, least_peak_mm_h : float
        Above 0.
    """
    places = np.asarray(places_km, dtype=np.float64).reshape(-1, 2)
    least = float(np.log(least_peak_mm_h))
    discs = np.concatenate(
        [
            _discs(read_only(field.cells), read_only(field.storm_first_cell), least),
            _discs(read_only(field.wide[:, :8]), read_only(np.arange(field.n_wide + 1)), least),
        ]
    )
    # So that the passages of a place come nearly in order; as columns, for vector instructions.
    discs = np.ascontiguousarray(discs[np.argsort(discs[:, 0])].T)
    order, rows = _side_by_side(places), list[Floats]()
    for first in range(0, len(places), PLACES_AT_ONCE):
        some = places[order[first : first + PLACES_AT_ONCE]]
        counts, times = _passages(discs, some, float(distance_km))
        rows += np.split(times, np.cumsum(counts[:-1]), axis=1)
    rows = [rows[at] for at in np.argsort(order).tolist()]
    start_s, end_s = np.concatenate([np.zeros((2, 0)), *rows], axis=1)
    return Intervals(np.cumsum([0, *(row.shape[1] for row in rows)]), start_s, end_s)


def _side_by_side(places_km: Floats) -> Ints:
    """Order in which as many as are taken at once are near each other: strips, each from end to end."""
    extent_km = np.ptp(places_km, axis=0) if len(places_km) else np.zeros(2)
    side_km = np.sqrt(np.prod(extent_km) * PLACES_AT_ONCE / max(len(places_km), 1))
    strip = np.floor_divide(places_km[:, 0], max(side_km, 1.0))
    return np.lexsort((places_km[:, 1], strip))


@kernel
def _discs(cells, first_cell, least):  # type: ignore[no-untyped-def]
    """Discs of the strong cells of each storm that has any, as rows.

    Begin and end [s], place x, y then [km], speed x, y [km/s], radius [km].
    """
    rows, n = np.empty((len(first_cell) - 1, 7)), 0
    for storm in range(len(first_cell) - 1):
        begin, end, count = np.inf, -np.inf, 0
        x, y, square, vx, vy = 0.0, 0.0, 0.0, 0.0, 0.0
        for i in range(first_cell[storm], first_cell[storm + 1]):
            if cells[i, 6] < least:
                continue
            if count == 0:
                vx, vy, origin = cells[i, 4], cells[i, 5], cells[i, 0]
            # Where the cell would have been when the first one was born: cells of a storm move alike.
            at_x, at_y = cells[i, 2] - vx * (cells[i, 0] - origin), cells[i, 3] - vy * (cells[i, 0] - origin)
            x, y, square = x + at_x, y + at_y, square + at_x * at_x + at_y * at_y
            begin, end = min(begin, cells[i, 0]), max(end, cells[i, 0] + cells[i, 1])
            count += 1
        if count > 0:
            x, y = x / count, y / count
            rows[n, 0], rows[n, 1] = begin, end
            rows[n, 2], rows[n, 3] = x + vx * (begin - origin), y + vy * (begin - origin)
            rows[n, 4], rows[n, 5] = vx, vy
            rows[n, 6] = np.sqrt(0.5 * max(square / count - x * x - y * y, 0.0))
            n += 1
    return rows[:n]


@kernel
def _passages(discs, places, distance):  # type: ignore[no-untyped-def]
    """When any disc is within the distance of each place: how many times, each time in and out [s].

    Discs are columns by their begin; passages come nearly so: each is put where it belongs, among the last.
    """
    near = _near_all(discs, places, distance)
    n_near = near.shape[1]
    counts, n, room = np.zeros(len(places), np.int64), 0, 1024
    times, enter_s, leave_s = np.empty((2, room)), np.empty(n_near), np.empty(n_near)
    for place in range(len(places)):
        if room - n < n_near:
            more = max(room, n_near)
            times = np.concatenate((times, np.empty((2, more))), axis=1)
            room += more
        x_km, y_km = places[place, 0], places[place, 1]
        for i in range(n_near):  # no branch, so that the compiler makes vector instructions of it
            enter_s[i], leave_s[i] = _passage(
                near[2, i] - x_km,
                near[3, i] - y_km,
                near[4, i],
                near[5, i],
                near[6, i] + distance,
                near[1, i] - near[0, i],
            )
        passed = 0
        for i in range(n_near):  # none here either: which discs pass is hard to foresee
            enter, leave = enter_s[i], leave_s[i]
            enter_s[passed], leave_s[passed] = near[0, i] + enter, near[0, i] + leave
            passed += enter < leave
        first = n
        for i in range(passed):
            n = _put_among(times, first, n, enter_s[i], leave_s[i])
        counts[place] = n - first
    return counts, times[:, :n].copy()


@kernel
def _near_all(discs, places, distance):  # type: ignore[no-untyped-def]
    """Of a large network most discs pass these places by: those that do not."""
    x, y, square = 0.0, 0.0, 0.0
    for place in range(len(places)):
        x, y = x + places[place, 0] / len(places), y + places[place, 1] / len(places)
    for place in range(len(places)):
        square = max(square, (places[place, 0] - x) ** 2 + (places[place, 1] - y) ** 2)
    spread = np.sqrt(square)
    near, n = np.empty(discs.shape[1], np.int64), 0
    for i in range(len(near)):
        limit, lasts = discs[6, i] + distance + spread + 1e-6, discs[1, i] - discs[0, i]
        enter, leave = _passage(discs[2, i] - x, discs[3, i] - y, discs[4, i], discs[5, i], limit, lasts)
        near[n] = i
        n += enter < leave
    columns = np.empty((7, n))
    for column in range(7):
        for i in range(n):
            columns[column, i] = discs[column, near[i]]
    return columns


@bare_inlined
def _put_among(times, first, n, begin, end):  # type: ignore[no-untyped-def]
    """Add an interval to disjoint ones in order, from ``first`` up to ``n``; their number after that."""
    after = n
    while after > first and times[0, after - 1] > end:
        after -= 1
    before = after
    while before > first and times[1, before - 1] >= begin:
        before -= 1
        begin, end = min(begin, times[0, before]), max(end, times[1, before])
    more = before + 1 - after
    if more == 1:
        for i in range(n, after, -1):
            times[0, i], times[1, i] = times[0, i - 1], times[1, i - 1]
    elif more < 0:
        for i in range(after, n):
            times[0, i + more], times[1, i + more] = times[0, i], times[1, i]
    times[0, before], times[1, before] = begin, end
    return n + more


@written_out
def _passage(x, y, vx, vy, limit, lasts):  # type: ignore[no-untyped-def]
    """When a disc comes within a limit of a place, from where it is to it, and goes [s]; never, if it does
    not go after it comes.

    Numbers alone: an array handed over here is counted for each disc, which keeps out vector instructions.
    """
    speed2 = vx * vx + vy * vy + 1e-18
    middle = -(x * vx + y * vy) / speed2
    half = np.sqrt(max(limit * limit - (x * x + y * y - middle * middle * speed2), 0.0) / speed2)
    return max(middle - half, 0.0), min(middle + half, lasts)
