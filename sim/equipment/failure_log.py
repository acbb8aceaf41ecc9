"""What happened to the equipment in one block: frozen arrays, and state changes cut from them."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hopyears.models.basics.intervals import Intervals
from hopyears.sim.equipment.dispatch import Episode

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

UP, DOWN, MUTE = 0, 1, 2
"""States of a part: works; does not; a latent failure (it receives but could not transmit)."""

PHASES = (
    "unnoticed",
    "waiting for spare",
    "waiting for crew",
    "travelling",
    "waiting for weather",
    "mending",
)
"""Phases of a failure, in the order of the columns of ``FailureLog.phases_s``."""


@dataclass(frozen=True, eq=False)
class PlannedVisits:
    """Planned work that a crew came for, in the order of departure; times in seconds of the block.

    Parameters
    ----------
    site, crew : int arrays, shape (n,)
    left_s, start_s, end_s, home_s : float arrays, shape (n,)
        Crew sets off; work begins; work ends; crew is free again. May lie before 0 or beyond the end.
    down_until_s : float array, shape (n,)
        Traffic through the site is down from ``start_s`` to this.
    """

    site: Ints
    crew: Ints
    left_s: Floats
    start_s: Floats
    end_s: Floats
    home_s: Floats
    down_until_s: Floats

    def __post_init__(self) -> None:
        for value in vars(self).values():
            value.setflags(write=False)

    @classmethod
    def none(cls) -> "PlannedVisits":
        """No visit at all."""
        number, time_s = np.zeros(0, dtype=np.int64), np.zeros(0)
        return cls(number, number, time_s, time_s, time_s, time_s, time_s)


@dataclass(frozen=True, eq=False)
class FailureLog:
    """All failures of one block, sorted by part and then by time.

    Times are seconds of the block; a failure may begin before 0 (it was already there when the block
    began), and one that is not over at the end has ``mended_s`` (and stages it never reached) equal to
    the end of the block.

    Parameters
    ----------
    duration_s : float
        Length of the block [s].
    part, site, cause, crew : int arrays, shape (n,)
        Part and site index; cause flags; crew number, -1 for a remote repair or none sent yet.
    failed_s, noticed_s, spare_s, crew_s, arrived_s, mended_s : float arrays, shape (n,)
        Failure; repair called for; spare at hand; crew sets off; crew arrives; works again.
    darkness_s, storm_s : float arrays, shape (n,)
        Wait for daylight before a crew is called, and for storms to pass at the site [s].
    latent, affecting : bool arrays, shape (n,)
        Unseen at first; stops traffic.
    part_offset : int array, shape (n_parts + 1,)
        Part i owns the rows ``part_offset[i]`` to ``part_offset[i + 1]``.
    switch_offset : int array, shape (n_groups + 1,)
        The same for the rows of ``switch_s`` and ``switch_chain``.
    switch_s, switch_chain : arrays
        Changes of the transmitting chain of each group; -1: none transmits. Chain 0 before the first.
    power_down, mains_lost, maintenance : Intervals
        One row a site: without power; without mains; planned outage.
    visits : PlannedVisits
        Crews away for planned work.
    """

    duration_s: float
    part: Ints
    site: Ints
    cause: Ints
    crew: Ints
    failed_s: Floats
    noticed_s: Floats
    spare_s: Floats
    crew_s: Floats
    arrived_s: Floats
    mended_s: Floats
    darkness_s: Floats
    storm_s: Floats
    latent: NDArray[np.bool_]
    affecting: NDArray[np.bool_]
    part_offset: Ints
    switch_offset: Ints
    switch_s: Floats
    switch_chain: Ints
    power_down: Intervals
    mains_lost: Intervals
    maintenance: Intervals
    visits: PlannedVisits = field(default_factory=PlannedVisits.none)

    def __post_init__(self) -> None:
        for value in vars(self).values():
            if isinstance(value, np.ndarray):
                value.setflags(write=False)

    def __len__(self) -> int:
        return len(self.part)

    def phases_s(self) -> Floats:
        """Time within the block spent in each of ``PHASES`` [s], shape (n, 6); rows sum to the time down."""
        zero, end = 0.0, self.duration_s
        marks = np.stack(
            [self.failed_s, self.noticed_s, self.spare_s, self.crew_s, self.arrived_s, self.mended_s]
        )
        spans = np.diff(np.clip(marks, zero, end), axis=0)
        work = spans[4]
        dark, stormy = np.minimum(self.darkness_s, spans[2]), np.minimum(self.storm_s, work)
        return np.stack([spans[0], spans[1], spans[2] - dark, spans[3], dark + stormy, work - stormy], axis=1)

    def state_changes_for(self, part_indices: ArrayLike) -> tuple[Floats, Ints, Ints]:
        """Changes of state of some parts, sorted by time, for cutting a hop into segments.

        Parameters
        ----------
        part_indices : int array, shape (k,)
            Parts wanted, in the caller's order.

        Returns
        -------
        tuple
            Times [s] within (0, duration), or 0 for parts that begin the block failed; position of the
            part in ``part_indices``; new state (``UP``, ``DOWN``, ``MUTE``). Failures that do not stop
            traffic are left out. A latent failure is ``MUTE`` until the crew arrives, then ``DOWN``.
        """
        wanted = np.asarray(part_indices, dtype=np.int64)
        first, last = self.part_offset[wanted], self.part_offset[wanted + 1]
        rows = np.concatenate([np.zeros(0, np.int64), *map(np.arange, first, last)]).astype(np.int64)
        place = np.repeat(np.arange(len(wanted)), last - first)
        keep = self.affecting[rows]
        rows, place = rows[keep], place[keep]
        latent, mended = self.latent[rows], self.mended_s[rows] < self.duration_s
        arrived = latent & (self.arrived_s[rows] < self.duration_s)
        time_s = np.concatenate(
            [self.failed_s[rows], self.arrived_s[rows][arrived], self.mended_s[rows][mended]]
        )
        where = np.concatenate([place, place[arrived], place[mended]])
        state = np.concatenate(
            [
                np.where(latent, MUTE, DOWN),
                np.full(np.count_nonzero(arrived), DOWN),
                np.full(np.count_nonzero(mended), UP),
            ]
        )
        order = np.lexsort((time_s, where)) if np.any(time_s < 0.0) else np.argsort(time_s, kind="stable")
        time_s, where, state = time_s[order], where[order], state[order]
        if len(time_s) and np.any(time_s < 0.0):
            time_s, where, state = _started(time_s, where, state)
        return time_s, where, state

    def transmitter_changes_for(self, group: int) -> tuple[Floats, Ints]:
        """Times [s] from which another chain of a group transmits, and the chain (-1: none).

        Chain 0 transmits before the first; a time of 0 tells what transmits as the block begins.
        """
        rows = slice(self.switch_offset[group], self.switch_offset[group + 1])
        return self.switch_s[rows], self.switch_chain[rows]


def _started(time_s: Floats, where: Ints, state: Ints) -> tuple[Floats, Ints, Ints]:
    """Replace changes before time 0 by the state that they leave at 0; the rest in order of time."""
    early = time_s < 0.0
    last_early = early & ~np.append(early[1:] & (where[1:] == where[:-1]), False)
    begins = last_early & (state != UP)
    keep = ~early | begins
    time_s, where, state = np.maximum(time_s[keep], 0.0), where[keep], state[keep]
    order = np.argsort(time_s, kind="stable")
    return time_s[order], where[order], state[order]


def episode_columns(episodes: Sequence[Episode], end_s: float) -> dict[str, NDArray[np.generic]]:
    """Columns of a ``FailureLog`` from episodes; those over before time 0 are left out."""
    kept = [each for each in episodes if each.mended_s > 0.0 and each.failed_s < end_s]
    kept.sort(key=lambda each: (each.part, each.failed_s))
    columns: dict[str, NDArray[np.generic]] = {}
    for name in ("part", "site", "cause", "crew"):
        columns[name] = np.array([getattr(each, name) for each in kept], dtype=np.int64)
    for name in ("latent", "affecting"):
        columns[name] = np.array([getattr(each, name) for each in kept], dtype=np.bool_)
    for name in ("failed_s", "noticed_s", "spare_s", "crew_s", "arrived_s", "mended_s"):
        columns[name] = np.minimum(np.array([getattr(each, name) for each in kept], dtype=np.float64), end_s)
    for name in ("darkness_s", "storm_s"):
        columns[name] = np.array([getattr(each, name) for each in kept], dtype=np.float64)
    return columns


def offsets(index: Ints, n: int) -> Ints:
    """Offsets of rows sorted by ``index`` (0 to n - 1), shape (n + 1,)."""
    out = np.zeros(n + 1, dtype=np.int64)
    np.cumsum(np.bincount(index, minlength=n), out=out[1:])
    return out
