"""Numba loops of the rain kernel: where rain on a hop may reach a threshold, and its course there.

Sieves, each an upper bound of what the next one looks at: stretches of 32 minutes, in which every shape
counts with its most for as long as its group is near (``rain_sieve``); bins of four minutes, in which the
stronger ones count as they are then; minutes, with all but the slight shapes as they are then, and with their
texture. Only there is the course worked out every ten seconds. All lie on one grid of time, whatever is
asked for, and no shape that reaches the hop is left out.

Loops called from one place are inlined and share rooms made once a hop: an array handed over is counted
twice, which costs as much as a shape.
"""

import numpy as np

from hopyears.models.air.rain_texture import TURN_S
from hopyears.models.basics.kernel import bare_inlined, kernel
from hopyears.sim.rain.rain_near import MET, groups_near, wide_near
from hopyears.sim.rain.rain_sieve import BIN_S, BINS, BOUND_MARGIN, bins_within, stretches_in_danger
from hopyears.sim.rain.shape_columns import columns_within
from hopyears.sim.rain.shape_loops import (
    COLUMN,
    LANES,
    MOST,
    add_attenuation,
    add_bounds,
    add_values,
    most_attenuation,
)
from hopyears.sim.rain.texture import factors_along

COARSE_STEP_S = 60.0
"""Largest distance of knots that can be asked for [s]."""

_MINUTES = int(BIN_S / COARSE_STEP_S)
_CHUNK = 1024
"""Stretches looked at together."""

_MOST_STRETCHES, _MOST_BINS = 16, 4
"""Taken together, at the most, once a bound says that a threshold may be reached."""

_TURNS = int(_MOST_BINS * BIN_S / TURN_S) + 2
"""Angles of the texture over that many bins."""

_FAINT = 0.005
"""Share of what is needed below which a shape is worked out each minute."""

_SLIGHT = 0.03
"""The same below which it counts with its most while minutes are looked for."""


@kernel
def knots_above(hop, line, groups, wide, grain, threshold, splits, end_s):  # type: ignore[no-untyped-def]
    """Knots of the windows in which a hop's attenuation passes the threshold [dB].

    Parameters
    ----------
    hop : tuple of float
        ``models.air.path_rain.hop_numbers``.
    line : tuple of float
        First end x, y [km] and unit vector x, y.
    groups, wide : tuple of arrays
        See ``RainField.for_kernel``.
    grain : tuple
        Texture (``Texture.on``).
    threshold : float
        [dB].
    splits : int
        Knots a minute.
    end_s : float
        End of the block [s].

    Returns times [s], attenuation [dB] and the first knot of each window, with the number of knots last.
    """
    knots, starts, count = np.empty((2, 4096)), np.empty(4096, np.int64), np.zeros(2, np.int64)
    length, k, alpha, level = hop[0], hop[1], hop[2], threshold / (1.0 + grain[3])
    needed = ((level / (k * length)) ** (1.0 / alpha), level / k, alpha - 1.0, length)
    group_numbers, group_spans = np.empty(len(groups[0]), np.int64), np.empty((9, len(groups[0])))
    wide_numbers, wide_spans = np.empty(len(wide[0]), np.int64), np.empty((5, len(wide[0])))
    changes, danger = np.empty((2, _CHUNK + 1)), np.empty(_CHUNK, np.bool_)
    columns, met, picked = _rooms(64)
    most, lanes = _MOST_STRETCHES * BINS, -(-(_MOST_BINS * _MINUTES * splits + 1) // LANES) * LANES
    bins, risky, bin_changes = (
        np.empty((2, most), np.float32),
        np.empty(most, np.bool_),
        np.empty((2, most + 1)),
    )
    sums, slow, course = (
        np.empty((2, lanes), np.float32),
        np.empty((2, lanes), np.float32),
        np.empty(lanes, np.float32),
    )
    bins_room, wanted = (
        np.empty((2, _MOST_BINS * _MINUTES), np.float32),
        np.empty(_MOST_BINS * _MINUTES, np.bool_),
    )
    factors, angles = np.empty(_MOST_BINS * _MINUTES * splits + 1), np.empty(_TURNS)
    end, step = int(np.ceil(end_s / BIN_S - 1e-9)), COARSE_STEP_S / splits
    for first in range(0, end, _CHUNK * BINS):
        n_bins, begin = min(_CHUNK * BINS, end - first), first * BIN_S
        n, finish = -(-n_bins // BINS), begin + n_bins * BIN_S
        n_groups = groups_near(hop, line, groups, begin, finish, group_numbers, group_spans)
        n_wide = wide_near(hop, line, wide, begin, finish, wide_numbers, wide_spans)
        near_groups, near_wide = (n_groups, group_numbers, group_spans), (n_wide, wide_numbers, wide_spans)
        stretches_in_danger(
            hop, line, groups, near_groups, near_wide, needed, begin, changes[:, : n + 1], danger[:n]
        )
        j, groups_from, wide_from = 0, 0, 0
        while True:
            i, j = _next_run(danger, j, n, _MOST_STRETCHES)
            if i == n:
                break
            at, some = begin + i * BINS * BIN_S, min((j - i) * BINS, n_bins - i * BINS)
            until = at + some * BIN_S
            groups_from, groups_to = _about(near_groups, groups_from, at - groups[3], until)
            wide_from, wide_to = _about(near_wide, wide_from, at - wide[3], until)
            near = (
                (groups_from, groups_to, group_numbers, group_spans),
                (wide_from, wide_to, wide_numbers, wide_spans),
            )
            shapes = groups_to - groups_from + wide_to - wide_from
            if shapes > len(met):
                columns, met, picked = _rooms(2 * shapes)
            bins_within(
                hop, line, groups, wide, near, at, some, needed, bins, bin_changes, columns, met, risky
            )
            q = 0
            while True:
                p, q = _next_run(risky, q, some, _MOST_BINS)
                if p == some:
                    break
                start, n_minutes = at + p * BIN_S, (q - p) * _MINUTES
                n_columns = columns_within(
                    hop, line, groups, wide, near, start, start + (q - p) * BIN_S, columns, met, picked
                )
                minutes_above(hop, columns, n_columns, n_minutes, needed, level, bins_room, wanted)
                _with_texture(
                    grain, bins_room[0], n_minutes, splits, start, threshold, angles, factors, wanted
                )
                v = 0
                while True:
                    u, v = _next_run(wanted, v, n_minutes, n_minutes)
                    if u == n_minutes:
                        break
                    n_knots = (v - u) * splits + 1
                    if count[0] + n_knots > knots.shape[1] or count[1] + n_knots >= len(starts):
                        knots, starts = _longer(knots, starts, n_knots)
                    _attenuation(hop, columns, n_columns, needed[0], u, v - u, splits, sums, slow, course)
                    at_minute = start + u * COARSE_STEP_S
                    _keep(
                        course,
                        factors[u * splits :],
                        n_knots,
                        at_minute,
                        step,
                        threshold,
                        knots,
                        starts,
                        count,
                    )
    starts[count[1]] = count[0]
    return knots[0, : count[0]].copy(), knots[1, : count[0]].copy(), starts[: count[1] + 1].copy()


@kernel
def _rooms(n):  # type: ignore[no-untyped-def]
    """Room for columns of the cells of ``n`` groups, for the groups that are met, and for their numbers."""
    return (
        np.empty((n * LANES, COLUMN), np.float32),
        np.empty((n, MET), np.float32),
        np.empty((n + 1) * LANES, np.int64),
    )


@kernel
def _longer(knots, starts, n):  # type: ignore[no-untyped-def]
    """What is kept, with room for as much again and ``n`` knots."""
    return (
        np.concatenate((knots, np.empty((2, knots.shape[1] + n))), axis=1),
        np.concatenate((starts, np.empty(len(starts) + n, np.int64))),
    )


@bare_inlined
def _about(near, low, earliest, until):  # type: ignore[no-untyped-def]
    """First and last, but one, of those near that start between two times; the first at or after ``low``."""
    n, _, spans = near
    while low < n and spans[0, low] < earliest:
        low += 1
    high = low
    while high < n and spans[0, high] < until:
        high += 1
    return low, high


@bare_inlined
def _next_run(danger, i, n, most):  # type: ignore[no-untyped-def]
    """First in danger from the i-th on, and the one after the last of its run, of ``most`` at the most."""
    while i < n and not danger[i]:
        i += 1
    j = i
    while j < n and j < i + most and danger[j]:
        j += 1
    return i, j


@bare_inlined
def minutes_above(hop, columns, n_columns, n, needed, level, sums, wanted):  # type: ignore[no-untyped-def]
    """Minutes in which all shapes together may reach a level [dB]: fills ``wanted``.

    Row 0 of ``sums`` comes to hold the most that the attenuation may be in each [dB].
    """
    half, integral, rate = 0.5 * COARSE_STEP_S, np.float32(0.0), np.float32(0.0)
    for i in range(-(-n // LANES) * LANES):
        sums[0, i], sums[1, i] = np.float32(0.0), np.float32(0.0)
    for c in range(n_columns):
        if columns[c, MOST] < _SLIGHT * needed[0] * hop[0]:
            # Counts with its most, and with its peak wherever it is.
            integral += columns[c, MOST]
            rate += columns[c, 6] + columns[c, 7]
        else:
            add_bounds(sums, columns, c, 0, n - 1, half, COARSE_STEP_S, half, hop)
    most_attenuation(sums, n, integral, rate, hop)
    for i in range(n):
        wanted[i] = sums[0, i] >= BOUND_MARGIN * level


@bare_inlined
def _with_texture(grain, most, n, splits, start, threshold, angles, factors, wanted):  # type: ignore[no-untyped-def]
    """Fill the factors of the texture at the knots of the minutes wanted, of ``n`` from ``start`` [s] on, and
    want no more of them than may reach the threshold with these."""
    v, step = 0, COARSE_STEP_S / splits
    while True:
        u, v = _next_run(wanted, v, n, n)
        if u == n:
            return
        knot = u * splits
        factors_along(factors[knot:], angles, grain, (v - u) * splits + 1, start + u * COARSE_STEP_S, step)
        for minute in range(u, v):
            high = factors[minute * splits]
            for i in range(1, splits + 1):
                high = max(high, factors[minute * splits + i])
            wanted[minute] = most[minute] * high >= BOUND_MARGIN * threshold


@bare_inlined
def _attenuation(hop, columns, n_columns, needed_rate, minute, n_minutes, splits, sums, slow, course):  # type: ignore[no-untyped-def]
    """Attenuation [dB] at the knots of some minutes, by all shapes together (``models.air.path_rain``).

    Into ``course``; ``sums`` and ``slow`` are room. Faint shapes, of which a hop has many, are worked out
    each minute, with straight lines between: as they are faint and change slowly, the whole is wrong by some
    1e-4 of what is needed.
    """
    length, k, power, parts = hop[0], np.float32(hop[1]), np.float32(hop[2] - 1.0), int(hop[3])
    far, n, start = length / parts, n_minutes * splits + 1, minute * COARSE_STEP_S
    per_km, faint = np.float32(1.0 / far), _FAINT * needed_rate * length
    finish, step = start + n_minutes * COARSE_STEP_S, COARSE_STEP_S / splits
    course[:] = np.float32(0.0)
    for part in range(parts):
        for i in range(-(-(n_minutes + 1) // LANES) * LANES):
            slow[0, i], slow[1, i] = np.float32(0.0), np.float32(0.0)
        for c in range(n_columns):
            if columns[c, MOST] < faint and _lives(columns, c, start, finish):
                add_values(slow, columns, c, n_minutes, start, COARSE_STEP_S, part * far, far, hop)
        for row in range(2):
            for at in range(n_minutes):
                change = (slow[row, at + 1] - slow[row, at]) / np.float32(splits)
                for i in range(splits):
                    sums[row, at * splits + i] = slow[row, at] + np.float32(i) * change
            sums[row, n - 1] = slow[row, n_minutes]
        for c in range(n_columns):
            if columns[c, MOST] >= faint and _lives(columns, c, start, finish):
                add_values(sums, columns, c, n - 1, start, step, part * far, far, hop)
        add_attenuation(course, sums, n, k, power, per_km)


@bare_inlined
def _lives(columns, c, start, finish):  # type: ignore[no-untyped-def]
    """Whether a shape lives between two times."""
    phase, pace = columns[c, 0], columns[c, 1]
    return phase + pace * finish > 0.0 and phase + pace * start < 1.0


@bare_inlined
def _keep(course, factors, n, start, step, threshold, knots, starts, count):  # type: ignore[no-untyped-def]
    """Of ``n`` knots of a course, times their factors, keep the windows above a threshold.

    Times and values, first knots of windows, and how many of both. Each window has the knot before and after;
    one that begins where the last one ended goes on with that.
    """
    n_knots, inside, before, height = count[0], False, 0.0, 0.0
    for i in range(n):
        at, value = start + i * step, course[i] * factors[i]
        high = value >= threshold
        if (
            high
            and not inside
            and (n_knots == 0 or knots[0, n_knots - 1] < (before if i else at) - 0.5 * step)
        ):
            starts[count[1]] = n_knots
            count[1] += 1
            if i:
                knots[0, n_knots], knots[1, n_knots] = before, height
                n_knots += 1
        if (high or inside) and (n_knots == 0 or knots[0, n_knots - 1] < at - 0.5 * step):
            knots[0, n_knots], knots[1, n_knots] = at, value
            n_knots += 1
        inside, before, height = high, at, value
    count[0] = n_knots
