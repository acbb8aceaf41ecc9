"""From fades to changes of modulation: when each channel of a hop loses and regains each modulation."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sim.fades import N_KINDS, FadeEvents

FLAT_BIT: Final = 1
DISPERSIVE_BIT: Final = 2

_FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Thresholds:
    """What one equipment state makes of fades.

    Parameters
    ----------
    usable : bool array, shape (n_channels, n_lines)
        Which lines each channel-direction can receive on; the best of them serves it.
    down, up : array, shape (3, n_channels, n_lines, n_modulations)
        Raw levels x, by kind of fade: a line is lost to a modulation below ``down`` and regained above
        ``up``, which is at least ``down``. Neither may fall from one modulation to the next (lowest first).
    hold_s : array, shape (n_modulations,)
        Time that a modulation stays away after its line is back [s], at least 0.

    Raises
    ------
    ValueError
        If shapes do not fit or the order above is broken.
    """

    usable: NDArray[np.bool_]
    down: _FloatArray
    up: _FloatArray
    hold_s: _FloatArray

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

    time_s: _FloatArray
    channel: NDArray[np.int64]
    level: NDArray[np.int64]
    cause: NDArray[np.int64]


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
    A fade takes a modulation from a channel when all its usable lines are below ``down`` at once, until the
    first is above ``up``, and for the hold after. A fade that began before the span counts as if the state
    had been in force then.
    """
    reach = float(thresholds.hold_s.max(initial=0.0))
    first = int(np.searchsorted(events.latest_end_s, start_s - reach, side="right"))
    last = int(np.searchsorted(events.earliest_start_s, end_s, side="left"))
    if last <= first:
        nothing = np.empty(0, dtype=np.int64)
        return ChangePoints(np.empty(0), nothing, nothing, nothing)
    span = slice(first, last)
    columns = _change_points(
        events.time_s[span],
        events.impact[span],
        events.speed_per_s[span],
        events.dx[span],
        events.dy[span],
        events.kind[span],
        thresholds.usable,
        thresholds.down,
        thresholds.up,
        thresholds.hold_s,
        start_s,
        end_s,
    )
    return ChangePoints(*columns)


@njit(cache=True, error_model="numpy", nogil=True)
def _change_points(  # type: ignore[no-untyped-def]
    time, impact, speed, dx, dy, kind, usable, down, up, hold, start, end
):
    n_channels = usable.shape[0]
    out_time = np.empty(256)
    out_code = np.empty((256, 3), dtype=np.int64)
    n_out = 0
    for channel in range(n_channels):
        lines = np.nonzero(usable[channel])[0]
        if len(lines) == 0:
            continue
        edges, codes, n_edges = _edges(
            time, impact, speed, dx, dy, kind, lines, down[:, channel], up[:, channel], hold, start, end
        )
        order = np.argsort(edges[:n_edges])
        counts = np.zeros((len(hold), 2), dtype=np.int64)
        level, cause = len(hold), 0
        i = 0
        while i < n_edges:
            now = edges[order[i]]
            while i < n_edges and edges[order[i]] == now:
                code = codes[order[i]]
                counts[code >> 2, (code >> 1) & 1] += 1 if code & 1 else -1
                i += 1
            if now >= end:
                break
            new_level, new_cause = _state(counts)
            if new_level != level or new_cause != cause:
                level, cause = new_level, new_cause
                if n_out == len(out_time):
                    out_time = np.concatenate((out_time, np.empty(n_out)))
                    out_code = np.concatenate((out_code, np.empty((n_out, 3), dtype=np.int64)))
                out_time[n_out] = now
                out_code[n_out, 0], out_code[n_out, 1], out_code[n_out, 2] = channel, level, cause
                n_out += 1
    order = np.argsort(out_time[:n_out], kind="mergesort")
    result = out_code[order]
    return out_time[order], result[:, 0].copy(), result[:, 1].copy(), result[:, 2].copy()


@njit(cache=True, error_model="numpy", nogil=True)
def _state(counts):  # type: ignore[no-untyped-def]
    """Level and causes of one channel from the fades that hold each of its modulations away."""
    level, cause = 0, 0
    for m in range(counts.shape[0]):
        if counts[m, 0] == 0 and counts[m, 1] == 0:
            level += 1
        if counts[m, 0] > 0:
            cause |= FLAT_BIT
        if counts[m, 1] > 0:
            cause |= DISPERSIVE_BIT
    return level, cause


@njit(cache=True, error_model="numpy", nogil=True)
def _edges(  # type: ignore[no-untyped-def]
    time, impact, speed, dx, dy, kind, lines, down, up, hold, start, end
):
    """Starts and ends of the spans in which fades hold modulations of one channel away.

    An edge's code is modulation * 4 + (2 if dispersive) + (1 if it is a start).
    """
    n_modulations = len(hold)
    edges = np.empty(256)
    codes = np.empty(256, dtype=np.int64)
    n = 0
    for e in range(len(time)):
        k = kind[e]
        for m in range(n_modulations - 1, -1, -1):
            begin, finish, back = -np.inf, np.inf, np.inf
            for line in lines:
                across = (impact[e] + dy[e, line]) ** 2
                below = down[k, line, m] - across
                if below <= 0.0:
                    finish = -np.inf
                    break
                centre = time[e] - dx[e, line] / speed[e]
                half = np.sqrt(below) / speed[e]
                begin = max(begin, centre - half)
                finish = min(finish, centre + half)
                back = min(back, centre + np.sqrt(up[k, line, m] - across) / speed[e])
            if begin >= finish:
                break  # thresholds do not rise towards lower modulations: none of those is lost either
            begin = max(begin, start)
            back = min(back + hold[m], end)
            if begin >= back:
                continue
            if n + 2 > len(edges):
                edges = np.concatenate((edges, np.empty(len(edges))))
                codes = np.concatenate((codes, np.empty(len(codes), dtype=np.int64)))
            code = m * 4 + (2 if k == 2 else 0)
            edges[n], codes[n] = begin, code + 1
            edges[n + 1], codes[n + 1] = back, code
            n += 2
    return edges, codes, n
