import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from interval_rows import intervals_of_rows

from hopyears.models.basics.intervals import empty_intervals, followed, joined, merged, without

N_ROWS, LAST = 3, 12
pairs = st.lists(st.tuples(st.integers(0, N_ROWS - 1), st.integers(0, LAST), st.integers(0, 5)), max_size=12)


def grid(intervals):
    """Which unit cells of each row are covered: the slow, obvious version."""
    covered = np.zeros((N_ROWS, LAST + 6), dtype=bool)
    for row, start, end in zip(intervals.row, intervals.start_s, intervals.end_s, strict=True):
        covered[row, int(start) : int(end)] = True
    return covered


def build(triples):
    row, start, length = (np.array([t[i] for t in triples], dtype=float) for i in range(3))
    return merged(row.astype(int), start, start + length, n_rows=N_ROWS)


def raw_grid(triples):
    covered = np.zeros((N_ROWS, LAST + 6), dtype=bool)
    for row, start, length in triples:
        covered[row, start : start + length] = True
    return covered


@given(pairs)
def test_merged_covers_the_same_and_is_disjoint(triples):
    out = build(triples)
    np.testing.assert_array_equal(grid(out), raw_grid(triples))
    np.testing.assert_array_equal(out.total_s(), raw_grid(triples).sum(axis=1))
    for row in range(N_ROWS):
        start, end = out.of(row)
        assert np.all(start < end)
        assert np.all(start[1:] > end[:-1])


@given(pairs, pairs)
def test_union_and_difference(one, other):
    a, b = build(one), build(other)
    np.testing.assert_array_equal(grid(joined(a, b)), grid(a) | grid(b))
    np.testing.assert_array_equal(grid(without(a, b)), grid(a) & ~grid(b))


@given(pairs, st.integers(0, 8), st.integers(8, 17))
def test_clipped(triples, low, high):
    wanted = raw_grid(triples)
    wanted[:, :low] = False
    wanted[:, high:] = False
    np.testing.assert_array_equal(grid(build(triples).clipped(low, high)), wanted)
    within = build(triples).total_within_s(low, high)
    np.testing.assert_allclose(within, build(triples).clipped(low, high).total_s())


@given(pairs, pairs)
def test_followed_joins_early_and_late(one, other):
    early = build(one)
    late = build(other)
    moved = type(late)(late.offset, late.start_s + 50.0, late.end_s + 50.0)
    out, slow = followed(early, moved), joined(early, moved)
    for name in ("offset", "start_s", "end_s"):
        np.testing.assert_array_equal(getattr(out, name), getattr(slow, name))


def test_rows_as_pairs_and_empty():
    out = intervals_of_rows([[(0.0, 2.0), (1.0, 3.0)], [], [(5.0, 6.0)]])
    np.testing.assert_array_equal(out.offset, [0, 1, 1, 2])
    np.testing.assert_array_equal(out.end_s, [3.0, 6.0])
    assert empty_intervals(2).total_s().tolist() == [0.0, 0.0]
