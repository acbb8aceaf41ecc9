import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference import rows
from second_by_second import classify_seconds, per_second, runs

from hopyears.models.judging.outage_loops import ERRORED, SEVERELY_ERRORED, UNAVAILABLE
from hopyears.models.judging.outage_rule import classify, either_way

VECTORS = rows("availability_objectives.csv", quantity="UAS;SES_in_available_time;available_seconds")


def _intervals(steps, n_seconds):
    """Alternating good and bad steps as bad intervals within the observation."""
    out, now = [], 0.0
    for good, bad, causes in steps:
        start = now + good
        now = start + bad
        if now > n_seconds:
            break
        out.append((start, now, causes))
    return out


# Eighths of a second are exact in binary, so the slow and the fast sums agree to the last bit; the
# lengths straddle the limits of the rule: parts of a second, 0.3 s, nine, ten and eleven seconds.
_length = st.one_of(
    st.integers(0, 24).map(lambda n: n / 8),
    st.sampled_from([0.25, 0.375, 8.0, 8.875, 9.0, 9.125, 9.75, 10.0, 10.25, 11.0, 12.5, 25.0]),
)
_steps = st.lists(st.tuples(_length, _length, st.integers(1, 7)), max_size=25)


def _classify(intervals, n_seconds):
    columns = np.array(intervals, dtype=float).reshape(-1, 3)
    return classify(columns[:, 0], columns[:, 1], columns[:, 2].astype(int), duration_s=n_seconds)


def _spread(lost, n_seconds):
    """Kind and causes of every second."""
    kind, causes = np.zeros(n_seconds, int), np.zeros(n_seconds, int)
    for start, end, label, what in zip(lost.start_s, lost.end_s, lost.causes, lost.kind, strict=True):
        assert not kind[start:end].any()
        kind[start:end], causes[start:end] = what, label
    return kind, causes


def _expected(intervals, n_seconds):
    bad, causes = per_second(intervals, n_seconds)
    unavailable = classify_seconds([b >= 0.3 for b in bad])
    kind = []
    for second in range(n_seconds):
        if unavailable[second]:
            kind.append(UNAVAILABLE)
        elif bad[second] >= 0.3:
            kind.append(SEVERELY_ERRORED)
        else:
            kind.append(ERRORED if bad[second] > 0 else 0)
        if unavailable[second] and bad[second] == 0:
            causes[second] = causes[second - 1]
    return np.array(kind, int), np.array(causes, int), runs(unavailable)


@settings(deadline=None)
@given(_steps, st.integers(0, 150))
def test_agrees_with_a_second_by_second_classifier(steps, n_seconds):
    intervals = _intervals(steps, n_seconds)
    lost = _classify(intervals, n_seconds)
    kind, causes, outages = _expected(intervals, n_seconds)
    got_kind, got_causes = _spread(lost, n_seconds)
    np.testing.assert_array_equal(got_kind, kind)
    np.testing.assert_array_equal(got_causes, np.where(kind > 0, causes, 0))
    assert list(zip(lost.unavailable_start_s, lost.unavailable_end_s, strict=True)) == outages
    assert lost.unavailable_s == np.sum(kind == UNAVAILABLE)
    assert lost.severely_errored_s == np.sum(kind == SEVERELY_ERRORED)
    assert lost.errored_s == np.sum((kind == ERRORED) | (kind == SEVERELY_ERRORED))


@settings(deadline=None)
@given(_steps, _steps, st.integers(0, 100))
def test_both_ways_is_the_union(steps_a, steps_b, n_seconds):
    one, other = (_classify(_intervals(steps, n_seconds), n_seconds) for steps in (steps_a, steps_b))
    both = either_way(one, other)
    kind, causes = _spread(both, n_seconds)
    kind_a, causes_a = _spread(one, n_seconds)
    kind_b, causes_b = _spread(other, n_seconds)
    np.testing.assert_array_equal(kind, np.maximum(kind_a, kind_b))
    np.testing.assert_array_equal(causes, causes_a | causes_b)
    outages = list(zip(both.unavailable_start_s, both.unavailable_end_s, strict=True))
    assert outages == runs(list(kind == UNAVAILABLE))


@pytest.mark.parametrize("row", VECTORS, ids=[row["id"] for row in VECTORS])
def test_unavailable_second_vectors(row):
    severe = [letter == "1" for letter in row["inputs"]["ses_per_second"]]
    intervals = [(float(a), float(b), 1) for a, b in runs(severe)]
    lost = _classify(intervals, len(severe))
    unavailable, severely, available = row["value"]
    assert lost.unavailable_s == unavailable
    assert lost.severely_errored_s == severely
    assert lost.duration_s - lost.unavailable_s == available


def test_thirty_percent_of_a_second_is_severe():
    lost = classify([0.7, 5.0, 7.95], [1.0, 5.29, 8.25], [1, 1, 1], duration_s=20)
    assert (lost.severely_errored_s, lost.errored_s) == (1, 4)  # 0.05 + 0.25 s are two errored seconds


@pytest.mark.parametrize("second", [0, 3_600, 315_576_000, 700_000_000, 3_155_760_000])
def test_exactly_thirty_percent_is_severe_however_late(second):
    # Instants late in a block lie further apart than early ones: the sum of the parts must not feel it.
    for offset_s in np.linspace(0.0, 0.7, 41):
        start_s = second + offset_s
        whole = classify([start_s], [start_s + 0.3], [1], duration_s=second + 5)
        parts = [start_s, start_s + 0.1, start_s + 0.2]
        in_parts = classify(parts, [*parts[1:], start_s + 0.3], [1, 1, 1], duration_s=second + 5)
        less = classify([start_s], [start_s + 0.29999], [1], duration_s=second + 5)
        found = [each.severely_errored_s for each in (whole, in_parts, less)]
        assert found == [1, 1, 0], offset_s


def test_cost_does_not_depend_on_length():
    lost = classify([1e3, 5e8], [4e8, 9e8], [1, 2], duration_s=1e9)
    assert lost.unavailable_s == 4e8 - 1e3 + 4e8
    assert lost.start_s.size <= 6


def test_tail_of_less_than_a_second_is_not_observed():
    assert classify([9.5], [10.5], [1], duration_s=10.5).errored_s == 1


@pytest.mark.parametrize(
    ("start", "end", "message"),
    [
        ([2.0, 1.0], [3.0, 1.5], "not sorted and disjoint"),
        ([1.0, 2.0], [2.5, 3.0], "not sorted and disjoint"),
        ([-1.0], [2.0], "must be within 0 to 10"),
        ([1.0], [11.0], "must be within 0 to 10"),
        ([1.0], [float("nan")], "not sorted and disjoint"),
    ],
)
def test_bad_intervals_are_refused(start, end, message):
    with pytest.raises(ValueError, match=message):
        classify(start, end, [1] * len(start), duration_s=10.0)


def test_bad_share_and_lengths_are_refused():
    with pytest.raises(ValueError, match="severe_share is 0; must be above 0 to 1"):
        classify([], [], [], duration_s=10.0, severe_share=0)
    with pytest.raises(ValueError, match="duration_s is inf"):
        classify([], [], [], duration_s=float("inf"))
    with pytest.raises(ValueError, match="duration_s is 9; must be 10"):
        either_way(classify([], [], [], duration_s=10.0), classify([], [], [], duration_s=9.0))


def test_the_slow_classifier_can_fail():
    """Negative control: the slow version tells nine seconds from ten."""
    assert not any(classify_seconds([True] * 9 + [False] * 20))
    assert sum(classify_seconds([True] * 10 + [False] * 20)) == 10
    assert json.dumps(runs([True, False, True])) == "[[0, 1], [2, 3]]"
