"""Intervals written out by hand."""

from collections.abc import Iterable, Sequence

import numpy as np

from hopyears.models.basics.intervals import Intervals, merged


def intervals_of_rows(rows: Iterable[Sequence[tuple[float, float]]]) -> Intervals:
    """Intervals from one sequence of (start, end) pairs [s] a row; overlaps are joined."""
    listed = list(rows)
    row = np.repeat(np.arange(len(listed)), [len(pairs) for pairs in listed])
    flat = np.array([pair for pairs in listed for pair in pairs], dtype=np.float64).reshape(-1, 2)
    return merged(row, flat[:, 0], flat[:, 1], n_rows=len(listed))
