"""Numba loops that put shapes of rain, as a hop sees them, in columns (see ``shape_loops``)."""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.rain_near import approach, most_of_cells
from hopyears.sim.rain.shape_loops import COLUMN, LANES, MOST


@written_out
def track_of(place, line):  # type: ignore[no-untyped-def]
    """Distance across a hop and place along it [km] of a track's start, each with its speed [km/s]."""
    dx, dy, vx, vy = place[0] - line[0], place[1] - line[1], place[2], place[3]
    d, s = dy * line[2] - dx * line[3], dx * line[2] + dy * line[3]
    return d, vy * line[2] - vx * line[3], s, vx * line[2] + vy * line[3]


@written_out
def cell_column(columns, n, cells, i, track, at, hop, line):  # type: ignore[no-untyped-def]
    """Column (see ``shape_loops``) of a cell; its times count from ``at`` s after its group's start."""
    east, north, birth, peak = cells[0, i], cells[1, i], cells[2, i], cells[4, i]
    life = cells[3, i] - birth
    columns[n, 0], columns[n, 1] = (at - birth) / life, 1.0 / life
    columns[n, 2], columns[n, 3] = track[0] + track[1] * at + north * line[2] - east * line[3], track[1]
    columns[n, 4], columns[n, 5] = track[2] + track[3] * at + east * line[2] + north * line[3], track[3]
    columns[n, 6], columns[n, 7], columns[n, 8] = peak * hop[4], peak * (1.0 - hop[4]), cells[6, i]
    columns[n, 9], columns[n, 10] = 1.0, hop[7]


@kernel
def wide_column(columns, n, wide, number, at, hop, line):  # type: ignore[no-untyped-def]
    """Column of a wide shape; its times count from ``at`` s after its birth."""
    _, rows, tracks, _ = wide
    d, dv, s, sv = track_of(rows[number], line)
    d, s, ratio, east, north = d + dv * at, s + sv * at, rows[number, 7], tracks[6, number], tracks[7, number]
    # models.air.path_rain.ellipse_chord
    along = line[2] * east + line[3] * north
    left = line[2] * north - line[3] * east
    stiff = along**2 / ratio + left**2 * ratio
    skew, per_scale = along * left * (1.0 / ratio - ratio) / stiff, np.sqrt(stiff)
    columns[n, 0], columns[n, 1] = at / rows[number, 4], 1.0 / rows[number, 4]
    columns[n, 2], columns[n, 3] = d / per_scale, dv / per_scale
    columns[n, 4], columns[n, 5] = (s + skew * d) * per_scale, (sv + skew * dv) * per_scale
    columns[n, 6], columns[n, 7], columns[n, 8] = 0.0, rows[number, 5], rows[number, 6] / hop[6]
    columns[n, 9], columns[n, 10] = per_scale, hop[8]


@kernel
def columns_within(hop, line, groups, wide, near_groups, near_wide, begin, finish, found):  # type: ignore[no-untyped-def]
    """Columns of the shapes that rain on the hop between two times; their times count from the first.

    ``found`` is room for the cells of one group (``approach``)."""
    starts, _, framed, _ = groups
    columns, n = np.empty((64, COLUMN), np.float32), 0
    numbers, passages = near_groups
    for k in range(len(numbers)):
        group = numbers[k]
        at, last = begin - starts[group], finish - starts[group]
        if at >= passages[1, k] or last <= passages[0, k]:
            continue
        if n + LANES > len(columns):
            columns = np.concatenate((columns, columns))
        track, cells = track_of(framed[group, 7], line), framed[group]
        if most_of_cells(cells, hop, line[2:], track, at, last)[0] == 0.0:
            continue
        approach(cells, hop, line[2:], track, at, last, -100.0, found)
        for i in range(LANES):
            if found[0, i] > 0.0:
                cell_column(columns, n, cells, i, track, at, hop, line)
                columns[n, MOST] = found[0, i]
                n += 1
    numbers, passages = near_wide
    for k in range(len(numbers)):
        at, last = begin - wide[0][numbers[k]], finish - wide[0][numbers[k]]
        if at < passages[1, k] and last > passages[0, k]:
            if n == len(columns):
                columns = np.concatenate((columns, columns))
            wide_column(columns, n, wide, numbers[k], at, hop, line)
            columns[n, MOST] = passages[2, k] * hop[0]
            n += 1
    return columns[:n]
