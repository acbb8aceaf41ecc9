"""The loops of the ten-second rule (``outage_rule``): from bad intervals to pieces of lost seconds.

The work grows with the number of bad intervals, never with their length.
"""

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.kernel import kernel

ERRORED = 1
SEVERELY_ERRORED = 2
UNAVAILABLE = 3
"""Kinds of lost second, the graver the larger."""

RUN_S = 10
"""Consecutive seconds that begin or end unavailable time (ITU-T G.826, Annex A; G.827)."""

_FAR = 2**62

Pieces = tuple[Ints, Ints, Ints, NDArray[np.int8], Ints, Ints]
"""The arrays of ``Lost``, in their order."""


@kernel
def one_way_kernel(start: Floats, end: Floats, flags: Ints, n_seconds: int, share: float) -> Pieces:
    """What ``classify`` finds, for loops; intervals must be sorted, disjoint and within the observation."""
    first, last, label, kind = _pieces(start, end, flags, n_seconds, share)
    begin, finish = _unavailable(first, last, kind, n_seconds)
    first, last, label, kind = _label(first, last, label, kind, begin, finish)
    return first, last, label, kind, begin, finish


@kernel
def both_ways_kernel(
    start_a: Ints, end_a: Ints, label_a: Ints, kind_a: NDArray[np.int8],
    start_b: Ints, end_b: Ints, label_b: Ints, kind_b: NDArray[np.int8],
) -> Pieces:  # fmt: skip
    """What ``either_way`` finds, for loops."""
    first, last, label, kind = _merge(start_a, end_a, label_a, kind_a, start_b, end_b, label_b, kind_b)
    begin, finish = _join(first, last, kind)
    return first, last, label, kind, begin, finish


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
