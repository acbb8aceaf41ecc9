"""From rain, fades and equipment to the history of one hop.

Equipment and fading are judged together: each equipment state has thresholds of its own, and the rain
and the fades of its stretch of time are read against those. The joint states found are few; what each
means (capacity, causes) is computed once per state.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.equipment.link_states import LinkState
from hopyears.models.judging.cause import Cause
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.hops.hop_kernel import merge_changes, rain_level_changes, unpacked_levels
from hopyears.sim.hops.hop_thresholds import HopThresholds, StateThresholds
from hopyears.sim.multipath.fade_kernel import change_points
from hopyears.sim.multipath.fades import FadeEvents
from hopyears.sim.rain.rain_kernel import RainKnots


@dataclass(frozen=True)
class EquipmentSegments:
    """Equipment of one hop over a block: from ``start_s[i]`` on, ``states[state[i]]`` is in force."""

    start_s: Floats
    state: Ints
    states: Sequence[LinkState]


def hop_history(
    thresholds: HopThresholds,
    equipment: EquipmentSegments,
    rain: RainKnots | None,
    fades: FadeEvents | None,
    duration_s: float,
) -> HopHistory:
    """History of one hop from its equipment, its rain and its fades.

    Parameters
    ----------
    thresholds : HopThresholds
        Of the hop; gives the thresholds of any equipment state.
    equipment : EquipmentSegments
    rain : RainKnots or None
        Raw attenuation; None for a dry block (or rain switched off).
    fades : FadeEvents or None
        None where the hop has no multipath.
    duration_s : float
        Length of the block [s].
    """
    design = thresholds.design
    ends = np.append(equipment.start_s[1:], duration_s)
    tables = [thresholds.of(state) for state in equipment.states]
    rain_parts, fade_parts = list[Floats](), list[Floats]()
    for start_s, end_s, row in zip(equipment.start_s, ends, equipment.state, strict=True):
        if rain is not None and rain.time_s.size:
            rain_parts.append(_rain_changes(rain, tables[row], start_s, end_s))
        if fades is not None and fades.time_s.size:
            fade_parts.append(_fade_changes(fades, tables[row], start_s, end_s))
    time_s, state, joint = merge_changes(
        equipment.start_s,
        equipment.state,
        _one_after_another(rain_parts, 3),
        _one_after_another(fade_parts, 4),
        design.n_channel_directions,
        len(design.steps),
    )
    stuck = np.array([each.stuck for each in equipment.states], dtype=np.int64)
    return _history(thresholds, tables, stuck, time_s, state, joint)


def _one_after_another(parts: Sequence[Floats], width: int) -> Floats:
    """Rows of all parts; of one alone, or of none, without a copy."""
    return np.concatenate(parts) if len(parts) > 1 else parts[0] if parts else np.empty((0, width))


class FadeFree:
    """Histories of one hop on which no rain falls and no beam bends, by its equipment alone.

    What a state of the equipment leaves is remembered, because states come back in every history.
    """

    def __init__(self, thresholds: HopThresholds) -> None:
        self._thresholds = thresholds
        self._known: dict[LinkState, tuple[Floats, Ints]] = {}
        self._of_levels: dict[tuple[bytes, tuple[int, int]], tuple[Floats, Ints]] = {}

    def history(self, equipment: EquipmentSegments) -> HopHistory:
        """What ``hop_history`` gives without rain and fades, but for the levels of channels."""
        capacity, causes = map(np.concatenate, zip(*map(self.alone, equipment.states), strict=True))
        return HopHistory(equipment.start_s, equipment.state.astype(np.int32), capacity, causes)

    def alone(self, state: LinkState) -> tuple[Floats, Ints]:
        """Capacity, shape (1, 2), and causes, shape (1,), of a hop that is in one state throughout."""
        if state not in self._known:
            levels = self._thresholds.ceiling(state)
            key = (levels.tobytes(), state.stuck)
            if key not in self._of_levels:
                stuck, any_cause = np.array([state.stuck]), np.full(1, -1)
                self._of_levels[key] = _judged(self._thresholds, levels[None, :], stuck, any_cause)
            capacity, told = self._of_levels[key]
            self._known[state] = capacity, told & np.bitwise_or.reduce(state.causes, axis=None)
        return self._known[state]


def _rain_changes(rain: RainKnots, table: StateThresholds, start_s: float, end_s: float) -> Floats:
    changes: Floats = rain_level_changes(
        rain.time_s,
        rain.attenuation_db,
        rain.window_start,
        start_s,
        end_s,
        table.rain_down_db,
        table.rain_up_db,
    )
    return changes[np.argsort(changes[:, 0], kind="stable")]


def _fade_changes(fades: FadeEvents, table: StateThresholds, start_s: float, end_s: float) -> Floats:
    if table.fades is None or not table.ceiling.any():
        return np.empty((0, 4))
    return change_points(fades, table.fades, start_s, end_s).rows


def _history(
    thresholds: HopThresholds,
    tables: Sequence[StateThresholds],
    stuck: Ints,
    time_s: Floats,
    state: NDArray[np.int32],
    joint: NDArray[np.uint64],
) -> HopHistory:
    design = thresholds.design
    n, m = design.n_channel_directions, len(design.steps)
    equipment = joint[:, 0].astype(np.int64)
    ceiling = np.array([table.ceiling for table in tables])[equipment]
    rain, fades, blame = (unpacked_levels(joint[:, column::3], n) for column in (1, 2, 3))
    levels = np.minimum(np.minimum(rain, fades), ceiling)
    causes = _causes(tables, equipment, ceiling > 0, rain, fades, blame, m)
    return HopHistory(time_s, state, *_judged(thresholds, levels, stuck[equipment], causes), levels)


def _judged(thresholds: HopThresholds, levels: Ints, stuck: Ints, causes: Ints) -> tuple[Floats, Ints]:
    """Capacity of states with these levels, and their causes, none where nothing is missing."""
    capacity = thresholds.design.capacity_of_mbit_s(levels, stuck if stuck.any() else None)
    return capacity, np.where((capacity >= thresholds.full_mbit_s * (1.0 - 1e-12)).all(axis=1), 0, causes)


def _causes(
    tables: Sequence[StateThresholds],
    equipment: Ints,
    usable: Bools,
    rain: Ints,
    fades: Ints,
    blame: Ints,
    n_levels: int,
) -> Ints:
    """Flags of all that holds any channel-direction down, shape (n_states,)."""
    by_rain, by_fades = usable & (rain < n_levels), usable & (fades < n_levels)
    flags = np.where(by_rain, int(Cause.RAIN), 0)
    flags |= np.where(by_fades & (blame & 1 > 0), int(Cause.MULTIPATH), 0)
    flags |= np.where(by_fades & (blame & 2 > 0), int(Cause.DISPERSION), 0)
    limited_rain = np.array([table.cross_polar_rain for table in tables])[equipment]
    limited_fades = np.array([table.cross_polar_fades for table in tables])[equipment]
    lost = np.minimum(rain, n_levels - 1)[:, :, None]
    crossed = by_rain & np.take_along_axis(limited_rain, lost, axis=2)[:, :, 0]
    lost = np.minimum(fades, n_levels - 1)[:, :, None]
    crossed |= by_fades & (blame & 1 > 0) & np.take_along_axis(limited_fades, lost, axis=2)[:, :, 0]
    flags |= np.where(crossed, int(Cause.CROSS_POLAR), 0)
    flags |= np.array([table.causes for table in tables])[equipment]
    joined: Ints = np.bitwise_or.reduce(flags.astype(np.int64), axis=1)
    return joined
