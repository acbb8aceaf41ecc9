"""What happened to the equipment in one block: frozen arrays, and state changes cut from them."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.frozen import frozen
from hopyears.models.basics.intervals import Intervals
from hopyears.sim.equipment.dispatch import Episode

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


def _freeze(columns: object) -> None:
    """Make the arrays of a table read-only."""
    for value in vars(columns).values():
        frozen(value)


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
        _freeze(self)

    @classmethod
    def none(cls) -> "PlannedVisits":
        """No visit at all."""
        number, time_s = np.zeros(0, dtype=np.int64), np.zeros(0)
        return cls(number, number, time_s, time_s, time_s, time_s, time_s)


@dataclass(frozen=True, eq=False)
class Failures:
    """All failures of one block in columns, one row each, sorted by part and then by time.

    Times are seconds of the block; a failure may begin before 0 (it was already there when the block
    began), and one that is not over at the end has ``mended_s`` (and stages it never reached) equal to
    the end of the block.

    Parameters
    ----------
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
    """

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
    latent: Bools
    affecting: Bools
    part_offset: Ints

    def __post_init__(self) -> None:
        _freeze(self)

    def __len__(self) -> int:
        return len(self.part)

    def rows_of(self, part: int) -> range:
        """Rows of one part, in order of time."""
        return range(int(self.part_offset[part]), int(self.part_offset[part + 1]))


@dataclass(frozen=True, eq=False)
class TransmitterChanges:
    """From when on another chain of a changeover group transmits, sorted by group and then by time.

    Parameters
    ----------
    offset : int array, shape (n_groups + 1,)
        Group g owns the rows ``offset[g]`` to ``offset[g + 1]``.
    time_s : float array, shape (n,)
        In the block [s]; 0 tells what transmits as the block begins.
    chain : int array, shape (n,)
        Chain that transmits from then on; -1: none. Chain 0 transmits before the first change.
    """

    offset: Ints
    time_s: Floats
    chain: Ints

    def __post_init__(self) -> None:
        _freeze(self)

    @property
    def owner(self) -> Ints:
        """Group of each row."""
        return np.repeat(np.arange(len(self.offset) - 1), np.diff(self.offset))

    def of(self, group: int) -> tuple[Floats, Ints]:
        """Times [s] and chains of one group."""
        rows = slice(self.offset[group], self.offset[group + 1])
        return self.time_s[rows], self.chain[rows]


NO_CHANGES = TransmitterChanges(np.zeros(1, dtype=np.int64), np.zeros(0), np.zeros(0, dtype=np.int64))
"""Of no group."""


@dataclass(frozen=True, eq=False)
class SiteOutages:
    """When each site is without power, without mains, and out for planned work [s]; one row a site."""

    power_down: Intervals
    mains_lost: Intervals
    maintenance: Intervals


@dataclass(frozen=True, eq=False)
class FailureLog:
    """What happened to the equipment in one block of ``duration_s`` seconds.

    ``stuck`` has streams that are stuck, in place of chains, by channel switch in place of group.
    """

    duration_s: float
    failures: Failures
    transmitters: TransmitterChanges
    sites: SiteOutages
    visits: PlannedVisits = field(default_factory=PlannedVisits.none)
    stuck: TransmitterChanges | None = None

    def phases_s(self) -> Floats:
        """Time within the block spent in each of ``PHASES`` [s], shape (n, 6); rows sum to the time down."""
        zero, end = 0.0, self.duration_s
        rows = self.failures
        marks = np.stack(
            [rows.failed_s, rows.noticed_s, rows.spare_s, rows.crew_s, rows.arrived_s, rows.mended_s]
        )
        spans = np.diff(np.clip(marks, zero, end), axis=0)
        work = spans[4]
        dark, stormy = np.minimum(rows.darkness_s, spans[2]), np.minimum(rows.storm_s, work)
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
        failures = self.failures
        wanted = np.asarray(part_indices, dtype=np.int64)
        first, last = failures.part_offset[wanted], failures.part_offset[wanted + 1]
        rows = np.concatenate([np.zeros(0, np.int64), *map(np.arange, first, last)]).astype(np.int64)
        place = np.repeat(np.arange(len(wanted)), last - first)
        keep = failures.affecting[rows]
        rows, place = rows[keep], place[keep]
        latent, mended = failures.latent[rows], failures.mended_s[rows] < self.duration_s
        arrived = latent & (failures.arrived_s[rows] < self.duration_s)
        time_s = np.concatenate(
            [failures.failed_s[rows], failures.arrived_s[rows][arrived], failures.mended_s[rows][mended]]
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


def _started(time_s: Floats, where: Ints, state: Ints) -> tuple[Floats, Ints, Ints]:
    """Replace changes before time 0 by the state that they leave at 0; the rest in order of time."""
    early = time_s < 0.0
    last_early = early & ~np.append(early[1:] & (where[1:] == where[:-1]), False)
    begins = last_early & (state != UP)
    keep = ~early | begins
    time_s, where, state = np.maximum(time_s[keep], 0.0), where[keep], state[keep]
    order = np.argsort(time_s, kind="stable")
    return time_s[order], where[order], state[order]


def failures_of(episodes: Sequence[Episode], n_parts: int, end_s: float) -> Failures:
    """The columns of these episodes; those over before time 0 are left out."""
    kept = [each for each in episodes if each.mended_s > 0.0 and each.failed_s < end_s]
    kept.sort(key=lambda each: (each.part, each.failed_s))

    def column(name: str, dtype: type[np.generic]) -> NDArray[Any]:
        return np.array([getattr(each, name) for each in kept], dtype=dtype)

    part = column("part", np.int64)
    stages = ("failed_s", "noticed_s", "spare_s", "crew_s", "arrived_s", "mended_s")
    return Failures(
        part=part,
        part_offset=offsets(part, n_parts),
        **{name: column(name, np.int64) for name in ("site", "cause", "crew")},
        **{name: column(name, np.bool_) for name in ("latent", "affecting")},
        **{name: np.minimum(column(name, np.float64), end_s) for name in stages},
        **{name: column(name, np.float64) for name in ("darkness_s", "storm_s")},
    )


def offsets(index: Ints, n: int) -> Ints:
    """Offsets of rows sorted by ``index`` (0 to n - 1), shape (n + 1,)."""
    out = np.zeros(n + 1, dtype=np.int64)
    np.cumsum(np.bincount(index, minlength=n), out=out[1:])
    return out
