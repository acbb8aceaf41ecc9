"""Routes left for want of capacity, and pre-emption (RFC 2702, 5.5 to 5.7; RFC 3209: from memory)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from slow_sweep import slow_sweep
from small_networks import triangle

from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import Service
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service import ServiceDemand, routes_in_use, sweep_services
from hopyears.sim.services.service_data import BACKWARD, FORWARD

N_SECONDS = 50
CAPACITY_MBIT_S = np.array([[100.0, 60.0, 30.0, 0.0, 0.0, 60.0], [100.0, 60.0, 100.0, 0.0, 0.0, 60.0]]).T
UP, LOW, HALF, DEAD, WORK, LESS_BY_WORK = range(6)
CAUSES = np.array([0, Cause.RAIN, Cause.RAIN, Cause.POWER, Cause.MAINTENANCE, Cause.MAINTENANCE])


def hop(*changes):
    """A hop of 100 Mbit/s with changes (time [s], state)."""
    time_s, state = zip((0.0, UP), *changes, strict=True)
    return HopHistory(np.array(time_s, float), np.array(state, np.int32), CAPACITY_MBIT_S, CAUSES)


@st.composite
def crowded_networks(draw):
    """Three to five single links, and services of 20 or 50 Mbit/s with two or three ways over them."""
    n_links = draw(st.integers(3, 5))
    changes = st.lists(st.tuples(st.integers(1, N_SECONDS), st.integers(0, 5)), max_size=8)
    hops = [hop(*sorted(draw(changes), key=lambda each: each[0])) for _ in range(n_links)]
    way = st.lists(st.integers(0, n_links - 1), min_size=1, max_size=2, unique=True).map(
        lambda links: tuple((link, 0) for link in links)
    )
    services = [
        ServiceDemand(
            f"s{number}",
            committed_mbit_s=committed,
            peak_mbit_s=committed + 10.0,
            priority=draw(st.integers(1, 2)),
            routes=tuple(draw(st.lists(way, min_size=2, max_size=3, unique=True))),
            switching_s=draw(st.sampled_from([0.0, 2.0])),
            commanded_s=draw(st.sampled_from([0.0, 1.0])),
            hold_off_s=draw(st.sampled_from([0.0, 3.0])),
            wait_to_restore_s=draw(st.sampled_from([0.0, 6.0, np.inf])),
            leaves_congestion=draw(st.integers(0, 3)) > 0,
            preempts=draw(st.booleans()),
        )
        for number in range(draw(st.integers(2, 6)))
        for committed in [draw(st.sampled_from([20.0, 50.0]))]
    ]
    return hops, services


@pytest.mark.slow
@settings(deadline=None, max_examples=150)
@given(crowded_networks())
def test_agrees_with_a_look_at_every_second(network):
    hops, services = network
    links = [(k,) for k in range(len(hops))]
    rate, _, _ = slow_sweep(hops, services, links, N_SECONDS)
    for history, slow in zip(
        sweep_services(hops, services, N_SECONDS, links=links, record_rates=True), rate, strict=True
    ):
        place = np.searchsorted(history.time_s, np.arange(N_SECONDS), side="right") - 1
        np.testing.assert_allclose(history.rate_mbit_s[history.result[place]], slow, atol=1e-3)


@pytest.mark.slow
@settings(deadline=None, max_examples=100)
@given(crowded_networks())
def test_nobody_comes_and_goes_while_nothing_changes(network):
    hops, services = network
    still_s = max(each.time_s[-1] for each in hops)
    for time_s, _ in routes_in_use(hops, services, 1000.0, links=[(k,) for k in range(len(hops))]):
        assert time_s[-1] < still_s + 100.0


def demand(name, priority=1, committed=50.0, routes=(((0, 0),), ((1, 0),)), **own):
    own = {"switching_s": 2.0, "commanded_s": 0.0, "wait_to_restore_s": 20.0, "leaves_congestion": True} | own
    return ServiceDemand(name, committed, committed, priority, routes, **own)


def ways(hops, *services):
    """Of each service [time, route], -1 while it carries nothing."""
    found = routes_in_use(hops, services, 100.0, links=[(k,) for k in range(len(hops))])
    return [
        [
            (t, r if r < len(service.routes) else -1)
            for t, r in zip(*map(np.ndarray.tolist, each), strict=True)
        ]
        for service, each in zip(services, found, strict=True)
    ]


def test_the_less_important_leaves_and_comes_back_after_the_wait():
    """Link 0 falls to 60 from 10 to 40 s: no room for twice 50, and the second of them has another way."""
    gold, tin = ways([hop((10, LOW), (40, UP)), hop()], demand("gold"), demand("tin", priority=2))
    assert gold == [(0.0, 0)]
    assert tin == [(0.0, 0), (10.0, -1), (12.0, 1), (60.0, 0)]


def test_of_equals_one_moves_and_the_other_then_has_room():
    one, other = ways([hop((10, LOW), (40, UP)), hop()], demand("one"), demand("other"))
    assert one == [(0.0, 0), (10.0, -1), (12.0, 1), (60.0, 0)]
    assert other == [(0.0, 0)]


def test_who_gets_its_rate_stays_where_others_do_not():
    """Of 95 on 60 the max-min share of 5 is 5: who asked for so little has no reason to go."""
    fixed = {"leaves_congestion": False, "committed": 45.0}
    hops = [hop((10, LOW)), hop()]
    *_, small = ways(hops, demand("a", **fixed), demand("b", **fixed), demand("small", committed=5.0))
    assert small == [(0.0, 0)]


def test_a_short_dip_is_sat_out_with_a_hold_off():
    hops = [hop((10, LOW), (12, UP), (30, LOW)), hop()]
    _, tin = ways(hops, demand("gold"), demand("tin", priority=2, hold_off_s=5.0))
    assert tin == [(0.0, 0), (35.0, -1), (37.0, 1)]


def test_a_wait_begins_anew_when_room_is_lost():
    hops = [hop((10, LOW), (40, UP), (50, LOW), (55, UP)), hop()]
    _, tin = ways(hops, demand("gold"), demand("tin", priority=2))
    assert tin[-2:] == [(12.0, 1), (75.0, 0)]


def test_nobody_goes_where_there_is_no_room():
    """The other way is full of an equal: better 10 of 50 here than less for him there."""
    own = {"leaves_congestion": False, "routes": (((1, 0),),)}
    hops = [hop((10, LOW)), hop((0.5, LOW))]
    _, tin, _ = ways(hops, demand("gold"), demand("tin", priority=2), demand("there", priority=2, **own))
    assert tin == [(0.0, 0)]


@pytest.mark.parametrize("preempts", [True, False])
def test_pre_emption_takes_the_room_of_a_lower_priority(preempts):
    """Gold's way falls to 30 Mbit/s; the other, of 60, is held by tin, which has a third one to go to."""
    hops = [hop((10, HALF)), hop((0.5, LOW)), hop()]
    gold = demand("gold", preempts=preempts)
    tin = demand("tin", priority=2, routes=(((1, 0),), ((2, 0),)))
    found = ways(hops, gold, tin)
    if preempts:
        assert found == [[(0.0, 0), (10.0, -1), (12.0, 1)], [(0.0, 0), (10.0, -1), (12.0, 1)]]
    else:
        assert found == [[(0.0, 0)], [(0.0, 0)]]


def test_who_is_displaced_and_has_no_other_way_gets_what_is_left():
    hops = [hop((10, HALF)), hop((0.5, LOW))]
    tin = demand("tin", priority=2, routes=(((1, 0),),))
    gold, left = sweep_services(hops, [demand("gold"), tin], 100.0, record_rates=True)
    at_the_end = [float(each.rate_mbit_s[each.result[-1], FORWARD]) for each in (gold, left)]
    assert at_the_end == [50.0, 10.0]
    assert left.causes[left.result[-1], FORWARD] == int(Cause.RAIN)


def test_room_that_nobody_holds_comes_before_room_of_others():
    """Gold would displace tin on the second way; the third is free."""
    hops = [hop((10, HALF)), hop((0.5, LOW)), hop()]
    gold = demand("gold", routes=(((0, 0),), ((1, 0),), ((2, 0),)))
    tin = demand("tin", priority=2, routes=(((1, 0),),))
    assert ways(hops, gold, tin)[0] == [(0.0, 0), (10.0, -1), (12.0, 2)]


def test_a_dead_route_is_left_also_for_one_without_room():
    hops = [hop((10, DEAD)), hop((0.5, HALF))]
    assert ways(hops, demand("s"))[0] == [(0.0, 0), (10.0, -1), (12.0, 1)]


def test_planned_work_is_left_by_command_and_without_hold_off():
    hops = [hop((10, LESS_BY_WORK), (40, UP)), hop()]
    _, tin = ways(hops, demand("gold"), demand("tin", priority=2, hold_off_s=5.0))
    assert tin == [(0.0, 0), (10.0, 1), (60.0, 0)]


def test_nobody_stands_in_his_own_way():
    """Both ways begin on link 0, where 50 of 60 Mbit/s forward are its own already; backward it sends 20."""
    hops = [hop((0.5, LOW)), hop((10, HALF)), hop()]
    own = {"routes": (((0, 0), (1, 0)), ((0, 0), (2, 0))), "backward_mbit_s": (20.0, 20.0)}
    assert ways(hops, demand("s", **own))[0] == [(0.0, 0), (10.0, -1), (12.0, 1)]


def test_who_switches_by_failures_alone_displaces_the_less_important():
    """The first's own way dies; on the second, of 60 Mbit/s, both do not fit."""
    hops = [hop((10, DEAD)), hop((0.5, LOW)), hop()]
    first = demand("first", leaves_congestion=False)
    tin = demand("tin", priority=2, routes=(((1, 0),), ((2, 0),)))
    assert ways(hops, first, tin)[1] == [(0.0, 0), (12.0, -1), (14.0, 1)]
    _, (_, choice) = routes_in_use(hops, [first, tin], 100.0, links=[(k,) for k in range(3)])
    assert choice.tolist() == [0, 2, 1]  # two routes, so 2 is the pause on the way from the first of them


def test_each_direction_counts():
    """30 forward and 100 backward: who sends 50 back the other way round fits."""
    hops = [hop((10, HALF)), hop()]
    turned = demand("turned", committed=20.0, backward_mbit_s=(50.0, 50.0))
    assert ways(hops, turned)[0] == [(0.0, 0)]
    (history,) = sweep_services(hops, [turned], 100.0)
    assert not history.down_intervals(BACKWARD)[0].size


def test_a_file_says_so():
    own = Service(id="s", site_a="a", site_b="b", committed_mbit_s=30.0, protection="rerouted",
                  switch_trigger="congestion", preempts=False)  # fmt: skip
    (found,) = prepare(triangle(services=(own,)), ModelOptions(rain=False, anchoring=False)).demands
    assert (found.leaves_congestion, found.preempts, found.switch_below_mbit_s) == (True, False, 30.0)
