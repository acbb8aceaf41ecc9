"""Channels that protect each other, with a switch that may fail on demand."""

from itertools import chain, repeat

import numpy as np
import pytest
from bare_plant import HOUR, bare_plant, blocks, check_mean, standard_errors_off, unit_kind
from hand_made_log import failure_log
from hypothesis import given
from hypothesis import strategies as st
from markov import long_run
from small_networks import hop, triangle

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.plant import ChannelSwitch
from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import PartChange, Switching
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.equipment.channel_switch import stuck_streams, switch_changes
from hopyears.sim.equipment.draws import Draws
from hopyears.sim.streams import Streams

MTBF_H, MTTR_H = 1000.0, 50.0
N_SECONDS = 60


def waiting(waits):
    """Asked again and again: these waits, then none."""
    return chain(waits, repeat(0.0)).__next__


def slow_stuck(changes, n_channels, n_streams, wait_s):
    """Streams stuck in every second, by a look at each second."""
    down = [0] * n_channels
    place, hand, found = list(range(n_streams)), [None] * n_streams, []
    for now in range(N_SECONDS):
        for time_s, channel, step in changes:
            if time_s == now:
                down[channel] += step
        hand = [None if not down[place[s]] else hand[s] for s in range(n_streams)]
        for s in range(n_streams):
            asked = hand[s] is None
            if hand[s] is not None and hand[s] <= now:
                hand[s] = None
            free = [c for c in range(n_channels) if not down[c] and c not in place]
            if down[place[s]] and hand[s] is None and free:
                wait = wait_s() if asked else 0
                if wait:
                    hand[s] = now + wait
                else:
                    place[s] = free[0]
        found.append(sum(each is not None for each in hand))
    return found


@st.composite
def histories(draw):
    n_channels = draw(st.integers(2, 4))
    changes = []
    for channel in range(n_channels):
        times = sorted(draw(st.lists(st.integers(0, N_SECONDS - 1), max_size=6, unique=True)))
        changes += [(float(time_s), channel, 1 - 2 * (i % 2)) for i, time_s in enumerate(times)]
    streams = draw(st.integers(1, n_channels - 1))
    return sorted(changes), n_channels, streams, draw(st.lists(st.sampled_from([0.0, 4.0, 30.0]), max_size=8))


@given(histories())
def test_agrees_with_a_look_at_every_second(history):
    changes, n_channels, n_streams, waits = history
    found = stuck_streams(changes, n_channels, n_streams, waiting(waits))
    by_second = np.zeros(N_SECONDS, int)
    for time_s, stuck in found:
        by_second[int(time_s) :] = stuck
    assert by_second.tolist() == slow_stuck(changes, n_channels, n_streams, waiting(waits))


def imperfect_pair(failure, manual_h):
    """Share of time without traffic of 1+1 channels, by the Markov chain of ``test_failures_markov``.

    States: 0 both work; 1 one works and carries; 2 both down; 3 stuck on a dead channel; 4 so, both down.
    """
    fail, mend, hand, works = 1 / MTBF_H, 1 / MTTR_H, 1 / manual_h, 1 - failure
    chance = long_run({
        (0, 1): fail * (1 + works), (0, 3): fail * failure, (1, 0): mend, (1, 2): fail,
        (2, 1): mend * (1 + works), (2, 3): mend * failure, (3, 0): mend, (3, 1): hand,
        (3, 4): fail, (4, 1): mend, (4, 3): mend, (4, 2): hand,
    })  # fmt: skip
    return chance[2] + chance[3] + chance[4]


def silent_share(log):
    """Share of time in which both parts are down or the stream is stuck."""
    stuck_s, stuck = log.stuck.of(0)
    part_s, part, state = log.state_changes_for([0, 1])
    time_s = np.concatenate([[0.0], stuck_s, part_s])
    order = np.argsort(time_s, kind="stable")
    down, held, silent, begun = [False, False], 0, 0.0, 0.0
    for k in order.tolist():
        if all(down) or held:
            silent += time_s[k] - begun
        begun = time_s[k]
        if k > stuck_s.size:
            down[part[k - 1 - stuck_s.size]] = bool(state[k - 1 - stuck_s.size])
        elif k:
            held = stuck[k - 1]
    return (silent + (log.duration_s - begun) * bool(all(down) or held)) / log.duration_s


@pytest.mark.parametrize(("failure", "manual_h"), [(0.1, 5.0), (0.3, 100.0)])
def test_one_protection_channel_is_a_pair_with_an_imperfect_switch(failure, manual_h):
    """Coverage model of IEC 61165 (as ``reliability.csv``), solved by quantecon."""
    switch = ChannelSwitch("s", ((0,), (1,)), 1, failure, Law.exponential(manual_h))
    plant = bare_plant(2, unit_kind(MTBF_H, MTTR_H), crews=2, switches=[switch])
    shares = [silent_share(log) for log in blocks(plant, n_blocks=14, hours=40 * 8766.0)]
    check_mean(shares, imperfect_pair(failure, manual_h))
    assert abs(standard_errors_off(shares, imperfect_pair(0.0, manual_h))) > 4.0


def hop_years(scheme, **switching):
    """Two years of a network on whose first hop radios fail every month, without weather."""
    network = triangle(
        hops=(hop("a-b", "a", "b", 7.0, scheme, antenna="large"), *triangle().hops[1:]),
        services=(),
        parts=(PartChange(kind="outdoor_radio", mtbf_h=1500.0),),
        switching=Switching(**switching),
    )
    options = ModelOptions(rain=False, multipath=False, anchoring=False)
    return BlockSimulator(prepare(network, options)).simulate(3, 0, 2).hops[0]


@pytest.mark.parametrize(("scheme", "working"), [("1+1 FD", 1), ("2+1", 2)])
def test_a_switch_that_always_fails_leaves_what_the_dead_channel_carried(scheme, working):
    never, always = (
        hop_years(scheme, failure_on_demand=chance, manual_switch_h=3.0) for chance in (0.0, 1.0)
    )
    assert not (never.causes & Cause.SWITCHING).any()
    full = never.capacity_mbit_s.max()
    held = always.causes & Cause.SWITCHING != 0
    assert held.any()
    # What is stuck carries nothing, the other streams go on; a second dead channel takes one more.
    left = set(np.round(always.capacity_mbit_s[held].min(axis=1) / full * working).astype(int).tolist())
    assert max(left) == working - 1
    lost_s = [
        np.diff(np.append(each.time_s, 2 * 8766 * HOUR))[
            (each.capacity_mbit_s < full).any(axis=1)[each.state]
        ].sum()
        for each in (never, always)
    ]
    assert lost_s[1] > 1.5 * lost_s[0]


def stuck_at(*episodes):
    """When how many streams are stuck at a switch that never works by itself, and takes ten hours by hand."""
    switch = ChannelSwitch("s", ((0,), (1,)), 1, 1.0, Law.fixed(10.0))
    plant = bare_plant(2, unit_kind(MTBF_H, MTTR_H), crews=2, switches=[switch])
    end_s = 100.0 * HOUR
    log = failure_log(2, 1, end_s, [{"part": 0, **each} for each in episodes])
    draws = Draws(Streams(1, 0), [("group", "s")])
    return list(zip(*switch_changes(plant, draws, log.failures, end_s).of(0), strict=True))


def test_a_stream_stuck_before_the_block_is_stuck_at_its_start():
    assert stuck_at({"failed": -HOUR, "mended": 50 * HOUR}) == [(0.0, 1), (9 * HOUR, 0)]
    # Set right before the block, or when it begins to be stuck within.
    assert stuck_at({"failed": -20 * HOUR, "mended": 50 * HOUR}) == []
    assert stuck_at({"failed": 0.5, "mended": 50 * HOUR}) == [(0.5, 1), (10 * HOUR + 0.5, 0)]


def test_what_stops_no_traffic_or_is_unseen_asks_for_no_switch():
    seen = {"failed": HOUR, "mended": 50 * HOUR}
    assert stuck_at(seen | {"affecting": False}) == []
    assert stuck_at(seen | {"latent": True, "arrived": 2 * HOUR}) == []
