"""Unavailable time, severely errored seconds and errored seconds of a piecewise-constant history.

Seconds lie on the whole-second grid of the observation. A second is *errored* when any of it is bad and
*severely errored* when at least ``severe_share`` of it is. Unavailable time begins with the first of ten
consecutive severely errored seconds and ends with the first of ten consecutive seconds that are not;
the first ten belong to unavailable time, the last ten do not. Errored and severely errored seconds are
counted in available time only.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.judging.outage_loops import (
    ERRORED,
    SEVERELY_ERRORED,
    Pieces,
    both_ways_kernel,
    one_way_kernel,
)

SEVERE_SHARE = 0.3
"""Share of bad time that makes a second severely errored: 30 % of errored blocks (ITU-T G.826, 4.3)."""


@dataclass(frozen=True)
class Lost:
    """Every lost second of an observation, each once, with its kind and its causes.

    Attributes
    ----------
    start_s, end_s : int array, shape (n,)
        Sorted, disjoint pieces [start, end) of like seconds [s].
    causes : int array, shape (n,)
        Cause flags; a good second within unavailable time keeps those of the second before it.
    kind : int8 array, shape (n,)
        ``ERRORED``, ``SEVERELY_ERRORED`` (both in available time) or ``UNAVAILABLE``.
    unavailable_start_s, unavailable_end_s : int array, shape (n_outages,)
        Unavailable intervals [start, end) [s].
    duration_s : int
        Seconds observed.
    """

    start_s: Ints
    end_s: Ints
    causes: Ints
    kind: NDArray[np.int8]
    unavailable_start_s: Ints
    unavailable_end_s: Ints
    duration_s: int

    def __post_init__(self) -> None:
        for name in ("start_s", "end_s", "causes", "kind", "unavailable_start_s", "unavailable_end_s"):
            getattr(self, name).setflags(write=False)

    def seconds_of(self, kind: int) -> int:
        """Seconds of one kind [s]."""
        here = self.kind == kind
        return int((self.end_s[here] - self.start_s[here]).sum())

    @property
    def unavailable_s(self) -> int:
        """Unavailable seconds [s]."""
        return int((self.unavailable_end_s - self.unavailable_start_s).sum())

    @property
    def severely_errored_s(self) -> int:
        """Severely errored seconds in available time [s]."""
        return self.seconds_of(SEVERELY_ERRORED)

    @property
    def errored_s(self) -> int:
        """Errored seconds in available time, the severely errored ones among them [s]."""
        return self.seconds_of(ERRORED) + self.seconds_of(SEVERELY_ERRORED)

    @property
    def n_outages(self) -> int:
        """Number of unavailable intervals."""
        return int(self.unavailable_start_s.size)


def classify(
    bad_start_s: ArrayLike,
    bad_end_s: ArrayLike,
    causes: ArrayLike,
    *,
    duration_s: float,
    severe_share: float = SEVERE_SHARE,
) -> Lost:
    """Lost seconds of one direction by the ten-second rule.

    Parameters
    ----------
    bad_start_s, bad_end_s : float array, shape (n,)
        Bad intervals [start, end) [s]: sorted, disjoint (they may touch), within the observation.
    causes : int array, shape (n,)
        Cause flags of each; a second touched by several keeps all of them.
    duration_s : float
        Length of the observation from time 0 [s], at least 0. Only whole seconds are observed.
    severe_share : float
        Bad share of a second, above 0 to 1, from which it is severely errored.

    Returns
    -------
    Lost

    Raises
    ------
    ValueError
        If the intervals overlap, run backwards or leave the observation, or shapes differ.

    Notes
    -----
    Time is available before the observation, and the observation knows nothing of what follows it: a
    run of severely errored seconds shorter than ten at the end counts in available time, and fewer than
    ten good seconds at the end of an outage stay unavailable. Cutting a history into blocks therefore
    moves at most nine seconds per outage that straddles a cut. A share of bad time stands here for the
    share of errored blocks, with all blocks in bad time errored and none in good time.

    References
    ----------
    ITU-T G.826 (12/2002), 4.3 and Annex A; ITU-T G.827 (09/2003): from memory.
    """
    start = np.ascontiguousarray(bad_start_s, dtype=np.float64)
    end = np.ascontiguousarray(bad_end_s, dtype=np.float64)
    flags = np.ascontiguousarray(causes, dtype=np.int64)
    _check(start, end, flags, duration_s, severe_share)
    n_seconds = int(np.floor(duration_s))
    lost: Pieces = one_way_kernel(start, end, flags, n_seconds, severe_share)
    return Lost(*lost, duration_s=n_seconds)


def either_way(forward: Lost, backward: Lost) -> Lost:
    """Lost seconds of both directions together.

    A two-way path is unavailable when either direction is. In the time when it is available, a second
    is severely errored (or errored) when it is so in either direction. A second lost both ways keeps the
    causes of both.

    Raises
    ------
    ValueError
        If the two observations differ in length.

    References
    ----------
    ITU-T G.827 (09/2003) and G.826 (12/2002), Annex A, for the unavailable time of a two-way path (from
    memory). They count severely errored seconds for each direction by itself; one count for both ways
    is our own choice.
    """
    if forward.duration_s != backward.duration_s:
        raise ValueError(
            f"duration_s is {backward.duration_s}; must be {forward.duration_s} as the other way"
        )
    lost: Pieces = both_ways_kernel(
        *(forward.start_s, forward.end_s, forward.causes, forward.kind),
        *(backward.start_s, backward.end_s, backward.causes, backward.kind),
    )
    return Lost(*lost, duration_s=forward.duration_s)


def _check(start: Floats, end: Floats, flags: Ints, duration: float, share: float) -> None:
    if not (start.shape == end.shape == flags.shape and start.ndim == 1):
        raise ValueError(
            f"bad intervals have shapes {start.shape}, {end.shape}, {flags.shape}; must be equal"
        )
    if not 0.0 < share <= 1.0:
        raise ValueError(f"severe_share is {share}; must be above 0 to 1")
    if not 0.0 <= duration < 2.0**53:
        raise ValueError(f"duration_s is {duration}; must be at least 0 and finite")
    if start.size == 0:
        return
    if not (np.all(end >= start) and np.all(start[1:] >= end[:-1])):
        raise ValueError("bad_start_s, bad_end_s are not sorted and disjoint; must be")
    if not (start[0] >= 0.0 and end[-1] <= duration):
        raise ValueError(f"bad intervals run from {start[0]} to {end[-1]}; must be within 0 to {duration}")
