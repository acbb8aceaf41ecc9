"""Numba loops that put shapes of rain, as a hop sees them, in columns (see ``shape_loops``)."""

import numpy as np

from hopyears.models.basics.kernel import inlined, kernel
from hopyears.sim.rain.rain_near import approach
from hopyears.sim.rain.shape_loops import LANES, MOST


@inlined
def track_of(framed, group, line):  # type: ignore[no-untyped-def]
    """Distance across a hop and place along it [km] of a group's start, each with its speed [km/s]."""
    dx, dy = framed[group, 7, 0] - line[0], framed[group, 7, 1] - line[1]
    vx, vy = framed[group, 7, 2], framed[group, 7, 3]
    d, s = dy * line[2] - dx * line[3], dx * line[2] + dy * line[3]
    return d, vy * line[2] - vx * line[3], s, vx * line[2] + vy * line[3]


@inlined
def cell_column(columns, n, framed, group, i, track, at, hop, line):  # type: ignore[no-untyped-def]
    """Column (see ``shape_loops``) of a cell; its times count from ``at`` s after its group's start."""
    east, north, birth = framed[group, 0, i], framed[group, 1, i], framed[group, 2, i]
    life, peak = framed[group, 3, i] - birth, framed[group, 4, i]
    columns[n, 0], columns[n, 1] = (at - birth) / life, 1.0 / life
    columns[n, 2], columns[n, 3] = track[0] + track[1] * at + north * line[2] - east * line[3], track[1]
    columns[n, 4], columns[n, 5] = track[2] + track[3] * at + east * line[2] + north * line[3], track[3]
    columns[n, 6], columns[n, 7], columns[n, 8] = peak * hop[4], peak * (1.0 - hop[4]), framed[group, 6, i]
    columns[n, 9], columns[n, 10] = 1.0, hop[7]


@kernel
def wide_column(columns, n, wide, number, at, hop, line):  # type: ignore[no-untyped-def]
    """Column of a wide shape; its times count from ``at`` s after its birth."""
    rows, tracks = wide[1], wide[2]
    dx, dy, vx, vy = rows[number, 0] - line[0], rows[number, 1] - line[1], rows[number, 2], rows[number, 3]
    d, s = dy * line[2] - dx * line[3], dx * line[2] + dy * line[3]
    dv, sv = vy * line[2] - vx * line[3], vx * line[2] + vy * line[3]
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


@inlined
def columns_within(hop, line, groups, wide, near, begin, finish, columns, found):  # type: ignore[no-untyped-def]
    """Columns of the shapes that rain on the hop between two times, from which theirs count, and how many.

    ``near``: first and last, but one, of the groups and of the wide shapes near the hop, and what
    ``groups_near`` and ``wide_near`` found; ``columns`` and ``found`` are room, which may be too little.
    """
    n, framed = 0, groups[2]
    low, high, numbers, spans = near[0]
    for k in range(low, high):
        if begin >= spans[2, k] or finish <= spans[1, k]:
            continue
        if n + LANES > len(columns):
            columns = np.concatenate((columns, columns))
        group, at = numbers[k], begin - spans[0, k]
        track = track_of(framed, group, line)
        approach(framed[group], hop, line[2:], track, at, finish - spans[0, k], -100.0, found)
        for i in range(LANES):
            if found[0, i] > 0.0:
                cell_column(columns, n, framed, group, i, track, at, hop, line)
                columns[n, MOST] = found[0, i]
                n += 1
    low, high, numbers, spans = near[1]
    for k in range(low, high):
        if begin < spans[2, k] and finish > spans[1, k]:
            if n == len(columns):
                columns = np.concatenate((columns, columns))
            wide_column(columns, n, wide, numbers[k], begin - spans[0, k], hop, line)
            columns[n, MOST] = spans[3, k]
            n += 1
    return columns, n
