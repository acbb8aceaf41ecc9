"""Unavailable time, severely errored seconds and errored seconds of a piecewise-constant history.

Seconds lie on the whole-second grid of the observation. A second is *errored* when any of it is bad and
*severely errored* when at least ``severe_share`` of it is. Unavailable time begins with the first of ten
consecutive severely errored seconds and ends with the first of ten consecutive seconds that are not;
the first ten belong to unavailable time, the last ten do not. Errored and severely errored seconds are
counted in available time only.

The work grows with the number of bad intervals, never with their length.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.kernel import kernel

ERRORED = 1
SEVERELY_ERRORED = 2
UNAVAILABLE = 3
"""Kinds of lost second, the graver the larger."""

SEVERE_SHARE = 0.3
"""Share of bad time that makes a second severely errored: 30 % of errored blocks (ITU-T G.826, 4.3)."""

RUN_S = 10
"""Consecutive seconds that begin or end unavailable time (ITU-T G.826, Annex A; G.827)."""

_FAR = 2**62


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
    lost: _Pieces = one_way_kernel(start, end, flags, n_seconds, severe_share)
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
    lost: _Pieces = both_ways_kernel(
        *(forward.start_s, forward.end_s, forward.causes, forward.kind),
        *(backward.start_s, backward.end_s, backward.causes, backward.kind),
    )
    return Lost(*lost, duration_s=forward.duration_s)


_Pieces = tuple[Ints, Ints, Ints, NDArray[np.int8], Ints, Ints]
"""The arrays of ``Lost``, in their order."""


@kernel
def one_way_kernel(start: Floats, end: Floats, flags: Ints, n_seconds: int, share: float) -> _Pieces:
    """What ``classify`` finds, for loops; intervals must be sorted, disjoint and within the observation."""
    first, last, label, kind = _pieces(start, end, flags, n_seconds, share)
    begin, finish = _unavailable(first, last, kind, n_seconds)
    first, last, label, kind = _label(first, last, label, kind, begin, finish)
    return first, last, label, kind, begin, finish


@kernel
def both_ways_kernel(
    start_a: Ints, end_a: Ints, label_a: Ints, kind_a: NDArray[np.int8],
    start_b: Ints, end_b: Ints, label_b: Ints, kind_b: NDArray[np.int8],
) -> _Pieces:  # fmt: skip
    """What ``either_way`` finds, for loops."""
    first, last, label, kind = _merge(start_a, end_a, label_a, kind_a, start_b, end_b, label_b, kind_b)
    begin, finish = _join(first, last, kind)
    return first, last, label, kind, begin, finish


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


@kernel
def _rounding_s(second: int) -> float:
    """What rounding may take from a sum of parts of a second [s]: instants late in a block are coarse."""
    return 1e-9 + 4.0 * float(np.spacing(np.float64(second)))


@kernel
def _pieces(
    start: Floats, end: Floats, flags: Ints, n_seconds: int, share: float
) -> tuple[Ints, Ints, Ints, NDArray[np.int8]]:
    """Errored and severely errored seconds as sorted pieces, before the ten-second rule."""
    # An interval gives at most its first second, the whole seconds after it, and its last one.
    size = 3 * start.size + 1
    first = np.empty(size, np.int64)
    last = np.empty(size, np.int64)
    label = np.empty(size, np.int64)
    kind = np.empty(size, np.int8)
    n = 0
    second = -1  # the second being filled, its bad time and its causes
    bad = 0.0
    causes = 0
    for i in range(start.size + 1):  # one more than there are, to close the last second
        begin = int(np.floor(start[i])) if i < start.size else n_seconds
        if begin != second:
            if second >= 0 and second < n_seconds and bad > 0.0:
                first[n], last[n], label[n] = second, second + 1, causes
                kind[n] = 2 if bad >= share - _rounding_s(second) else 1
                n += 1
            second, bad, causes = begin, 0.0, 0
        if i == start.size or end[i] <= start[i]:
            continue
        finish = int(np.floor(end[i]))
        causes |= flags[i]  # those of the second's earlier intervals stay
        if finish == begin:
            bad += end[i] - start[i]
            continue
        bad += begin + 1 - start[i]
        first[n], last[n], label[n] = begin, begin + 1, causes
        kind[n] = 2 if bad >= share - _rounding_s(begin) else 1
        n += 1
        whole_end = min(finish, n_seconds)
        if whole_end > begin + 1:
            first[n], last[n], label[n], kind[n] = begin + 1, whole_end, flags[i], 2
            n += 1
        second, bad = finish, end[i] - finish
        causes = flags[i] if bad > 0.0 else 0
    return first[:n], last[:n], label[:n], kind[:n]


@kernel
def _unavailable(first: Ints, last: Ints, kind: NDArray[np.int8], n_seconds: int) -> tuple[Ints, Ints]:
    """Unavailable intervals from pieces: runs of severely errored seconds, ten in and ten out."""
    begin = np.empty(first.size + 1, np.int64)
    finish = np.empty(first.size + 1, np.int64)
    n = 0
    down = False
    run_start = 0
    run_end = -1  # the current run of severely errored seconds is [run_start, run_end)
    # An outage is known only ten seconds after it began, and its end only at the next run, or never: so both
    # are taken from where the runs stand, not from the moment at which they count.
    for i in range(first.size):
        if kind[i] != SEVERELY_ERRORED:
            continue
        if first[i] != run_end:
            if down and first[i] - run_end >= RUN_S:
                finish[n - 1] = run_end
                down = False
            run_start = first[i]
        run_end = last[i]
        if not down and run_end - run_start >= RUN_S:
            begin[n] = run_start
            n += 1
            down = True
    if down:
        finish[n - 1] = run_end if n_seconds - run_end >= RUN_S else n_seconds
    return begin[:n], finish[:n]


@kernel
def _label(
    first: Ints, last: Ints, label: Ints, kind: NDArray[np.int8], begin: Ints, finish: Ints
) -> tuple[Ints, Ints, Ints, NDArray[np.int8]]:
    """Pieces with unavailable time marked, and the good seconds inside it filled."""
    n_out = 2 * first.size + begin.size  # each piece, and the good seconds behind it
    out = np.empty((3, n_out), np.int64)
    out_kind = np.empty(n_out, np.int8)
    n = 0
    outage = 0
    for i in range(first.size):
        while outage < begin.size and finish[outage] <= first[i]:
            outage += 1
        inside = outage < begin.size and begin[outage] <= first[i]
        out[0, n], out[1, n], out[2, n] = first[i], last[i], label[i]
        out_kind[n] = 3 if inside else kind[i]
        n += 1
        if not inside:
            continue
        # Up to the next piece (or the end of the outage) a good second keeps the causes before it.
        until = finish[outage]
        if i + 1 < first.size and first[i + 1] < until:
            until = first[i + 1]
        if until > last[i]:
            out[0, n], out[1, n], out[2, n], out_kind[n] = last[i], until, label[i], 3
            n += 1
    return out[0, :n].copy(), out[1, :n].copy(), out[2, :n].copy(), out_kind[:n]


@kernel
def _merge(
    start_a: Ints, end_a: Ints, label_a: Ints, kind_a: NDArray[np.int8],
    start_b: Ints, end_b: Ints, label_b: Ints, kind_b: NDArray[np.int8],
) -> tuple[Ints, Ints, Ints, NDArray[np.int8]]:  # fmt: skip
    """Union of two sorted lists of pieces: causes join, the graver kind holds."""
    size = 2 * (start_a.size + start_b.size)
    out = np.empty((3, size), np.int64)
    out_kind = np.empty(size, np.int8)
    i = j = n = at = 0  # all before ``at`` is written; of a piece that began sooner only the rest is left
    while i < start_a.size or j < start_b.size:
        begin_a = max(start_a[i], at) if i < start_a.size else _FAR
        begin_b = max(start_b[j], at) if j < start_b.size else _FAR
        at = min(begin_a, begin_b)
        in_a, in_b = begin_a == at, begin_b == at
        until = min(end_a[i] if in_a else begin_a, end_b[j] if in_b else begin_b)
        out[0, n], out[1, n] = at, until
        out[2, n] = (label_a[i] if in_a else 0) | (label_b[j] if in_b else 0)
        out_kind[n] = max(kind_a[i] if in_a else np.int8(0), kind_b[j] if in_b else np.int8(0))
        n += 1
        at = until
        if in_a and end_a[i] == at:
            i += 1
        if in_b and end_b[j] == at:
            j += 1
    return out[0, :n].copy(), out[1, :n].copy(), out[2, :n].copy(), out_kind[:n]


@kernel
def _join(start: Ints, end: Ints, kind: NDArray[np.int8]) -> tuple[Ints, Ints]:
    """Unavailable intervals as the runs of touching unavailable pieces."""
    begin, finish, n = np.empty(start.size, np.int64), np.empty(start.size, np.int64), 0
    for i in range(start.size):
        if kind[i] != UNAVAILABLE:
            continue
        if n > 0 and start[i] <= finish[n - 1]:
            finish[n - 1] = end[i]
        else:
            begin[n], finish[n] = start[i], end[i]
            n += 1
    return begin[:n].copy(), finish[:n].copy()
