"""From fades to changes of modulation: when each channel of a hop loses and regains each modulation."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.kernel import kernel
from hopyears.sim.multipath.fades import N_KINDS, FadeEvents

FLAT_BIT: Final = 1
DISPERSIVE_BIT: Final = 2

_Part = tuple[Floats, Ints, Ints, Ints]


@dataclass(frozen=True)
class Thresholds:
    """What one equipment state makes of fades.

    Parameters
    ----------
    usable : bool array, shape (n_channels, n_lines)
        Which lines each channel-direction can receive on; the best of them serves it.
    down, up : array, shape (3, n_channels, n_lines, n_modulations)
        Raw levels x, by kind of fade: a channel loses a modulation when all its usable lines are below
        ``down``, and may regain it when one is above ``up``, which is at least ``down``. Neither may fall
        from one modulation to the next (lowest first).
    hold_s : array, shape (n_modulations,)
        Time for which a line must have been above ``up`` before the modulation is back [s], at least 0.

    Raises
    ------
    ValueError
        If shapes do not fit or the order above is broken.
    """

    usable: Bools
    down: Floats
    up: Floats
    hold_s: Floats

    def __post_init__(self) -> None:
        shape = (N_KINDS, *self.usable.shape, len(self.hold_s))
        for field in ("down", "up"):
            values = getattr(self, field)
            if values.shape != shape:
                raise ValueError(f"{field} is of shape {values.shape}; must be {shape}")
            if np.any(np.diff(values, axis=-1) < 0.0):
                raise ValueError(f"{field} falls from one modulation to the next; must not")
        if np.any(self.up < self.down):
            raise ValueError("up is below down; must be at least down")
        if np.any(self.hold_s < 0.0):
            raise ValueError(f"hold_s is {self.hold_s.min()}; must be at least 0")


@dataclass(frozen=True)
class ChangePoints:
    """Changes of the channel-directions of one hop, in the order of time.

    Parameters
    ----------
    time_s : array, shape (n,)
    channel : int64 array, shape (n,)
    level : int64 array, shape (n,)
        Number of usable modulations from then on, 0 to all.
    cause : int64 array, shape (n,)
        FLAT_BIT, DISPERSIVE_BIT or both: what holds modulations away; 0 when all are usable.
    """

    time_s: Floats
    channel: Ints
    level: Ints
    cause: Ints


def change_points(events: FadeEvents, thresholds: Thresholds, start_s: float, end_s: float) -> ChangePoints:
    """Changes of level within [start, end) while one equipment state is in force.

    Parameters
    ----------
    events : FadeEvents
    thresholds : Thresholds
    start_s, end_s : float
        Span [s from the start of the block].

    Returns
    -------
    ChangePoints
        Every channel-direction has all modulations at ``start_s`` unless a point at that time says otherwise.
        Nothing is said at ``end_s``. A channel-direction without a usable line has no points.

    Notes
    -----
    A line is below a level while any fade covers it, so lines also meet by chance in different fades. Fades
    that reach into the span from before it count as if the state had been in force then.
    """
    reach = float(thresholds.hold_s.max(initial=0.0))
    first = int(np.searchsorted(events.latest_end_s, start_s - reach, side="right"))
    last = int(np.searchsorted(events.earliest_start_s, end_s, side="left"))
    span = slice(first, max(first, last))
    n_channels = len(thresholds.usable)
    parts = []
    for channel in range(n_channels):
        lines = np.nonzero(thresholds.usable[channel])[0]
        if lines.size and last > first:
            edges, codes = _edges(
                events.time_s[span],
                events.impact[span],
                events.speed_per_s[span],
                events.dx[span],
                events.dy[span],
                events.kind[span],
                lines,
                np.ascontiguousarray(thresholds.down[:, channel]),
                np.ascontiguousarray(thresholds.up[:, channel]),
            )
            order = np.argsort(edges, kind="stable")  # runs of sorted edges: much faster than quicksort
            hold = thresholds.hold_s
            time, level, cause = _sweep(edges[order], codes[order], len(lines), hold, start_s, end_s)
            parts.append((time, np.full(len(time), channel, dtype=np.int64), level, cause))
    return _merged(parts)


def _merged(parts: list[_Part]) -> ChangePoints:
    """Points of all channels in the order of time."""
    if not parts:
        nothing = np.empty(0, dtype=np.int64)
        return ChangePoints(np.empty(0), nothing, nothing, nothing)
    time, channel, level, cause = (np.concatenate(column) for column in zip(*parts, strict=True))
    if len(parts) == 1:
        return ChangePoints(time, channel, level, cause)
    order = np.argsort(time, kind="stable")
    return ChangePoints(time[order], channel[order], level[order], cause[order])


@kernel
def _edges(time, impact, speed, dx, dy, kind, lines, down, up):  # type: ignore[no-untyped-def]
    """Times when fades begin or end to cover the lines of one channel, and what each is, as a code.

    A code is modulation << 10 | line << 3 | dispersive << 2 | below_down << 1 | start: each fade covers a
    line below ``up`` for a span, and below ``down`` for a span within it.
    """
    n_lines, n_modulations = len(lines), down.shape[2]
    edges = np.empty(1024)
    codes = np.empty(1024, dtype=np.int64)
    n = 0
    for e in range(len(time)):
        k = kind[e]
        slowness = 1.0 / speed[e]
        for i in range(n_lines):
            line = lines[i]
            across = (impact[e] + dy[e, line]) ** 2
            centre = time[e] - dx[e, line] * slowness
            # Thresholds rise with the modulation: below the first not reached, none is.
            for m in range(n_modulations - 1, -1, -1):
                if up[k, line, m] <= across:
                    break
                if n + 4 > len(edges):
                    edges = np.concatenate((edges, np.empty(len(edges))))
                    codes = np.concatenate((codes, np.empty(len(codes), dtype=np.int64)))
                code = m << 10 | i << 3 | (4 if k == 2 else 0)
                half = np.sqrt(up[k, line, m] - across) * slowness
                edges[n], codes[n] = centre - half, code + 1
                edges[n + 1], codes[n + 1] = centre + half, code
                n += 2
                if down[k, line, m] > across:
                    half = np.sqrt(down[k, line, m] - across) * slowness
                    edges[n], codes[n] = centre - half, code + 3
                    edges[n + 1], codes[n + 1] = centre + half, code + 2
                    n += 2
    return edges[:n], codes[:n]


@kernel
def _sweep(edges, codes, n_lines, hold, start, end):  # type: ignore[no-untyped-def]
    """Changes of one channel from the edges of its fades: arrays of time, level and cause."""
    n_modulations = len(hold)
    covers = np.zeros(
        (2, n_modulations, n_lines), dtype=np.int64
    )  # fades on each line, below up and below down
    covered = np.zeros((2, n_modulations), dtype=np.int64)  # lines that have any
    classes = np.zeros((n_modulations, 2), dtype=np.int64)  # fades on all lines, flat and dispersive
    lost = np.zeros(n_modulations, dtype=np.bool_)
    release = np.full(n_modulations, np.inf)
    causes = np.zeros(n_modulations, dtype=np.int64)
    out_time, out_state = np.empty(256), np.empty((256, 2), dtype=np.int64)
    n_out, i, since, next_release = 0, 0, start, np.inf
    level, cause = n_modulations, 0
    while True:
        now = min(edges[i] if i < len(edges) else np.inf, next_release)
        # The state is written when time moves on, so edges of one instant give one change, or none.
        if now > since:
            new_level, new_cause = _state(lost, causes)
            if new_level != level or new_cause != cause:
                level, cause = new_level, new_cause
                if n_out == len(out_time):
                    out_time = np.concatenate((out_time, np.empty(n_out)))
                    out_state = np.concatenate((out_state, np.empty((n_out, 2), dtype=np.int64)))
                out_time[n_out], out_state[n_out, 0], out_state[n_out, 1] = since, level, cause
                n_out += 1
        if now >= end:
            break
        if next_release <= now:
            for m in range(n_modulations):
                if release[m] <= now:
                    lost[m], release[m] = False, np.inf
            next_release = release.min()
        # Edges from before ``start`` are counted too: they say which fades are under way there.
        while i < len(edges) and edges[i] == now:
            m = _cover(codes[i], covers, covered, classes)
            # A modulation that is neither lost nor covered on all lines can change nothing.
            touched = lost[m] or covered[1, m] == n_lines
            if touched and _decide(m, now, n_lines, covered, classes, hold, lost, release, causes):
                next_release = release.min()
            i += 1
        since = max(now, start)
    return out_time[:n_out], out_state[:n_out, 0].copy(), out_state[:n_out, 1].copy()


@kernel
def _cover(code, covers, covered, classes):  # type: ignore[no-untyped-def]
    """Count one edge in; gives its modulation."""
    step = 1 if code & 1 else -1
    below_down = (code >> 1) & 1
    dispersive = (code >> 2) & 1
    m = code >> 10
    line = (code >> 3) & 127
    before = covers[below_down, m, line]
    after = before + step
    covers[below_down, m, line] = after
    covered[below_down, m] += (1 if after > 0 else 0) - (1 if before > 0 else 0)
    classes[m, dispersive] += step * (1 - below_down)
    return m


@kernel
def _decide(m, now, n_lines, covered, classes, hold, lost, release, causes):  # type: ignore[no-untyped-def]
    """Lose, keep or start to regain one modulation of the channel; whether a release was set or lifted."""
    before = release[m]
    if covered[1, m] == n_lines:
        lost[m], release[m] = True, np.inf
    elif lost[m] and covered[0, m] == n_lines:
        release[m] = np.inf
    elif lost[m] and release[m] == np.inf:
        lost[m] = hold[m] > 0.0
        release[m] = now + hold[m] if lost[m] else np.inf
    if classes[m, 0] > 0 or classes[m, 1] > 0:
        causes[m] = (FLAT_BIT if classes[m, 0] > 0 else 0) | (DISPERSIVE_BIT if classes[m, 1] > 0 else 0)
    return release[m] != before


@kernel
def _state(lost, causes):  # type: ignore[no-untyped-def]
    """Number of modulations not lost, and the causes of those that are."""
    level, cause = len(lost), 0
    for m in range(len(lost)):
        if lost[m]:
            level -= 1
            cause |= causes[m]
    return level, cause
