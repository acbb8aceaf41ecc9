"""Numba loops that put shapes of rain, as a hop sees them, in columns (see ``shape_loops``)."""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.rain_near import approach, lanes_of
from hopyears.sim.rain.shape_loops import COLUMN


@written_out
def track_of(places, storm, line):  # type: ignore[no-untyped-def]
    """Distance across a hop and place along it [km] of a track's start, each with its speed [km/s]."""
    dx, dy, vx, vy = (
        places[0, storm] - line[0],
        places[1, storm] - line[1],
        places[2, storm],
        places[3, storm],
    )
    d, s = dy * line[2] - dx * line[3], dx * line[2] + dy * line[3]
    return d, vy * line[2] - vx * line[3], s, vx * line[2] + vy * line[3]


@written_out
def cell_column(columns, n, framed, i, lanes, track, at, hop, line):  # type: ignore[no-untyped-def]
    """Column (see ``shape_loops``) of a cell; its times count from ``at`` s after its storm's start."""
    life, peak = framed[i + 3 * lanes] - framed[i + 2 * lanes], framed[i + 4 * lanes]
    columns[n, 0], columns[n, 1] = (at - framed[i + 2 * lanes]) / life, 1.0 / life
    columns[n, 2] = track[0] + track[1] * at + framed[i + lanes] * line[2] - framed[i] * line[3]
    columns[n, 4] = track[2] + track[3] * at + framed[i] * line[2] + framed[i + lanes] * line[3]
    columns[n, 3], columns[n, 5] = track[1], track[3]
    columns[n, 6], columns[n, 7], columns[n, 8] = peak * hop[4], peak * (1.0 - hop[4]), framed[i + 6 * lanes]
    columns[n, 9], columns[n, 10] = 1.0, hop[7]


@kernel
def wide_column(columns, n, wide, number, at, hop, line):  # type: ignore[no-untyped-def]
    """Column of a wide shape; its times count from ``at`` s after its birth."""
    _, rows, tracks, _ = wide
    d, dv, s, sv = track_of(rows, number, line)
    d, s, ratio, east, north = d + dv * at, s + sv * at, rows[7, number], tracks[6, number], tracks[7, number]
    # models.air.path_rain.ellipse_chord
    along = line[2] * east + line[3] * north
    left = line[2] * north - line[3] * east
    stiff = along**2 / ratio + left**2 * ratio
    skew, per_scale = along * left * (1.0 / ratio - ratio) / stiff, np.sqrt(stiff)
    columns[n, 0], columns[n, 1] = at / rows[4, number], 1.0 / rows[4, number]
    columns[n, 2], columns[n, 3] = d / per_scale, dv / per_scale
    columns[n, 4], columns[n, 5] = (s + skew * d) * per_scale, (sv + skew * dv) * per_scale
    columns[n, 6], columns[n, 7], columns[n, 8] = 0.0, rows[5, number], rows[6, number] / hop[6]
    columns[n, 9], columns[n, 10] = per_scale, hop[8]


@kernel
def columns_within(hop, line, storms, wide, near_storms, near_wide, begin, finish):  # type: ignore[no-untyped-def]
    """Columns of the shapes that rain on the hop between two times; their times count from the first."""
    starts, places, _, framed, first_lane, most, longest = storms
    columns, found, n = np.empty((64, COLUMN), np.float32), np.empty((4, most), np.float32), 0
    numbers, passages = near_storms
    low = np.searchsorted(numbers, np.searchsorted(starts, begin - longest))
    for k in range(low, np.searchsorted(numbers, np.searchsorted(starts, finish))):
        storm = numbers[k]
        at, last = begin - starts[storm], finish - starts[storm]
        if at >= passages[1, k] or last <= passages[0, k]:
            continue
        while n + most > len(columns):
            columns = np.concatenate((columns, columns))
        track, first, lanes = (
            track_of(places, storm, line),
            7 * first_lane[storm],
            lanes_of(first_lane, storm),
        )
        approach(framed, first, lanes, hop, line[2:], track, at, last, -100.0, found)
        for i in range(lanes):
            if found[0, i] > 0.0:
                cell_column(columns, n, framed, first + i, lanes, track, at, hop, line)
                n += 1
    numbers, passages = near_wide
    low = np.searchsorted(numbers, np.searchsorted(wide[0], begin - wide[3]))
    for k in range(low, np.searchsorted(numbers, np.searchsorted(wide[0], finish))):
        at, last = begin - wide[0][numbers[k]], finish - wide[0][numbers[k]]
        if at < passages[1, k] and last > passages[0, k]:
            if n == len(columns):
                columns = np.concatenate((columns, columns))
            wide_column(columns, n, wide, numbers[k], at, hop, line)
            n += 1
    return columns[:n]
