"""Draws the multipath fades of one hop over a block, all its lines at once."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from models import fade_shape
from models.receiver_lines import LineSet, displacement_factor
from sim.nights import SLOT_S, HopActivity
from sim.streams import Streams

FLAT, FLAT_WORST_MONTH, DISPERSIVE = 0, 1, 2
"""Kinds of fades: each kind has thresholds of its own."""

N_KINDS: Final = 3

_SHELLS: Final = (0.0, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0)
"""Closest approaches are drawn shell by shell, so that a higher threshold adds fades and moves none."""

_FloatArray = NDArray[np.float64]


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

    time_s: _FloatArray
    impact: _FloatArray
    speed_per_s: _FloatArray
    dx: _FloatArray
    dy: _FloatArray
    kind: NDArray[np.int8]
    latest_end_s: _FloatArray
    earliest_start_s: _FloatArray


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
    cumulative = np.concatenate([[0.0], np.cumsum(density)])
    parts = []
    for name, constants, top in (
        ("flat", lines.flat, flat_top),
        ("dispersive", lines.dispersive, dispersive_top),
    ):
        if top <= 0.0 or cumulative[-1] <= 0.0:
            continue
        outer = next(edge for edge in _SHELLS[1:] if edge >= min(np.sqrt(top), _SHELLS[-1]))
        for anchor, line in enumerate(lines.ids):
            factor = displacement_factor(constants, anchor)
            for shell in range(_SHELLS.index(outer)):
                random = streams.generator("fades", hop_id, name, line, shell)
                drawn = _draw_shell(random, cumulative, activity, shell, factor, duration_s)
                parts.append(_kept(drawn, anchor, outer, np.sqrt(top), name == "dispersive"))
    return _joined(parts, len(lines.ids), np.sqrt(max(flat_top, dispersive_top)))


_Part = tuple[_FloatArray, _FloatArray, _FloatArray, _FloatArray, NDArray[np.int8]]
"""time, impact, speed, displacements (complex as two planes, shape (2, n, lines)), kind."""


def _draw_shell(
    random: np.random.Generator,
    cumulative: _FloatArray,
    activity: HopActivity,
    shell: int,
    factor: _FloatArray,
    duration_s: float,
) -> _Part:
    low, high = _SHELLS[shell], _SHELLS[shell + 1]
    total = cumulative[-1] * 2.0 * (high - low)
    n = int(random.poisson(total))
    gaps = np.cumsum(random.standard_exponential(n + 1))
    place = gaps[:-1] / gaps[-1] * cumulative[-1]
    slot = np.clip(np.searchsorted(cumulative, place, side="right") - 1, 0, len(activity.start_s) - 1)
    within = (place - cumulative[slot]) / (cumulative[slot + 1] - cumulative[slot])
    time = activity.start_s[slot] + SLOT_S * within
    signed = random.uniform(-1.0, 1.0, n)
    impact = np.copysign(low + (high - low) * np.abs(signed), signed)
    sd = fade_shape.LOG_SPEED_SD
    slowness = 2.0 * duration_s / np.pi * np.exp(sd * random.standard_normal(n) - 0.5 * sd * sd)
    innovations = random.standard_normal((len(factor), 2, n)) * np.sqrt(0.5)
    displacement = np.tensordot(factor, innovations, axes=(1, 0)).transpose(1, 2, 0)
    kind = activity.worst_month[slot].astype(np.int8)
    return time, impact, 1.0 / slowness, displacement, kind


def _kept(part: _Part, anchor: int, outer: float, top: float, dispersive: bool) -> _Part:
    """Fades that no earlier line has within the outer edge, and that reach the top on some line."""
    time, impact, speed, others, kind = part
    displacement = np.insert(others, anchor, 0.0, axis=2)
    closest = np.abs(impact[:, None] + displacement[1])
    keep = (closest.min(axis=1) < top) & np.all(closest[:, :anchor] >= outer, axis=1)
    if dispersive:
        kind = np.full(len(kind), DISPERSIVE, dtype=np.int8)
    return time[keep], impact[keep], speed[keep], displacement[:, keep], kind[keep]


def _joined(parts: list[_Part], n_lines: int, top: float) -> FadeEvents:
    empty: _Part = (
        np.empty(0),
        np.empty(0),
        np.empty(0),
        np.empty((2, 0, n_lines)),
        np.empty(0, dtype=np.int8),
    )
    time, impact, speed, displacement, kind = (
        np.concatenate(columns, axis=1 if columns[0].ndim == 3 else 0)
        for columns in zip(*(parts or [empty]), strict=True)
    )
    order = np.argsort(time, kind="stable")
    time, impact, speed, kind = time[order], impact[order], speed[order], kind[order]
    dx, dy = np.ascontiguousarray(displacement[0][order]), np.ascontiguousarray(displacement[1][order])
    reach = (top + np.abs(dx).max(axis=1, initial=0.0)) / speed
    latest = np.maximum.accumulate(time + reach)
    earliest = np.minimum.accumulate((time - reach)[::-1])[::-1]
    return FadeEvents(time, impact, speed, dx, dy, kind, latest, earliest)
