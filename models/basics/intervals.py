"""Sets of time intervals, one set a row (a site, a part), kept as flat arrays."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.kernel import kernel
from hopyears.models.basics.search import first_above, first_from


@dataclass(frozen=True, eq=False)
class Intervals:
    """Disjoint time intervals of many rows, sorted within each row.

    Parameters
    ----------
    offset : int array, shape (n_rows + 1,)
        Row i owns the intervals ``offset[i]`` to ``offset[i + 1]``.
    start_s, end_s : float arrays, shape (n,)
        Ends of the intervals [s], start < end, half open.
    """

    offset: Ints
    start_s: Floats
    end_s: Floats

    def __post_init__(self) -> None:
        for array in (self.offset, self.start_s, self.end_s):
            array.setflags(write=False)

    @property
    def n_rows(self) -> int:
        """Number of rows."""
        return len(self.offset) - 1

    @property
    def row(self) -> Ints:
        """Row of each interval, shape (n,)."""
        return np.repeat(np.arange(self.n_rows), np.diff(self.offset))

    def of(self, row: int) -> tuple[Floats, Floats]:
        """Starts and ends [s] of one row."""
        part = slice(self.offset[row], self.offset[row + 1])
        return self.start_s[part], self.end_s[part]

    @cached_property
    def before_s(self) -> Floats:
        """Time covered by the intervals before each in its row [s], shape (n,)."""
        return np.asarray(_before(self.offset, self.end_s - self.start_s))

    def total_s(self) -> Floats:
        """Time covered in each row [s], shape (n_rows,)."""
        total = np.bincount(self.row, self.end_s - self.start_s, minlength=self.n_rows)
        return total.astype(np.float64)

    def total_within_s(self, low_s: float, high_s: float) -> Floats:
        """Time covered in each row between two times [s], shape (n_rows,)."""
        length = np.maximum(np.minimum(self.end_s, high_s) - np.maximum(self.start_s, low_s), 0.0)
        return np.bincount(self.row, length, minlength=self.n_rows).astype(np.float64)

    def clipped(self, low_s: float, high_s: float) -> "Intervals":
        """What of the intervals lies between two times [s]."""
        if not len(self.start_s):
            return self
        first, count = _within(self.offset, self.start_s, self.end_s, low_s, high_s)
        offset = np.append(0, np.cumsum(count))
        keep = np.arange(offset[-1]) + np.repeat(first - offset[:-1], count)
        start, end = np.maximum(self.start_s[keep], low_s), np.minimum(self.end_s[keep], high_s)
        return Intervals(offset, start, end)


def empty_intervals(n_rows: int) -> Intervals:
    """No interval in any of ``n_rows``."""
    return Intervals(np.zeros(n_rows + 1, dtype=np.int64), np.zeros(0), np.zeros(0))


def merged(row: ArrayLike, start_s: ArrayLike, end_s: ArrayLike, *, n_rows: int) -> Intervals:
    """Union, row by row, of intervals given in any order; those of no length are left out.

    Parameters
    ----------
    row : int array, shape (n,)
        Row of each interval, 0 to ``n_rows`` - 1.
    start_s, end_s : float arrays, shape (n,)
        Ends [s].
    n_rows : int
        Number of rows.
    """
    rows = np.ascontiguousarray(row, dtype=np.int64)
    starts, ends = (np.ascontiguousarray(times, dtype=np.float64) for times in (start_s, end_s))
    return Intervals(*_union(rows, starts, ends, n_rows))


def joined(*sets: Intervals) -> Intervals:
    """Union, row by row, of several sets with the same rows."""
    return merged(
        np.concatenate([each.row for each in sets]),
        np.concatenate([each.start_s for each in sets]),
        np.concatenate([each.end_s for each in sets]),
        n_rows=sets[0].n_rows,
    )


def followed(early: Intervals, late: Intervals) -> Intervals:
    """Two sets with the same rows, of which every interval of the first ends before any of the second."""
    offset = early.offset + late.offset
    is_early = np.zeros(offset[-1], dtype=np.bool_)
    is_early[np.arange(len(early.start_s)) + np.repeat(late.offset[:-1], np.diff(early.offset))] = True
    start, end = np.empty(offset[-1]), np.empty(offset[-1])
    for found, first, then in ((start, early.start_s, late.start_s), (end, early.end_s, late.end_s)):
        found[is_early], found[~is_early] = first, then
    return Intervals(offset, start, end)


def without(whole: Intervals, taken: Intervals) -> Intervals:
    """What of ``whole`` is not covered by ``taken``, row by row."""
    if not len(taken.start_s):
        return whole
    row, start, end = _subtract(
        whole.offset, whole.start_s, whole.end_s, taken.offset, taken.start_s, taken.end_s
    )
    return _packed(row, start, end, whole.n_rows)


@kernel
def _within(offset: Ints, start_s: Floats, end_s: Floats, low_s: float, high_s: float) -> tuple[Ints, Ints]:
    """First interval of each row that ends after one time, and how many from it on begin before another."""
    first, count = np.empty(len(offset) - 1, np.int64), np.zeros(len(offset) - 1, np.int64)
    for row in range(len(first)):
        begin, stop = offset[row], offset[row + 1]
        first[row] = begin + first_above(end_s[begin:stop], low_s)
        if low_s < high_s:
            count[row] = first_from(start_s[first[row] : stop], high_s)
    return first, count


def _packed(row: Ints, start_s: Floats, end_s: Floats, n_rows: int) -> Intervals:
    offset = np.zeros(n_rows + 1, dtype=np.int64)
    np.cumsum(np.bincount(row, minlength=n_rows), out=offset[1:])
    return Intervals(offset, start_s.copy(), end_s.copy())


@kernel
def _before(offset: Ints, length_s: Floats) -> Floats:
    before_s = np.empty(len(length_s))
    for i in range(len(offset) - 1):
        total = 0.0
        for k in range(offset[i], offset[i + 1]):
            before_s[k] = total
            total += length_s[k]
    return before_s


@kernel
def _union(row: Ints, start_s: Floats, end_s: Floats, n_rows: int) -> tuple[Ints, Floats, Floats]:
    """Offset, starts and ends of the union: sorted into rows, each row by start where it is not yet."""
    first = np.zeros(n_rows + 1, np.int64)
    for i in range(len(row)):
        if end_s[i] > start_s[i]:
            first[row[i] + 1] += 1
    for r in range(n_rows):
        first[r + 1] += first[r]
    start, end, place = np.empty(first[-1]), np.empty(first[-1]), first[:-1].copy()
    for i in range(len(row)):
        if end_s[i] > start_s[i]:
            start[place[row[i]]], end[place[row[i]]] = start_s[i], end_s[i]
            place[row[i]] += 1
    offset, count = np.zeros(n_rows + 1, np.int64), 0
    for r in range(n_rows):
        begin, stop = first[r], first[r + 1]
        inverted = False
        for i in range(begin + 1, stop):
            inverted = inverted or start[i] < start[i - 1]
        if inverted:
            order = np.argsort(start[begin:stop])
            start_was, end_was = start[begin:stop].copy(), end[begin:stop].copy()
            for i in range(stop - begin):
                start[begin + i], end[begin + i] = start_was[order[i]], end_was[order[i]]
        # Only the last interval kept can meet the next one; count never passes i, so nothing is written over
        # before it is read.
        for i in range(begin, stop):
            if count > offset[r] and start[i] <= end[count - 1]:
                end[count - 1] = max(end[count - 1], end[i])
            else:
                start[count], end[count] = start[i], end[i]
                count += 1
        offset[r + 1] = count
    return offset, start[:count].copy(), end[:count].copy()


@kernel
def _subtract(
    offset: Ints,
    start_s: Floats,
    end_s: Floats,
    taken_offset: Ints,
    taken_start_s: Floats,
    taken_end_s: Floats,
) -> tuple[Ints, Floats, Floats]:
    room = len(start_s) + len(taken_start_s)  # each piece taken cuts at most one more piece
    row, start, end = np.empty(room, np.int64), np.empty(room), np.empty(room)
    count = 0
    for i in range(len(offset) - 1):
        j = taken_offset[i]
        for k in range(offset[i], offset[i + 1]):
            at = start_s[k]
            while j < taken_offset[i + 1] and taken_end_s[j] <= at:
                j += 1
            n = j  # j stays: the last piece taken here may reach into the next interval too
            while n < taken_offset[i + 1] and taken_start_s[n] < end_s[k]:
                if taken_start_s[n] > at:
                    row[count], start[count], end[count] = i, at, taken_start_s[n]
                    count += 1
                at = max(at, taken_end_s[n])
                n += 1
            if at < end_s[k]:
                row[count], start[count], end[count] = i, at, end_s[k]
                count += 1
    return row[:count], start[:count], end[:count]
