"""How long each hop's fades outlast the margin of each modulation, for comparison with the standards.

What is counted is fading alone, on nominal equipment, without the guard and the hysteresis of adaptive
modulation: the very figures that ``predict`` computes from the Recommendations.
"""

from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.calendar import MONTH_SECONDS, month_edges_s
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.radio.modulation import SwitchRule
from hopyears.sim.counting.keyed_table import Columns, KeyedTable
from hopyears.sim.counting.tally_rows import seconds_between
from hopyears.sim.hops.hop_kernel import merge_changes, rain_level_changes, unpacked_levels
from hopyears.sim.hops.hop_thresholds import HopThresholds, StateThresholds
from hopyears.sim.multipath.fade_kernel import Thresholds, change_points
from hopyears.sim.multipath.fades import FLAT_WORST_MONTH, FadeEvents
from hopyears.sim.rain.rain_kernel import RainKnots

FADING = Columns(("entity", "kind", "step"), ("seconds", "worst_month_s", "events", "long_events"))
"""Time beyond the margin of modulation ``step``; that of each year's worst month, as a share of that month
and summed over years as if all months were of the mean length; fades; fades of 10 s or longer. The worst
month of rain is the one that is worst at that very depth, so that the mean over years is what P.841 speaks of
(ITU-R P.581-2); of multipath, the one of most activity, whose law at every depth P.530 gives."""

RAIN, FLAT, DISPERSIVE, PROTECTED, CROSS_POLAR_RAIN = range(5)
"""Kinds: rain; flat and dispersive multipath of one receive line; multipath with the scheme's diversity; rain
that depolarises co-channel carriers beyond what a modulation stands, noise left out."""

LONG_S = 10.0
MONTH_S = SECONDS_PER_YEAR / 12.0

PLAIN = SwitchRule(guard_db=0.0, hysteresis_db=0.0, hold_s=0.0, interval_s=0.0)
"""No guard, no hysteresis, no hold: a modulation is lost exactly below its threshold."""


@dataclass(frozen=True)
class LevelHistory:
    """Usable modulations over a block: from ``time_s[i]`` on there are ``level[i]``; all before the first."""

    time_s: Floats
    level: Ints


def fading_rows(
    entity: int, plain: HopThresholds, rain: RainKnots | None, fades: FadeEvents | None, n_years: int
) -> KeyedTable:
    """Rows of ``FADING`` of one hop.

    Parameters
    ----------
    entity : int
        Number of the hop.
    plain : HopThresholds
        Of the hop, made with the rule ``PLAIN``.
    rain, fades
        What the hop met; None where it met none.
    n_years : int
        Length of the block.
    """
    table = plain.nominal
    n_levels = len(plain.design.steps)
    edges_s = month_edges_s(n_years)
    histories: list[tuple[int, LevelHistory]] = []
    most_active = np.zeros((n_years, 12), dtype=bool)
    if rain is not None and rain.time_s.size:
        limits = {RAIN: (table.rain_down_db[:1], table.rain_up_db[:1])}
        crossed = plain.cross_polar_rain_db()
        if crossed is not None:
            limits[CROSS_POLAR_RAIN] = (crossed[None, :], crossed[None, :])
        for kind, (down_db, up_db) in limits.items():
            histories.append((kind, _rain_history(rain, float(edges_s[-1]), down_db, up_db)))
    if fades is not None and fades.time_s.size and table.fades is not None:
        most_active = _most_active_months(fades, edges_s)
        for kind, thresholds in _line_thresholds(table.fades).items():
            points = change_points(fades, thresholds, 0.0, float(edges_s[-1]))
            histories.append((kind, LevelHistory(points.time_s, points.level)))
        histories.append((PROTECTED, _protected(plain, table, fades, float(edges_s[-1]))))
    rows = [
        row
        for kind, history in histories
        for row in _rows(
            entity,
            kind,
            history,
            min(n_levels, int(table.ceiling[0])),
            edges_s,
            None if kind in (RAIN, CROSS_POLAR_RAIN) else most_active,
        )
    ]
    keys = np.array([key for key, _ in rows], dtype=np.int64).reshape(-1, 3)
    values = np.array([value for _, value in rows], dtype=np.float64).reshape(-1, 4)
    return KeyedTable.collect(FADING, keys, values)


def _rain_history(rain: RainKnots, end_s: float, down_db: Floats, up_db: Floats) -> LevelHistory:
    knots = (rain.time_s, rain.attenuation_db, rain.window_start)
    changes = rain_level_changes(*knots, 0.0, end_s, down_db, up_db)
    return LevelHistory(changes[:, 0], changes[:, 2].astype(np.int64))


def _line_thresholds(fades: Thresholds) -> dict[int, Thresholds]:
    """The first receive line of the first channel alone, flat and dispersive fading apart."""
    line = int(np.flatnonzero(fades.usable[0])[0])
    usable = np.ones((1, 1), dtype=bool)

    def only(values: Floats, kinds: list[int]) -> Floats:
        chosen = np.zeros((3, 1, fades.usable.shape[1], values.shape[-1]))
        chosen[kinds, :, line] = values[kinds, :1, line]
        return chosen

    lines = np.zeros((1, fades.usable.shape[1]), dtype=bool)
    lines[0, line] = usable[0, 0]
    return {
        kind: Thresholds(lines, only(fades.down, kinds), only(fades.up, kinds), fades.hold_s)
        for kind, kinds in ((FLAT, [0, 1]), (DISPERSIVE, [2]))
    }


def _protected(plain: HopThresholds, table: StateThresholds, fades: FadeEvents, end_s: float) -> LevelHistory:
    """Best of the first channel and the protection channels, forward, every line in use."""
    design = plain.design
    assert table.fades is not None  # the hop has fades
    changes = change_points(fades, table.fades, 0.0, end_s).rows
    n = design.n_channel_directions
    start, nothing = np.zeros(1), np.empty((0, 3))
    time_s, state, joint = merge_changes(
        start, np.zeros(1, dtype=np.int64), nothing, changes, n, len(design.steps)
    )
    levels = unpacked_levels(joint[:, 2::3], n)
    serving = [0, *(channel.index for channel in design.channels if channel.is_protection)]
    return LevelHistory(time_s, levels[:, serving].max(axis=1)[state])


def _rows(
    entity: int, kind: int, history: LevelHistory, n_steps: int, edges_s: Floats, chosen: Bools | None
) -> list[tuple[tuple[int, int, int], tuple[float, float, float, float]]]:
    rows = []
    even = MONTH_S / MONTH_SECONDS
    for step in range(n_steps):
        lost = history.level <= step
        starts = lost & ~np.append(False, lost[:-1])
        ends = ~lost & np.append(False, lost[:-1])
        start_s, end_s = history.time_s[starts], history.time_s[ends]
        if start_s.size > end_s.size:
            end_s = np.append(end_s, edges_s[-1])
        keep = end_s > start_s
        start_s, end_s = start_s[keep], end_s[keep]
        months = seconds_between(edges_s, start_s, end_s).reshape(-1, 12) * even
        length_s = end_s - start_s
        values = (
            float(length_s.sum()),
            float(months.max(axis=1).sum() if chosen is None else months[chosen].sum()),
            float(length_s.size),
            float(np.count_nonzero(length_s >= LONG_S)),
        )
        rows.append(((entity, kind, step), values))
    return rows


def _most_active_months(fades: FadeEvents, edges_s: Floats) -> Bools:
    """The month of most multipath activity of each year that has fades in it, shape (n_years, 12)."""
    time_s = fades.time_s[fades.kind == FLAT_WORST_MONTH]
    month = np.clip(np.searchsorted(edges_s, time_s, side="right") - 1, 0, edges_s.size - 2)
    fades_in = np.bincount(month, minlength=edges_s.size - 1).reshape(-1, 12)
    most = fades_in.max(axis=1, keepdims=True)
    chosen: Bools = (np.arange(12) == fades_in.argmax(axis=1)[:, None]) & (most > 0)
    return chosen
