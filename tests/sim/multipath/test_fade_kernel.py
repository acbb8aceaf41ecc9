"""The fade kernel against the slow step-by-step version, and its own laws."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from fade_steps import levels_by_steps

from hopyears.sim.multipath import fade_kernel
from hopyears.sim.multipath.fade_kernel import ChangePoints, Thresholds, change_points
from hopyears.sim.multipath.fades import FadeEvents

STEP_S = 0.05
END_S = 3000.0


def random_fades(seed, n, n_lines, spread=0.15):
    random = np.random.default_rng(seed)
    time = np.sort(random.uniform(0.0, END_S, n))
    dx, dy = random.normal(0.0, spread, (2, n, n_lines))
    speed = np.exp(random.normal(np.log(0.01), 0.8, n))
    kind = random.integers(0, 3, n).astype(np.int8)
    reach = (1.0 + np.abs(dx).max(axis=1)) / speed
    return FadeEvents(
        time_s=time,
        impact=random.uniform(-0.5, 0.5, n),
        speed_per_s=speed,
        dx=dx,
        dy=dy,
        kind=kind,
        latest_end_s=np.maximum.accumulate(time + reach),
        earliest_start_s=np.minimum.accumulate((time - reach)[::-1])[::-1],
    )


def random_thresholds(seed, usable, n_modulations, hold_s):
    random = np.random.default_rng(seed)
    usable = np.array(usable, dtype=bool)
    shape = (3, *usable.shape, n_modulations)
    down = np.sort(random.uniform(0.001, 0.15, shape), axis=-1)
    up = np.maximum.accumulate(down * random.uniform(1.0, 1.8, shape), axis=-1)
    return Thresholds(usable, down, up, np.full(n_modulations, hold_s))


def levels_at(points: ChangePoints, n_channels, full, times):
    level = np.full((n_channels, len(times)), full)
    for channel in range(n_channels):
        own = points.channel == channel
        index = np.searchsorted(points.time_s[own], times, side="right")
        level[channel] = np.concatenate([[full], points.level[own]])[index]
    return level


CASES = [
    pytest.param([[1]], 1, 0.0, id="one line, one modulation"),
    pytest.param([[1, 0, 0], [0, 1, 0]], 4, 0.0, id="two channels of one line"),
    pytest.param([[1, 1, 0], [0, 1, 1]], 3, 0.0, id="two channels with diversity"),
    pytest.param([[1, 1, 1], [1, 0, 0]], 5, 2.0, id="three lines, with hold"),
]


@pytest.mark.parametrize(("usable", "n_modulations", "hold_s"), CASES)
@pytest.mark.parametrize("seed", range(3))
def test_agrees_with_the_step_by_step_version(usable, n_modulations, hold_s, seed):
    fades = random_fades(seed, 120, len(usable[0]))
    thresholds = random_thresholds(seed, usable, n_modulations, hold_s)
    points = change_points(fades, thresholds, 0.0, END_S)
    times, expected = levels_by_steps(fades, thresholds, END_S, STEP_S)
    found = levels_at(points, len(usable), n_modulations, times)
    assert (expected < n_modulations).any()
    # The steps see a change up to one step late (two with the hold): no more may differ.
    wrong = np.abs(found - expected).sum()
    assert wrong <= 2.0 * len(points.time_s) * n_modulations
    assert wrong < 0.01 * (expected < n_modulations).sum()


def test_a_wrong_threshold_would_be_seen():
    """Negative control of the comparison above."""
    fades = random_fades(0, 120, 1)
    right = random_thresholds(0, [[1]], 4, 0.0)
    wrong = Thresholds(right.usable, 0.9 * right.down, right.up, right.hold_s)
    times, expected = levels_by_steps(fades, right, END_S, STEP_S)
    found = levels_at(change_points(fades, wrong, 0.0, END_S), 1, 4, times)
    assert np.abs(found - expected).sum() > 0.01 * (expected < 4).sum()


def test_points_are_in_order_and_change_something():
    points = change_points(
        random_fades(5, 300, 2), random_thresholds(5, [[1, 0], [1, 1]], 4, 1.0), 0.0, END_S
    )
    assert np.all(np.diff(points.time_s) >= 0.0)
    assert points.time_s.min() >= 0.0
    assert points.time_s.max() < END_S
    for channel in range(2):
        own = points.channel == channel
        state = points.level[own] * 4 + points.cause[own]
        assert np.all(np.diff(np.concatenate([[16], state])) != 0)
        assert np.all((points.level[own] == 4) == (points.cause[own] == 0))
    assert set(np.unique(points.cause)) <= {0, 1, 2, 3}


@pytest.mark.parametrize("hold_s", [0.0, 1.0])
def test_parts_of_a_span_say_what_the_whole_says(hold_s):
    """With the same thresholds throughout, and no fade of memory longer than itself, cuts change nothing."""
    fades = random_fades(7, 200, 1)
    thresholds = random_thresholds(7, [[1]], 3, hold_s)
    thresholds = Thresholds(thresholds.usable, thresholds.down, thresholds.down, thresholds.hold_s)
    cuts = [0.0, 400.0, 401.5, 1700.0, END_S]
    whole = change_points(fades, thresholds, 0.0, END_S)
    times = np.arange(0.013, END_S, 0.5)
    expected = levels_at(whole, 1, 3, times)
    for start, end in pairwise(cuts):
        part = change_points(fades, thresholds, start, end)
        inside = (times >= start) & (times < end)
        assert np.array_equal(levels_at(part, 1, 3, times[inside]), expected[:, inside])
        assert np.all((part.time_s >= start) & (part.time_s < end))


@pytest.mark.parametrize(("usable", "n_modulations", "hold_s"), CASES)
def test_fades_that_cannot_meet_are_followed_each_by_itself(usable, n_modulations, hold_s):
    """Told that all may meet, the kernel says the same to the last bit."""
    fades = random_fades(11, 500, len(usable[0]))
    fades = replace(fades, time_s=np.cumsum(np.random.default_rng(1).exponential(300.0, 500)))
    reach = (0.7 + np.abs(fades.dx).max(axis=1)) / fades.speed_per_s
    latest = np.maximum.accumulate(fades.time_s + reach)
    earliest = np.minimum.accumulate((fades.time_s - reach)[::-1])[::-1]
    fades = replace(fades, latest_end_s=latest, earliest_start_s=earliest)
    thresholds = random_thresholds(11, usable, n_modulations, hold_s)
    apart = np.count_nonzero(earliest[1:] > latest[:-1] + hold_s)
    assert 20 < apart < 400
    for start, end in ((0.0, np.inf), (20_000.0, 90_000.0)):
        found = change_points(fades, thresholds, start, end)
        everything = replace(fades, latest_end_s=np.full(500, 1e9), earliest_start_s=np.full(500, -1e9))
        assert np.array_equal(found.rows, change_points(everything, thresholds, start, end).rows)
    assert len(found.rows) > 50


def one_fade(kind=0, impact=0.0):
    return FadeEvents(
        time_s=np.array([100.0]),
        impact=np.array([impact]),
        speed_per_s=np.array([0.01]),
        dx=np.zeros((1, 1)),
        dy=np.zeros((1, 1)),
        kind=np.array([kind], dtype=np.int8),
        latest_end_s=np.array([200.0]),
        earliest_start_s=np.array([0.0]),
    )


def test_one_fade_by_hand():
    """Lost 10 s before the bottom at x = 0.01; back 20 s after it at x = 0.04, and 1.5 s of hold."""
    thresholds = Thresholds(
        np.array([[True]]), np.full((3, 1, 1, 1), 0.01), np.full((3, 1, 1, 1), 0.04), np.array([1.5])
    )
    points = change_points(one_fade(kind=2), thresholds, 0.0, 1000.0)
    assert points.time_s == pytest.approx([90.0, 121.5])
    assert points.level.tolist() == [0, 1]
    assert points.cause.tolist() == [fade_kernel.DISPERSIVE_BIT, 0]
    assert change_points(one_fade(impact=0.11), thresholds, 0.0, 1000.0).time_s.size == 0
    started = change_points(one_fade(), thresholds, 95.0, 110.0)
    assert started.time_s.tolist() == [95.0]
    assert started.level.tolist() == [0]
    assert started.cause.tolist() == [fade_kernel.FLAT_BIT]
    assert change_points(one_fade(), thresholds, 122.0, 1000.0).time_s.size == 0


def test_channel_without_a_line_says_nothing():
    thresholds = Thresholds(
        np.array([[False]]), np.full((3, 1, 1, 1), 0.01), np.full((3, 1, 1, 1), 0.04), np.zeros(1)
    )
    assert change_points(one_fade(), thresholds, 0.0, 1000.0).time_s.size == 0


@pytest.mark.parametrize(
    ("down", "up", "hold", "message"),
    [
        ([0.02, 0.01], [0.02, 0.02], [0, 0], "down falls from one modulation to the next"),
        ([0.01, 0.02], [0.01, 0.015], [0, 0], "up is below down; must be at least down"),
        ([0.01, 0.02], [0.01, 0.02], [0, -1], "hold_s is -1; must be at least 0"),
        ([0.01, 0.02], [0.01], [0, 0], "up is of shape"),
    ],
)
def test_refuses_thresholds_out_of_order(down, up, hold, message):
    down, up = (np.tile(np.array(values, dtype=float), (3, 1, 1, 1)) for values in (down, up))
    with pytest.raises(ValueError, match=message):
        Thresholds(np.array([[True]]), down, up, np.array(hold))
