"""Draws the multipath fades of one hop over a block, all its lines at once."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hopyears.models.air import fade_shape
from hopyears.models.air.receiver_lines import LineSet
from hopyears.models.basics.arrays import Bools, Floats
from hopyears.models.basics.kernel import bare_inlined, bare_kernel, kernel
from hopyears.sim.multipath.nights import SLOT_S, HopActivity
from hopyears.sim.streams import Streams

FLAT, FLAT_WORST_MONTH, DISPERSIVE = 0, 1, 2
"""Kinds of fades: each kind has thresholds of its own."""

N_KINDS: Final = 3

_SHELLS: Final = (0.0, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0)
"""Closest approaches are drawn shell by shell, so that a higher threshold adds fades and moves none."""

_HALF_POWER: Final = 0.5**0.5
"""Each of the two parts of a standard complex normal has this standard deviation."""


@dataclass(frozen=True)
class FadeEvents:
    """Fades of one hop, in the order of their times.

    Parameters
    ----------
    time_s : array, shape (n,)
        Time of closest approach of the line that bore the fade [s from the start of the block], increasing.
    impact : array, shape (n,)
        Closest approach b of that line (relative amplitude, free space 1; either sign).
    speed_per_s : array, shape (n,)
        v [1/s].
    dx, dy : array, shape (n, n_lines)
        Displacement of each line: its relative power is (v (t - time) + dx)^2 + (b + dy)^2.
    kind : int8 array, shape (n,)
        FLAT, FLAT_WORST_MONTH (in the worst month of its year) or DISPERSIVE.
    latest_end_s : array, shape (n,)
        Latest end of this fade and all before it [s], for finding those that reach into a span.
    earliest_start_s : array, shape (n,)
        Earliest start of this fade and all after it [s].
    """

    time_s: Floats
    impact: Floats
    speed_per_s: Floats
    dx: Floats
    dy: Floats
    kind: NDArray[np.int8]
    latest_end_s: Floats
    earliest_start_s: Floats


def draw_fades(
    streams: Streams,
    hop_id: str,
    activity: HopActivity,
    lines: LineSet,
    *,
    duration_s: float,
    flat_top: float,
    dispersive_top: float,
) -> FadeEvents:
    """Fades of one hop over a block that reach the tops on some line.

    Parameters
    ----------
    streams : Streams
        Uses ("fades", hop, kind, line, shell).
    hop_id : str
    activity : HopActivity
    lines : LineSet
    duration_s : float
        T_ref of ``fade_shape.mean_duration_s``.
    flat_top, dispersive_top : float
        Largest raw threshold x in use, for flat and for dispersive fades, 0 to 4; 0 draws none.

    Notes
    -----
    Fades are borne by each line in turn; one that an earlier line also has within the top is left to that
    line, so that each is counted once and every line alone has the law of a hop with one line.
    """
    for field, top in (("flat_top", flat_top), ("dispersive_top", dispersive_top)):
        if not 0.0 <= top <= fade_shape.LARGEST_RAW:
            raise ValueError(f"{field} is {top}; must be 0 to {fade_shape.LARGEST_RAW:g}")
    density = fade_shape.approach_density_per_s(activity.occurrence, duration_s) * SLOT_S
    cumulative = np.zeros(len(density) + 1)
    np.cumsum(density, out=cumulative[1:])
    parts = []
    for name, factors, top in (
        ("flat", lines.flat_factors, flat_top),
        ("dispersive", lines.dispersive_factors, dispersive_top),
    ):
        if top <= 0.0 or cumulative[-1] <= 0.0:
            continue
        n_shells = next(i for i in range(1, len(_SHELLS)) if _SHELLS[i] ** 2 >= top)
        for anchor, line in enumerate(lines.ids):
            for shell in range(n_shells):
                random = streams.generator("fades", hop_id, name, line, shell)
                drawn = _draw_shell(random, cumulative[-1], shell, len(lines.ids) - 1)
                limits = np.array([_SHELLS[shell], _SHELLS[shell + 1], _SHELLS[n_shells], np.sqrt(top)])
                slots = (cumulative, activity.start_s, activity.worst_month)
                kept = _borne(*drawn, *slots, factors[anchor], anchor, limits)
                parts.append((*kept, name == "dispersive"))
    return _joined(parts, len(lines.ids), duration_s, np.sqrt(max(flat_top, dispersive_top)))


_Drawn = tuple[Floats, Floats, Floats, Floats]
_Part = tuple[Floats, Floats, Floats, Floats, Floats, Bools, bool]
"""time, impact, logarithm of slowness, dx and dy, whether in the worst month; whether dispersive."""


def _draw_shell(random: np.random.Generator, total: float, shell: int, n_others: int) -> _Drawn:
    """Random numbers of one line and shell; ``total`` is the expected number of fades per unit of impact."""
    n = int(random.poisson(2.0 * total * (_SHELLS[shell + 1] - _SHELLS[shell])))
    gaps = random.standard_exponential(n + 1)
    signed = random.uniform(-1.0, 1.0, n)
    return gaps, signed, random.standard_normal(n), random.standard_normal((n_others, 2, n))


@kernel
def _borne(  # type: ignore[no-untyped-def]
    gaps, signed, log_slowness, normals, cumulative, slot_start, worst, factors, anchor, limits
):
    """Fades borne by one line in one shell, less those that an earlier line has or that reach no top."""
    n, n_lines = len(signed), len(normals) + 1
    time, impact, pace, in_worst = np.empty(n), np.empty(n), np.empty(n), np.empty(n, dtype=np.bool_)
    dx, dy = np.empty((n, n_lines)), np.empty((n, n_lines))
    kept = _bear(
        (gaps, signed, log_slowness, normals),
        (cumulative, slot_start, worst),
        factors,
        anchor,
        (limits[0], limits[1], limits[2], limits[3]),
        (time, impact, pace, dx, dy, in_worst),
    )
    return time[:kept], impact[:kept], pace[:kept], dx[:kept], dy[:kept], in_worst[:kept]


@bare_kernel
def _bear(drawn, slots, factors, anchor, limits, fades):  # type: ignore[no-untyped-def]
    """Fill in the columns of ``_borne``; gives how many fades there are."""
    gaps, signed, log_slowness, normals = drawn
    cumulative, slot_start, worst = slots
    low, high, outer, top = limits
    time, impact, pace, dx, dy, in_worst = fades
    scale = cumulative[-1] / gaps.sum()
    place, slot, kept = 0.0, 0, 0
    for i in range(len(signed)):
        place += gaps[i] * scale
        slot = min(_slot_of(cumulative, place, slot), len(slot_start) - 1)
        b = (low + (high - low) * abs(signed[i])) * (1.0 if signed[i] > 0.0 else -1.0)
        dx[kept, anchor], dy[kept, anchor] = 0.0, 0.0
        reaches, elsewhere = abs(b) < top, False
        for j in range(len(normals)):
            x, y = 0.0, 0.0
            for k in range(j + 1):
                factor = factors[1 if worst[slot] else 0, j, k]
                x += factor * normals[k, 0, i]
                y += factor * normals[k, 1, i]
            line = j if j < anchor else j + 1
            dx[kept, line], dy[kept, line] = x * _HALF_POWER, y * _HALF_POWER
            closest = abs(b + dy[kept, line])
            reaches = reaches or closest < top
            elsewhere = elsewhere or (line < anchor and closest < outer)
        if reaches and not elsewhere:
            within = (place - cumulative[slot]) / (cumulative[slot + 1] - cumulative[slot])
            time[kept] = slot_start[slot] + SLOT_S * within
            impact[kept], pace[kept], in_worst[kept] = b, log_slowness[i], worst[slot]
            kept += 1
    return kept


@bare_inlined
def _slot_of(cumulative, place, slot):  # type: ignore[no-untyped-def]
    """Last slot that begins at or before a place, from one that does on: sought in ever longer steps."""
    after, step = slot + 1, 1
    while after < len(cumulative) and cumulative[after] <= place:
        slot, after, step = after, after + step, 2 * step
    after = min(after, len(cumulative))
    while after - slot > 1:
        middle = (slot + after) // 2
        slot, after = (middle, after) if cumulative[middle] <= place else (slot, middle)
    return slot


def _joined(parts: list[_Part], n_lines: int, duration_s: float, top: float) -> FadeEvents:
    """All fades in the order of time."""
    none: _Part = (
        np.empty(0),
        np.empty(0),
        np.empty(0),
        np.empty((0, n_lines)),
        np.empty((0, n_lines)),
        np.empty(0, dtype=bool),
        False,
    )
    columns = list(zip(*(parts or [none]), strict=True))
    time, impact, pace, dx, dy, worst = (np.concatenate(column) for column in columns[:6])
    dispersive = np.repeat(columns[6], [len(part[0]) for part in parts or [none]])
    kind = np.where(dispersive, DISPERSIVE, np.where(worst, FLAT_WORST_MONTH, FLAT)).astype(np.int8)
    sd = fade_shape.LOG_SPEED_SD
    speed = np.pi / (2.0 * duration_s) * np.exp(0.5 * sd * sd - sd * pace)
    order = np.argsort(time, kind="stable")
    time, speed, dx = time[order], speed[order], dx[order]
    reach = (top + np.abs(dx).max(axis=1, initial=0.0)) / speed
    latest = np.maximum.accumulate(time + reach)
    earliest = np.minimum.accumulate((time - reach)[::-1])[::-1]
    return FadeEvents(time, impact[order], speed, dx, dy[order], kind[order], latest, earliest)
