"""Channels that protect each other: which of the traffic stays on a dead channel because a switch failed.

A hop with N working and M protection channels carries N streams. When the channel of a stream dies, the
receiving end moves it to a free channel that works, without a gap. The switch may fail on demand: the stream
then stays where it is until its channel is mended or somebody switches by hand.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from hopyears.models.equipment.plant import ChannelSwitch, Plant
from hopyears.models.equipment.working_time import HOUR_S
from hopyears.sim.equipment.draws import Draws, Purpose
from hopyears.sim.equipment.failure_log import Failures, TransmitterChanges, offsets

Change = tuple[float, int, int]
"""Time [s], channel, and by how much the number of its parts that are down changes."""


def switch_changes(plant: Plant, draws: Draws, failures: Failures, end_s: float) -> TransmitterChanges:
    """How many streams are stuck at each switch (in place of a chain) within a block; none before that."""
    rows: list[tuple[int, float, int]] = []
    for number, switch in enumerate(plant.switches):
        changes = _channel_changes(switch, failures)
        if changes:
            found = stuck_streams(changes, len(switch.channels), switch.working, _Hand(draws, number, switch))
            before = [stuck for time_s, stuck in found if time_s <= 0.0]
            if before and before[-1]:
                rows.append((number, 0.0, before[-1]))
            rows += [(number, time_s, stuck) for time_s, stuck in found if 0.0 < time_s < end_s]
    owner, time_s, stuck = (np.array([row[i] for row in rows]) for i in range(3))
    return TransmitterChanges(
        offsets(owner.astype(np.int64), len(plant.switches)),
        time_s.astype(np.float64),
        stuck.astype(np.int64),
    )


def _channel_changes(switch: ChannelSwitch, failures: Failures) -> list[Change]:
    """Changes of all channels of a switch, in order of time."""
    changes = [
        (float(time_s[row]), channel, step)
        for channel, parts in enumerate(switch.channels)
        for part in parts
        for row in failures.rows_of(part)
        if failures.affecting[row] and not failures.latent[row]
        for time_s, step in ((failures.failed_s, 1), (failures.mended_s, -1))
    ]
    return sorted(changes)


class _Hand:
    """Whether a switch fails on its demands, and how long it then takes to switch by hand."""

    def __init__(self, draws: Draws, number: int, switch: ChannelSwitch) -> None:
        self._draws, self._number, self._switch, self._demands = draws, number, switch, 0

    def __call__(self) -> float:
        """Time until the demanded change is made [s]: 0 where the switch works."""
        self._demands += 1
        draw = self._draws.uniform(self._number, Purpose.SWITCH, self._demands)
        if draw >= self._switch.switch_failure:
            return 0.0
        hand = self._draws.uniform(self._number, Purpose.MANUAL, self._demands)
        return self._switch.manual_switch.quantile_h(hand) * HOUR_S


@dataclass
class _Streams:
    """Streams on channels while time goes on."""

    down: list[int]
    channel_of: list[int]
    free_s: list[float]  # when a stuck stream is moved by hand; infinite while it is not stuck
    wait_s: Callable[[], float]

    @property
    def stuck(self) -> int:
        return sum(time_s < np.inf for time_s in self.free_s)

    def settle(self, now_s: float) -> None:
        """Move every stream on a dead channel to a free one that works, if the switch does."""
        for stream, channel in enumerate(self.channel_of):
            if not self.down[channel]:
                self.free_s[stream] = np.inf
        for stream, channel in enumerate(self.channel_of):
            by_hand = self.free_s[stream] <= now_s
            if by_hand:
                self.free_s[stream] = np.inf
            if not self.down[channel] or self.free_s[stream] < np.inf:
                continue
            target = next(self._free(), None)
            if target is None:
                continue
            wait_s = 0.0 if by_hand else self.wait_s()
            if wait_s > 0.0:
                self.free_s[stream] = now_s + wait_s
            else:
                self.channel_of[stream] = target

    def _free(self) -> Iterator[int]:
        """Channels that work and carry no stream."""
        return (c for c, down in enumerate(self.down) if not down and c not in self.channel_of)


def stuck_streams(
    changes: Sequence[Change], n_channels: int, n_streams: int, wait_s: Callable[[], float]
) -> list[tuple[float, int]]:
    """How many streams are stuck, in time.

    Parameters
    ----------
    changes : sequence of (time [s], channel, step)
        In order of time; a channel is down while the sum of its steps is above 0. All are up before.
    n_channels, n_streams : int
        Stream i begins on channel i.
    wait_s : callable
        Asked at each demand: 0 where the switch works, else how long until it is made by hand [s].

    Returns
    -------
    list of (time [s], number of streams)
        Changes, the number 0 before the first.
    """
    streams = _Streams([0] * n_channels, list(range(n_streams)), [np.inf] * n_streams, wait_s)
    found: list[tuple[float, int]] = []
    i = 0
    while i < len(changes) or streams.stuck:
        now_s = min([*streams.free_s, *(time_s for time_s, _, _ in changes[i : i + 1])])
        while i < len(changes) and changes[i][0] <= now_s:
            streams.down[changes[i][1]] += changes[i][2]
            i += 1
        streams.settle(now_s)
        if streams.stuck != (found[-1][1] if found else 0):
            found.append((now_s, streams.stuck))
    return found
