"""Draws the multipath fades of one hop over a block, all its lines at once."""

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from hopyears.models.air import fade_shape
from hopyears.models.air.receiver_lines import LineSet
from hopyears.models.basics.arrays import Bools, Floats
from hopyears.models.basics.kernel import bare_kernel, inlined, kernel
from hopyears.sim.multipath.night_loops import SLOT_S
from hopyears.sim.streams import Streams, keyed_word, normals, stirred, stirred_uniform

FLAT, FLAT_WORST_MONTH, DISPERSIVE = 0, 1, 2
"""Kinds of fades: each kind has thresholds of its own."""

N_KINDS: Final = 3

_SHELLS: Final = np.array([0.0, *(2.0**power for power in range(-4, 2))])
"""Closest approaches are drawn shell by shell, so that a higher threshold adds fades and moves none."""

_STRIDE: Final = 1 << 8
"""Numbered draws of one fade: gap, approach, two of the pace, and two of each other line's displacement."""


class Activity(Protocol):
    """When a hop may fade (``nights.HopActivity``)."""

    @property
    def total(self) -> float:
        """Sum of the occurrence of all hours."""

    def placed(self, place: Floats) -> tuple[Floats, Bools]:
        """Times of places in that sum [s], and whether each lies in the worst month of its year."""


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
    activity: Activity,
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
        Uses ("fades", hop, kind, line).
    hop_id : str
    activity : Activity
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
    tops = np.sqrt(np.array([flat_top, dispersive_top]))
    names = [("fades", hop_id, kind, line) for kind in ("flat", "dispersive") for line in lines.ids]
    total = activity.total
    density = float(fade_shape.approach_density_per_s(total, duration_s)) * SLOT_S
    drawn = _approaches(streams.keys(names), tops, density)
    time_s, worst = activity.placed(drawn[0] * total)
    fades = _borne(drawn, time_s, worst, lines.factors, tops, duration_s)
    order = np.argsort(fades[0], kind="stable")
    return FadeEvents(*_in_order(fades, order, tops.max()))


@kernel
def _approaches(keys, tops, density):  # type: ignore[no-untyped-def]
    """Closest approaches of all lines that may reach the tops, shell by shell, flat ones first.

    Parameters
    ----------
    keys : uint64 array, shape (2 n_lines,)
    tops : array, shape (2,)
        Of flat and dispersive fades (relative amplitude).
    density : float
        Fades expected per unit of closest approach, both signs.

    Returns
    -------
    place : array, shape (n,)
        Where in the block's activity, 0 to 1.
    impact : array, shape (n,)
    draws : uint64 array, shape (n, 2)
        Key of the fade's draws, half way (``streams.stirred``), and the number of the first.
    row : int array, shape (n,)
        Which of the keys.
    """
    n_lines, n = len(keys) // 2, 0
    room = 64 + int(2.0 * density * n_lines * (_outer(tops[0]) + _outer(tops[1])) * 1.1)
    place, impact = np.empty(room), np.empty(room)
    draws, row_of = np.empty((room, 2), np.uint64), np.empty(room, np.int64)
    for row in range(len(keys)):
        outer, shell = _outer(tops[row // n_lines]), 0
        while _SHELLS[shell] < outer:
            low, width = _SHELLS[shell], _SHELLS[shell + 1] - _SHELLS[shell]
            half_way, number = stirred(keyed_word(keys[row], shell)), 0
            at = -np.log(stirred_uniform(half_way, 0)) / (2.0 * density * width)
            while at < 1.0:
                if n == len(place):
                    place, impact = np.concatenate((place, place)), np.concatenate((impact, impact))
                    draws, row_of = np.concatenate((draws, draws)), np.concatenate((row_of, row_of))
                signed = 2.0 * stirred_uniform(half_way, number + 1) - 1.0
                place[n], impact[n] = at, np.copysign(low + width * abs(signed), signed)
                draws[n, 0], draws[n, 1], row_of[n] = half_way, number, row
                n, number = n + 1, number + _STRIDE
                at -= np.log(stirred_uniform(half_way, number)) / (2.0 * density * width)
            shell += 1
    return place[:n], impact[:n], draws[:n], row_of[:n]


@inlined
def _outer(top):  # type: ignore[no-untyped-def]
    """Outer limit of the shells that a top needs; 0 for none."""
    shell = 0
    while _SHELLS[shell] < top:
        shell += 1
    return _SHELLS[shell]


@kernel
def _borne(drawn, time_s, worst, factors, tops, duration_s):  # type: ignore[no-untyped-def]
    """Columns of ``FadeEvents`` but its last two; without fades of an earlier line or that reach no top."""
    n, n_lines = len(time_s), factors.shape[1]
    fades = (
        (np.empty(n), np.empty(n), np.empty(n)),
        (np.empty((n, n_lines)), np.empty((n, n_lines)), np.empty(n, np.int8)),
    )
    outer = (_outer(tops[0]), _outer(tops[1]))
    kept = _bear(drawn, time_s, worst, factors, (tops, outer), duration_s, np.empty((n_lines, 2)), fades)
    (time, impact, speed), (dx, dy, kind) = fades
    return time[:kept], impact[:kept], speed[:kept], dx[:kept], dy[:kept], kind[:kept]


@bare_kernel
def _bear(drawn, time_s, worst, factors, limits, duration_s, parts, fades):  # type: ignore[no-untyped-def]
    """Fill in the columns of ``_borne``, with room for parts of normals; gives how many fades there are."""
    (_, approach, draws, row), (tops, outers), sd = drawn, limits, fade_shape.LOG_SPEED_SD
    ((time, impact, speed), (dx, dy, kind)), n_others, kept = fades, factors.shape[3], 0
    usual = np.pi / (2.0 * duration_s) * np.exp(0.5 * sd * sd)
    half_power = np.sqrt(0.5)  # standard deviation of each part of a standard complex normal
    for i in range(len(row)):
        half_way, number = draws[i, 0], np.int64(draws[i, 1])
        dispersive, anchor = row[i] // (n_others + 1), row[i] % (n_others + 1)
        factor, b, top = factors[dispersive, anchor, 1 if worst[i] else 0], approach[i], tops[dispersive]
        outer = outers[1] if dispersive else outers[0]
        dx[kept, anchor], dy[kept, anchor] = 0.0, 0.0
        reaches, elsewhere, j = abs(b) < top, False, 0
        while j < n_others and not elsewhere:  # earlier lines come first: most fades are left to those
            parts[j, 0], parts[j, 1] = normals(half_way, number + 4 + 2 * j)
            x, y = 0.0, 0.0
            for k in range(j + 1):
                x += half_power * factor[j, k] * parts[k, 0]
                y += half_power * factor[j, k] * parts[k, 1]
            line = j if j < anchor else j + 1
            dx[kept, line], dy[kept, line] = x, y
            closest = abs(b + y)
            reaches = reaches or closest < top
            elsewhere, j = line < anchor and closest < outer, j + 1
        if reaches and not elsewhere:
            pace, _ = normals(half_way, number + 2)
            time[kept], impact[kept], speed[kept] = time_s[i], b, usual * np.exp(-sd * pace)
            kind[kept] = DISPERSIVE if dispersive else FLAT_WORST_MONTH if worst[i] else FLAT
            kept += 1
    return kept


@kernel
def _in_order(fades, order, top):  # type: ignore[no-untyped-def]
    """All columns of ``FadeEvents`` in the order of time."""
    n, n_channels = len(order), fades[3].shape[1]
    time_s, impact, speed, kind = np.empty(n), np.empty(n), np.empty(n), np.empty(n, np.int8)
    dx, dy = np.empty((n, n_channels)), np.empty((n, n_channels))
    latest, earliest, reach = np.empty(n), np.empty(n), np.empty(n)
    for i in range(n):
        row, most = order[i], 0.0
        time_s[i], impact[i], speed[i], kind[i] = fades[0][row], fades[1][row], fades[2][row], fades[5][row]
        for channel in range(n_channels):
            dx[i, channel], dy[i, channel] = fades[3][row, channel], fades[4][row, channel]
            most = max(most, abs(dx[i, channel]))
        reach[i] = (top + most) / speed[i]
        latest[i] = max(time_s[i] + reach[i], latest[i - 1] if i else -np.inf)
    for i in range(n - 1, -1, -1):
        earliest[i] = min(time_s[i] - reach[i], earliest[i + 1] if i + 1 < n else np.inf)
    return time_s, impact, speed, dx, dy, kind, latest, earliest
