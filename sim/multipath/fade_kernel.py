"""From fades to changes of modulation: when each channel of a hop loses and regains each modulation."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.kernel import bare_inlined, bare_kernel, kernel
from hopyears.sim.multipath.fades import DISPERSIVE, N_KINDS, FadeEvents

FLAT_BIT: Final = 1
DISPERSIVE_BIT: Final = 2


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
    """Changes of the channel-directions of one hop, in the order of time, at one time in that of channels.

    Parameters
    ----------
    rows : array, shape (n, 4)
        Time [s]; channel-direction; number of its modulations that are usable from then on, 0 to all; what
        holds the others away, FLAT_BIT, DISPERSIVE_BIT or both, 0 when all are usable.
    """

    rows: Floats

    @property
    def time_s(self) -> Floats:
        """When, shape (n,)."""
        return self.rows[:, 0]

    @property
    def channel(self) -> Ints:
        """Of which channel-direction, shape (n,)."""
        return self.rows[:, 1].astype(np.int64)

    @property
    def level(self) -> Ints:
        """Usable modulations from then on, shape (n,)."""
        return self.rows[:, 2].astype(np.int64)

    @property
    def cause(self) -> Ints:
        """What holds the others away, shape (n,)."""
        return self.rows[:, 3].astype(np.int64)


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
    fades = (events.time_s, events.impact, events.speed_per_s, events.dx, events.dy, events.kind)
    reaches = (events.latest_end_s, events.earliest_start_s, first, last, reach)
    limits = (thresholds.usable, thresholds.down, thresholds.up, thresholds.hold_s)
    return ChangePoints(_changes(fades, reaches, limits, float(start_s), float(end_s)))


@kernel
def _changes(fades, reaches, limits, start_s, end_s):  # type: ignore[no-untyped-def]
    """Rows of ``ChangePoints``, group by group of fades that may meet, or follow each other within a hold.

    Modulations of a channel do not heed each other: each is followed by itself, and its *turns* (times when
    it is lost, comes back, or is held away by something else) are then put together.
    """
    (n_channels, n_lines), n_modulations = limits[0].shape, len(limits[3])
    largest = _largest_group(reaches)
    across, centre, slowness = np.empty((largest, n_lines)), np.empty((largest, n_lines)), np.empty(largest)
    edges, codes = np.empty(4 * largest * n_lines), np.empty(4 * largest * n_lines, dtype=np.int64)
    placed = (across, centre, slowness, edges, codes, np.zeros((2, n_lines), dtype=np.int64))
    held, told = np.zeros((n_channels, n_modulations), dtype=np.int64), np.zeros((n_channels, 2))
    told[:, 0] = n_modulations
    begin, n_rows = reaches[2], 0
    rows = np.empty((256 + 4 * n_channels * max(reaches[3] - begin, 0), 4))  # what is not used costs nothing
    while True:
        turns = (np.empty(len(rows)), np.empty(len(rows), dtype=np.int64), start_s, end_s)
        begin, n_rows = _groups(fades, reaches, limits, begin, placed, turns, (held, told, rows, n_rows))
        if begin >= reaches[3]:
            return rows[:n_rows]
        rows = np.concatenate((rows, np.empty(rows.shape)))


@bare_kernel
def _groups(fades, reaches, limits, begin, placed, turns, done):  # type: ignore[no-untyped-def]
    """Work on one group after another; gives the first for which room is short, and how many rows there are.

    In here nobody counts who holds an array, which would take longer than the work.
    """
    (n_channels, n_lines), n_modulations, last = limits[0].shape, len(limits[3]), reaches[3]
    held, told, rows, n_rows = done
    while begin < last:
        end, n_turns = _end_of_group(reaches, begin), 0
        _place(fades, begin, end, placed)
        most = 8 * (end - begin) * n_lines  # turns of one modulation: each fade begins and ends to cover
        for channel in range(n_channels):
            for m in range(n_modulations - 1, -1, -1):
                if n_turns + most > len(turns[0]):
                    return begin, n_rows
                before = n_turns
                n_turns = _follow(fades[5], begin, end, placed, limits, channel, m, turns, n_turns)
                if n_turns == before:  # thresholds rise with the modulation: a lower one is not lost either
                    break
        if n_rows + n_turns > len(rows):
            return begin, n_rows
        n_rows = _tell(turns, n_turns, held, told, rows, n_rows)
        begin = end
    return begin, n_rows


@bare_inlined
def _end_of_group(reaches, begin):  # type: ignore[no-untyped-def]
    """First fade that begins after all before it have ended, and every hold with them."""
    latest_end_s, earliest_start_s, _, last, hold_s = reaches
    end = begin + 1
    while end < last and earliest_start_s[end] <= latest_end_s[end - 1] + hold_s:
        end += 1
    return end


@bare_kernel
def _largest_group(reaches):  # type: ignore[no-untyped-def]
    begin, last, largest = reaches[2], reaches[3], 0
    while begin < last:
        end = _end_of_group(reaches, begin)
        largest, begin = max(largest, end - begin), end
    return largest


@bare_inlined
def _place(fades, begin, end, placed):  # type: ignore[no-untyped-def]
    """Closest approach (a power) and its time of each fade of a group on each line, and 1/speed."""
    (time, impact, speed, dx, dy, _), (across, centre, slowness, _, _, _) = fades, placed
    for e in range(begin, end):
        slowness[e - begin] = 1.0 / speed[e]
        for line in range(dx.shape[1]):
            across[e - begin, line] = (impact[e] + dy[e, line]) ** 2
            centre[e - begin, line] = time[e] - dx[e, line] * slowness[e - begin]


@bare_inlined
def _follow(kind, begin, end, placed, limits, channel, m, turns, n_turns):  # type: ignore[no-untyped-def]
    """Put the turns of one modulation of a channel in; gives how many there are then."""
    if end - begin == 1:
        return _follow_one(kind[begin], placed, limits, channel, m, turns, n_turns)
    return _follow_many(kind[begin:end], placed, limits, channel, m, turns, n_turns)


@bare_inlined
def _follow_one(kind, placed, limits, channel, m, turns, n_turns):  # type: ignore[no-untyped-def]
    """Of one fade by itself: lost while all lines are below ``down``, and on until one is above ``up``."""
    (across, centre, slowness, _, _, _), (usable, down, up, hold) = placed, limits
    lost_s, whole_s, back_s = -np.inf, np.inf, np.inf
    for line in range(usable.shape[1]):
        if usable[channel, line]:
            deep = down[kind, channel, line, m] - across[0, line]
            if deep <= 0.0:
                return n_turns
            half = np.sqrt(deep) * slowness[0]
            lost_s, whole_s = max(lost_s, centre[0, line] - half), min(whole_s, centre[0, line] + half)
            half = np.sqrt(up[kind, channel, line, m] - across[0, line]) * slowness[0]
            back_s = min(back_s, centre[0, line] + half)
    if lost_s == -np.inf or lost_s >= whole_s:
        return n_turns
    bit = DISPERSIVE_BIT if kind == DISPERSIVE else FLAT_BIT
    n_turns = _turn(turns, n_turns, lost_s, channel, m, bit)
    return _turn(turns, n_turns, back_s + hold[m], channel, m, 0)


@bare_inlined
def _follow_many(kind, placed, limits, channel, m, turns, n_turns):  # type: ignore[no-untyped-def]
    """Of fades that may meet: which lines are covered, and by how many fades of which kind."""
    edges, codes, covers = placed[3:]
    n_lines, n_edges = _edges(kind, placed, limits, channel, m)
    below_down, below_up, flat, dispersive = 0, 0, 0, 0  # lines below, and fades below ``up`` on any line
    lost, release_s, cause, held, i = False, np.inf, 0, 0, 0
    while i < n_edges or release_s < np.inf:
        now = min(edges[i] if i < n_edges else np.inf, release_s)
        if release_s <= now:
            lost, release_s = False, np.inf
        while i < n_edges and edges[i] == now:
            step, deep, line = 1 if codes[i] & 1 else -1, (codes[i] >> 1) & 1, codes[i] >> 3
            before = covers[deep, line] > 0
            covers[deep, line] += step
            change = (covers[deep, line] > 0) - before
            if deep:
                below_down += change
            else:
                below_up += change
                if codes[i] & 4:
                    dispersive += step
                else:
                    flat += step
            if below_down == n_lines:
                lost, release_s = True, np.inf
            elif lost and below_up == n_lines:
                release_s = np.inf
            elif lost and release_s == np.inf:
                lost = limits[3][m] > 0.0
                release_s = now + limits[3][m] if lost else np.inf
            if flat > 0 or dispersive > 0:
                cause = (FLAT_BIT if flat > 0 else 0) | (DISPERSIVE_BIT if dispersive > 0 else 0)
            i += 1
        if (cause if lost else 0) != held:
            held = cause if lost else 0
            n_turns = _turn(turns, n_turns, now, channel, m, held)
    return n_turns


@bare_inlined
def _edges(kind, placed, limits, channel, m):  # type: ignore[no-untyped-def]
    """Usable lines, and times when fades begin or end to cover them, in order of time.

    The code of each is line << 3 | dispersive << 2 | below_down << 1 | start: each fade covers a line below
    ``up`` for a span, and below ``down`` for a span within it.
    """
    (across, centre, slowness, edges, codes, _), (usable, down, up, _) = placed, limits
    n_lines, n = 0, 0
    for line in range(usable.shape[1]):
        n_lines += usable[channel, line]
    for e in range(len(kind)):
        for line in range(usable.shape[1]):
            for deep in range(2 if usable[channel, line] else 0):
                limit = down[kind[e], channel, line, m] if deep else up[kind[e], channel, line, m]
                if limit > across[e, line]:
                    half = np.sqrt(limit - across[e, line]) * slowness[e]
                    code = line << 3 | (4 if kind[e] == DISPERSIVE else 0) | deep << 1
                    _insert(edges, codes, n, centre[e, line] - half, code | 1)
                    _insert(edges, codes, n + 1, centre[e, line] + half, code)
                    n += 2
    return n_lines, n


@bare_inlined
def _turn(turns, n_turns, time_s, channel, m, held):  # type: ignore[no-untyped-def]
    """Put a turn in, those from before the span at its start, none from its end on; gives the new number."""
    turn_s, codes, start_s, end_s = turns
    if time_s >= end_s:
        return n_turns
    _insert(turn_s, codes, n_turns, max(time_s, start_s), channel << 16 | m << 8 | held)
    return n_turns + 1


@bare_inlined
def _insert(times, codes, n, time, code):  # type: ignore[no-untyped-def]
    """Insert into the first n, after all of the same time: fades come in order, so it is never far."""
    while n > 0 and times[n - 1] > time:
        times[n], codes[n] = times[n - 1], codes[n - 1]
        n -= 1
    times[n], codes[n] = time, code


@bare_inlined
def _tell(turns, n_turns, held, told, rows, n_rows):  # type: ignore[no-untyped-def]
    """Rows of what the turns make of their channels: those of one instant give one change, or none."""
    (turn_s, codes, _, _), i = turns, 0
    while i < n_turns:
        now, channel = turn_s[i], codes[i] >> 16
        while i < n_turns and turn_s[i] == now and codes[i] >> 16 == channel:
            held[channel, (codes[i] >> 8) & 255] = codes[i] & 255
            i += 1
        level, cause = 0, 0
        for m in range(held.shape[1]):
            level += held[channel, m] == 0
            cause |= held[channel, m]
        if level != told[channel, 0] or cause != told[channel, 1]:
            told[channel, 0], told[channel, 1] = level, cause
            rows[n_rows, 0], rows[n_rows, 1], rows[n_rows, 2], rows[n_rows, 3] = now, channel, level, cause
            n_rows += 1
    return n_rows
