"""The fast loops of a hop against slow, obvious ones."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from slow_hop import level_by_stepping, state_by_scanning

from hopyears.sim.hops.hop_kernel import merge_changes, rain_level_changes, unpacked_levels

DOWN = np.array([[30.0, 20.0, 8.0]])
UP = np.array([[30.0, 18.0, 6.0]])


def one_window(attenuation_db, step_s=10.0):
    time_s = step_s * np.arange(len(attenuation_db))
    return time_s, np.array(attenuation_db, dtype=float), np.array([0, len(attenuation_db)])


def test_levels_fall_and_come_back_at_interpolated_crossings():
    changes = rain_level_changes(*one_window([0, 10, 32, 12, 5, 0]), 0.0, 100.0, DOWN, UP)
    expected = [
        (8.0, 2),
        (10 + 10 * 10 / 22, 1),
        (10 + 20 * 10 / 22, 0),
        (20 + 2 * 10 / 20, 1),
        (20 + 14 * 10 / 20, 2),
        (30 + 6 * 10 / 7, 3),
    ]
    assert changes[:, 0] == pytest.approx([time for time, _ in expected])
    assert changes[:, 2].tolist() == [level for _, level in expected]


def test_thresholds_in_force_from_the_middle_of_a_fade_apply_at_once():
    changes = rain_level_changes(*one_window([0, 10, 32, 12, 5, 0]), 22.0, 35.0, DOWN, UP)
    # 28 dB at 22 s: two modulations are lost at once; at 35 s the stretch ends and all come back.
    assert changes.tolist() == [[22.0, 0, 2], [22.0, 0, 1], [27.0, 0, 2], [35.0, 0, 3]]


@pytest.mark.parametrize("start_s", [0.0, 45.0, 100.0, 130.0, 250.0, 320.0, 460.0])
def test_windows_that_are_over_change_nothing(start_s):
    """Four windows of rain; what lies before the stretch is found by search, not by walking."""
    parts = [
        one_window([0, 25, 0]),
        one_window([0, 33, 11, 0]),
        one_window([0, 9, 0]),
        one_window([0, 40, 0]),
    ]
    begins = [0.0, 100.0, 200.0, 300.0]
    time_s = np.concatenate([begin + part[0] for begin, part in zip(begins, parts, strict=True)])
    attenuation_db = np.concatenate([part[1] for part in parts])
    windows = np.cumsum([0, *(len(part[0]) for part in parts)])
    found = rain_level_changes(time_s, attenuation_db, windows, start_s, 1e4, DOWN, UP)
    late = [k for k, begin in enumerate(begins) if begin + parts[k][0][-1] > start_s]
    alone = [rain_level_changes(begins[k] + parts[k][0], *parts[k][1:], start_s, 1e4, DOWN, UP) for k in late]
    np.testing.assert_array_equal(found, np.concatenate([*alone, np.empty((0, 3))]))
    assert bool(len(found)) == (start_s < 320.0)


@settings(max_examples=60)
@given(
    st.lists(st.floats(0.0, 40.0), min_size=3, max_size=12),
    st.lists(st.floats(1.0, 35.0), min_size=1, max_size=4, unique=True),
    st.floats(0.0, 3.0),
)
def test_levels_are_those_of_a_small_step_clock(depths, thresholds, hysteresis):
    depths = [0.0, *depths, 0.0]
    down = np.sort(thresholds)[::-1]
    up = np.maximum(down - hysteresis, 0.5 * down)
    time_s, attenuation, windows = one_window(depths)
    changes = rain_level_changes(time_s, attenuation, windows, 0.0, 1e4, down[None, :], up[None, :])
    clock, slow = level_by_stepping(time_s, attenuation, down, up, 0.01)
    fast = state_by_scanning([(t, level) for t, _, level in changes], len(down), clock[::50])
    # The clock sees a crossing up to one step late.
    agree = (fast == slow[::50]) | np.isin(np.arange(len(fast)), _near(changes[:, 0], clock[::50]))
    assert agree.all()


def _near(times, clock):
    return np.flatnonzero(np.min(np.abs(clock[:, None] - times[None, :]), axis=1, initial=np.inf) < 0.03)


def test_merged_states_follow_every_source_and_equal_states_share_a_row():
    segments, equipment = np.array([0.0, 50.0, 70.0]), np.array([0, 1, 0])
    rain = np.array([[10.0, 0, 1], [20.0, 0, 2], [55.0, 1, 0], [70.0, 1, 2]])
    fades = np.array([[15.0, 1, 1, 1], [30.0, 1, 2, 0], [60.0, 0, 0, 2], [65.0, 0, 2, 0]])
    time_s, state, joint = merge_changes(segments, equipment, rain, fades, 2, 2)
    assert time_s.tolist() == [0, 10, 15, 20, 30, 50, 55, 60, 65, 70]
    assert state[0] == state[-1] == state[4]
    levels = np.minimum(unpacked_levels(joint[:, 1], 2), unpacked_levels(joint[:, 2], 2))[state]
    assert levels.tolist() == [
        [2, 2], [1, 2], [1, 1], [2, 1], [2, 2], [2, 2], [2, 0], [0, 0], [2, 0], [2, 2],
    ]  # fmt: skip
    assert joint[state, 0].tolist() == [0, 0, 0, 0, 0, 1, 1, 1, 1, 0]
    assert unpacked_levels(joint[state, 3], 2)[7].tolist() == [2, 0]


@given(st.integers(0, 2**32 - 1), st.sampled_from([3, 24]))
@settings(max_examples=30)
def test_merging_is_what_scanning_every_source_gives(seed, n_channels):
    random = np.random.default_rng(seed)
    n_levels = 4
    rain = _random_changes(random, n_channels, n_levels)
    fades = np.column_stack([_random_changes(random, n_channels, n_levels), np.ones(200)])
    time_s, state, joint = merge_changes(
        np.zeros(1), np.zeros(1, dtype=int), rain, fades, n_channels, n_levels
    )
    clock = random.uniform(0.0, 1000.0, 40)
    row = state[np.searchsorted(time_s, clock, side="right") - 1]
    for source, column in ((rain, 1), (fades, 2)):
        found = unpacked_levels(joint[:, column::3], n_channels)[row]
        for channel in range(n_channels):
            own = [(t, level) for t, c, level in source[:, :3] if c == channel]
            assert found[:, channel].tolist() == state_by_scanning(own, n_levels, clock).tolist()
    assert (np.diff(state) != 0).all()
    assert len(np.unique(joint, axis=0)) == len(joint) > 100


def _random_changes(random, n_channels, n_levels):
    time_s = np.sort(random.uniform(0.0, 1000.0, 200))
    return np.column_stack(
        [time_s, random.integers(0, n_channels, 200), random.integers(0, n_levels + 1, 200)]
    ).astype(float)
