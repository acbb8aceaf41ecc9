"""When storms are near places, from where and how wide each storm is, not from each of its cells."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats, Ints, read_only
from hopyears.models.basics.intervals import Intervals, merged
from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.rain_field import RainField

PLACES_AT_ONCE = 16
"""Passages are many and their union is small: those of so many places are held at a time."""


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
    discs = discs[np.argsort(discs[:, 0])]  # so that the passages of a place come nearly in order
    order, parts = _side_by_side(places), []
    for first in range(0, len(places), PLACES_AT_ONCE):
        some = places[order[first : first + PLACES_AT_ONCE]]
        times, place = _passages(discs, some, float(distance_km))
        parts.append(merged(place, times[0], times[1], n_rows=len(some)))
    rows = [part.of(row) for part in parts for row in range(part.n_rows)]
    return _below([rows[at] for at in np.argsort(order).tolist()])


def _side_by_side(places_km: Floats) -> Ints:
    """Order in which as many as are taken at once are near each other: strips, each from end to end."""
    extent_km = np.ptp(places_km, axis=0) if len(places_km) else np.zeros(2)
    side_km = np.sqrt(np.prod(extent_km) * PLACES_AT_ONCE / max(len(places_km), 1))
    strip = np.floor_divide(places_km[:, 0], max(side_km, 1.0))
    return np.lexsort((places_km[:, 1], strip))


def _below(rows: Sequence[tuple[Floats, Floats]]) -> Intervals:
    """Starts and ends [s] of each row, as one set."""
    counts = [0, *(len(start_s) for start_s, _ in rows)]
    start_s, end_s = (np.concatenate([np.zeros(0), *(row[side] for row in rows)]) for side in (0, 1))
    return Intervals(np.cumsum(counts), start_s, end_s)


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
    """Time in and out [s], and place, of each disc that comes within the distance of a place."""
    # Most discs of a large network pass these places by; asked once of all of them, each place sees the rest.
    x, y = places[:, 0].mean(), places[:, 1].mean()
    spread = np.sqrt(((places[:, 0] - x) ** 2 + (places[:, 1] - y) ** 2).max())
    near, n_near = np.empty(len(discs), np.int64), 0
    for i in range(len(discs)):
        enter, leave = _passage(discs, i, x, y, distance + spread + 1e-6)
        near[n_near] = i
        n_near += enter < leave
    count, room = 0, 1024
    times, of = np.empty((2, room)), np.empty(room, np.int64)
    for place in range(len(places)):
        if room - count < n_near:
            more = max(room, n_near)
            times = np.concatenate((times, np.empty((2, more))), axis=1)
            of = np.concatenate((of, np.empty(more, np.int64)))
            room += more
        for i in near[:n_near]:
            enter, leave = _passage(discs, i, places[place, 0], places[place, 1], distance)
            if enter < leave:
                times[0, count], times[1, count] = discs[i, 0] + enter, discs[i, 0] + leave
                of[count] = place
                count += 1
    return times[:, :count].copy(), of[:count].copy()


@written_out
def _passage(discs, i, at_x, at_y, distance):  # type: ignore[no-untyped-def]
    """When a disc is within the distance of a place, after its begin [s]; never, if out is not after in."""
    x, y, vx, vy = discs[i, 2] - at_x, discs[i, 3] - at_y, discs[i, 4], discs[i, 5]
    limit = discs[i, 6] + distance
    speed2 = vx * vx + vy * vy + 1e-18
    middle = -(x * vx + y * vy) / speed2
    left = limit * limit - (x * x + y * y - middle * middle * speed2)
    if left <= 0.0:
        return 0.0, 0.0
    half = np.sqrt(left / speed2)
    return max(middle - half, 0.0), min(middle + half, discs[i, 1] - discs[i, 0])
