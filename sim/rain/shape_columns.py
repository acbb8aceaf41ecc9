"""Numba loops that put shapes of rain, as a hop sees them, in columns (see ``shape_loops``)."""

import numpy as np

from hopyears.models.basics.kernel import bare_inlined, kernel, written_out
from hopyears.sim.rain.rain_near import (
    BIRTH,
    DEATH,
    EAST,
    INTEGRAL,
    NORTH,
    PEAK,
    RADIUS,
    RATE,
    TRACK,
    approach,
    meet,
)
from hopyears.sim.rain.shape_loops import LANES, MOST

_TINY = 5e-7
"""Share of a cell's skirt below which its inner Gaussian is left out."""


@written_out
def _no_core(hop):  # type: ignore[no-untyped-def]
    """Share of its peak, that a cell rains, below which its inner Gaussian is that tiny."""
    core, skirt, ratio = hop[4], 1.0 - hop[4], hop[6] / hop[5]
    return skirt * (_TINY * skirt / (core + 1e-30)) ** (1.0 / (ratio * ratio - 1.0 + 1e-30))


@bare_inlined
def track_of(cells, line):  # type: ignore[no-untyped-def]
    """Distance across a hop and place along it [km] of a group's start, each with its speed [km/s]."""
    dx, dy, vx, vy = cells[TRACK] - line[0], cells[TRACK + 1] - line[1], cells[TRACK + 2], cells[TRACK + 3]
    d, s = dy * line[2] - dx * line[3], dx * line[2] + dy * line[3]
    return d, vy * line[2] - vx * line[3], s, vx * line[2] + vy * line[3]


@bare_inlined
def cell_column(columns, n, met, i, track, at, hop, line):  # type: ignore[no-untyped-def]
    """Column (see ``shape_loops``) of a cell that was met, of which ``approach`` found the most that it
    gives; its times count from ``at`` s after its group's start."""
    east, north, birth, peak = met[EAST + i], met[NORTH + i], met[BIRTH + i], met[PEAK + i]
    pace = 1.0 / (met[DEATH + i] - birth)
    columns[n, 0], columns[n, 1] = (at - birth) * pace, pace
    columns[n, 2], columns[n, 3] = track[0] + track[1] * at + north * line[2] - east * line[3], track[1]
    columns[n, 4], columns[n, 5] = track[2] + track[3] * at + east * line[2] + north * line[3], track[3]
    core = peak * hop[4] if met[RATE + i] > peak * _no_core(hop) else 0.0
    columns[n, 6], columns[n, 7], columns[n, 8] = core, peak * (1.0 - hop[4]), met[RADIUS + i]
    columns[n, 9], columns[n, 10], columns[n, 11], columns[n, MOST] = 1.0, hop[7], 1.0, met[INTEGRAL + i]


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
    columns[n, 9], columns[n, 10], columns[n, 11] = per_scale, hop[8], 1.0 / per_scale


@bare_inlined
def columns_within(hop, line, groups, wide, near, begin, finish, columns, met, picked):  # type: ignore[no-untyped-def]
    """Fill columns of the shapes that rain on the hop between two times, from which theirs count; how many.

    ``near``: first and last, but one, of the groups and of the wide shapes near the hop, and what
    ``groups_near`` and ``wide_near`` found; ``columns``, ``met`` and ``picked`` have room for all of these.
    """
    n, framed = 0, groups[2]
    low, high, numbers, spans = near[0]
    # Without a branch that waits for what is found.
    for k in range(low, high):
        if begin < spans[2, k] and finish > spans[1, k]:
            at, some = begin - spans[0, k], met[k - low]
            meet(some, framed[numbers[k]])
            track = spans[5, k], spans[6, k], spans[7, k], spans[8, k]
            approach(some, hop, line[2:], track, at, finish - spans[0, k], -100.0)
            for i in range(LANES):
                picked[n] = (k - low) * LANES + i
                n += some[INTEGRAL + i] > 0.0
    for c in range(n):
        k, i = picked[c] // LANES, picked[c] % LANES
        j = low + k
        track = spans[5, j], spans[6, j], spans[7, j], spans[8, j]
        cell_column(columns, c, met[k], i, track, begin - spans[0, j], hop, line)
    low, high, numbers, spans = near[1]
    for k in range(low, high):
        if begin < spans[2, k] and finish > spans[1, k]:
            wide_column(columns, n, wide, numbers[k], begin - spans[0, k], hop, line)
            columns[n, MOST] = spans[3, k]
            n += 1
    return n
