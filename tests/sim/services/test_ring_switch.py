"""Ring protection: one switch for all services, a blocked link, timers (ITU-T G.8032, from memory)."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from slow_rings import slow_openings
from small_networks import hop, triangle

from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import Ring, Service, Site
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.inputs.input_errors import FaultList, InputError
from hopyears.sim.inputs.network_build import build_network
from hopyears.sim.services.ring_switch import Openings, ring_openings, ways_round
from hopyears.sim.services.route_choice import DEGRADED, FAILED, PLANNED
from hopyears.sim.services.service import BACKWARD, FORWARD, ServiceDemand, sweep_services
from hopyears.sim.services.service_data import RingSwitch

N_SECONDS = 60
WAITS = st.sampled_from([0.0, 9.0, np.inf])


@st.composite
def ring_states(draw):
    n_links = draw(st.integers(3, 5))
    states = np.zeros((N_SECONDS, n_links), dtype=np.int8)
    for link in range(n_links):
        for _ in range(draw(st.integers(0, 3))):
            start, length = draw(st.integers(0, N_SECONDS - 1)), draw(st.integers(1, 20))
            states[start : start + length, link] = draw(st.sampled_from([FAILED, FAILED, PLANNED, DEGRADED]))
    return states, draw(st.integers(0, n_links - 1))


@settings(deadline=None, max_examples=150)
@given(
    ring_states(),
    st.sampled_from([0.0, 3.0]),
    st.sampled_from([0.0, 2.0]),
    st.sampled_from([0.0, 9.0, np.inf]),
)
def test_openings_agree_with_a_look_at_every_second(ring, hold_off_s, guard_s, wait_s):
    states, protection = ring
    at, link = np.nonzero(np.diff(states, axis=0))
    changes = ((at + 1).astype(float), link.astype(np.int64), states[at + 1, link])
    timers = (hold_off_s, guard_s, wait_s)
    time_s, place, _ = ring_openings(*changes, states[0].copy(), protection, *timers, float(N_SECONDS))
    last = np.append(time_s[1:] > time_s[:-1], True)
    where = np.searchsorted(time_s[last], np.arange(N_SECONDS), side="right") - 1
    slow = slow_openings(states, protection, *timers)
    assert place[last][where].tolist() == slow


def link(times_s=(), states=()):
    capacity = np.array([[100.0, 100.0], [0.0, 0.0], [0.0, 0.0], [100.0, 10.0]])
    causes = np.array([0, int(Cause.RAIN), int(Cause.MAINTENANCE), int(Cause.MULTIPATH)])
    return HopHistory(np.array([0.0, *times_s]), np.array([0, *states], dtype=np.int32), capacity, causes)


UP, RAIN, WORK, LESS = 0, 1, 2, 3


def demands(**timers):
    """A ring of four links between sites 0 to 3, open at link 3; services 0 to 2, and 0 to 1."""
    own = {"hold_off_s": 0.0, "guard_s": 0.5, "wait_to_restore_s": 20.0, **timers}
    ring = RingSwitch((0, 1, 2, 3), 3, switching_s=0.05, commanded_s=0.0, **own)
    ways = {"across": (((0, 0), (1, 0)), ((3, 1), (2, 1))), "beside": (((0, 0),), ((3, 1), (2, 1), (1, 1)))}
    return [ServiceDemand(name, 30.0, 30.0, 1, routes, rings=(ring,)) for name, routes in ways.items()]


def lost(hops, **timers):
    """Starts and ends [s] of what each service loses."""
    return [
        list(zip(*(side.tolist() for side in history.down_intervals(FORWARD)[:2]), strict=True))
        for history in sweep_services(hops, demands(**timers), 100.0)
    ]


def flat(pairs):
    return [value for pair in pairs for value in pair]


def test_a_ring_turns_once_for_whoever_crosses_the_failed_link():
    """Link 1 fails: the service across turns within 50 ms, the one beside it notices nothing."""
    across, beside = lost([link(), link([10.0, 40.0], [RAIN, UP]), link(), link()])
    assert flat(across) == pytest.approx([10.0, 10.05])  # the way back is by command, without a hit here
    assert beside == []


RING = RingSwitch((0, 1, 2, 3), 3, 0.0, 0.5, 20.0, switching_s=0.05, commanded_s=0.0)


def opened(*turns):
    """Openings of a ring: time [s], place, whether by command."""
    time_s, place, command = (np.array(column) for column in zip(*turns, strict=True))
    return Openings(time_s, place, command)


def test_the_way_in_use_is_the_first_open_one_and_none_while_it_turns():
    """From the start on, through a failure of link 1 and back by command; 2 stands for the pause."""
    turns = opened((0.0, 3, False), (10.0, 1, False), (60.0, 3, True))
    time_s, choice = ways_round([turns], [RING], (((0, 0), (1, 0)), ((3, 1), (2, 1))))
    assert time_s.tolist() == [0.0, 10.0, 10.05, 60.0]
    assert choice.tolist() == [0, 2, 1, 0]


def test_where_every_way_is_blocked_the_first_is_kept():
    first, second = opened((0.0, 1, False)), opened((0.0, 2, False))
    time_s, choice = ways_round([first, second], [RING, RING], (((0, 0), (1, 0)), ((3, 1), (2, 1))))
    assert (time_s.tolist(), choice.tolist()) == ([0.0], [0])


def test_a_failure_of_the_blocked_link_hits_nobody():
    assert lost([link(), link(), link(), link([10.0, 40.0], [RAIN, UP])]) == [[], []]


def test_planned_work_and_reversion_are_commanded():
    across, beside = lost([link(), link([10.0, 40.0], [WORK, UP]), link(), link()])
    assert across == beside == []


def test_a_ring_that_does_not_revert_stays_open_where_it_failed():
    """Then a failure on the first way is no matter to who left it, and one on the second turns all back."""
    first, second = [60.0, 61.0], [80.0, 99.0]
    hops = [link(first, [RAIN, UP]), link([10.0, 40.0], [RAIN, UP]), link(second, [RAIN, UP]), link()]
    across, beside = lost(hops, wait_to_restore_s=np.inf)
    assert flat(across) == pytest.approx([10.0, 10.05, 80.0, 80.05])
    assert flat(beside) == pytest.approx([60.0, 60.05, 80.0, 80.05])


def test_two_failures_split_the_ring_until_one_is_back_for_the_guard_time():
    """Links 1 and 3 are down from 20 to 30 s: nobody gets across; then link 1 opens after half a second."""
    hops = [link(), link([10.0, 30.0], [RAIN, UP]), link(), link([20.0, 50.0], [RAIN, UP])]
    across, beside = lost(hops)
    assert beside == []
    assert across[0] == pytest.approx((10.0, 10.05))
    assert (across[1][0], across[-1][1]) == pytest.approx((20.0, 30.55))


def test_a_short_failure_is_sat_out_with_a_hold_off():
    hops = [link(), link([10.0, 11.0], [RAIN, UP]), link(), link()]
    assert flat(lost(hops, hold_off_s=2.0)[0]) == pytest.approx([10.0, 11.0])


def test_a_degraded_link_turns_the_ring_where_it_says_so():
    """Link 1 carries 10 backward, below the 15 that the services need, from 10 to 40 s."""
    hops = [link(), link([10.0, 40.0], [LESS, UP]), link(), link()]
    backward = [
        sweep_services(hops, demands(degraded_below_mbit_s=below), 100.0)[0].down_intervals(BACKWARD)
        for below in (0.0, 15.0)
    ]
    assert [flat(zip(*each[:2], strict=True)) for each in backward] == [
        pytest.approx([10.0, 40.0]),
        pytest.approx([10.0, 10.05]),
    ]
    assert backward[1][2].tolist() == [int(Cause.SWITCHING | Cause.MULTIPATH)]


def test_a_failure_goes_before_a_degraded_link():
    """Open at degraded link 1, then link 2 fails: back over the degraded one, for a while."""
    hops = [link(), link([10.0], [LESS]), link([30.0, 50.0], [RAIN, UP]), link()]
    across, beside = lost(hops, degraded_below_mbit_s=15.0)
    assert flat(across) == pytest.approx([10.0, 10.05, 30.0, 30.05, 50.5, 50.55])
    assert beside == []


def ring_network(**service):
    """Four sites on a ring, a spur to a fifth."""
    places = {
        "a": (45.0, 11.0),
        "b": (45.05, 11.2),
        "c": (45.2, 11.22),
        "d": (45.18, 11.02),
        "e": (45.3, 11.3),
    }
    sites = [Site(id=name, latitude_deg=lat, longitude_deg=lon) for name, (lat, lon) in places.items()]
    hops = [hop(f"{x}{y}", x, y, 18.0) for x, y in ("ab", "cb", "cd", "da", "ce")]
    own = {"id": "s", "site_a": "e", "site_b": "a", "committed_mbit_s": 20.0, "protection": "ring", **service}
    return triangle(
        sites=tuple(sites),
        hops=tuple(hops),
        crews=(),
        services=(Service(**own),),
        rings=(Ring(id="r", hops=("ab", "cb", "cd", "da"), blocked="cd"),),
    )


def demand_of(network):
    (demand,) = prepare(network, ModelOptions(rain=False, anchoring=False)).demands
    return demand


def test_a_service_has_both_ways_round_the_ring_on_its_way():
    """The way over the blocked hop comes second; the spur is common to both."""
    demand = demand_of(ring_network())
    assert demand.routes == (
        ((4, BACKWARD), (1, FORWARD), (0, BACKWARD)),
        ((4, BACKWARD), (2, FORWARD), (3, FORWARD)),
    )
    assert demand.rings == (RingSwitch((0, 1, 2, 3), 2, 0.0, 0.5, 300.0),)


def test_a_service_off_the_ring_is_refused():
    with pytest.raises(InputError, match='protection is "ring"; must be another where no ring'):
        demand_of(ring_network(site_b="c"))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"hops": ["ab", "cd", "cb", "da"]},
            "hops is no such chain; must be hops in order, round a ring or to another ring, that meet no",
        ),
        ({"hops": ["ab", "cb", "cd", "ad"]}, r'hops\[4\] is "ad"; must be a hop id'),
        ({"hops": ["ab", "cb", "cd", "da", "ab"]}, 'hops is "ab" again; must be hops of one ring, each once'),
        ({"blocked": "ce"}, 'blocked is "ce"; must be one of its hops'),
        ({"hops": ["ab", "cb", "cd"]}, 'hops is an open chain from "a" to "d"; must be a closed ring, or a'),
    ],
)
def test_rings_are_checked(change, message):
    raw = json.loads(ring_network().model_dump_json(by_alias=True, exclude_none=True))
    raw["rings"][0] |= change
    with pytest.raises(InputError, match=message):
        build_network(raw, "network.toml", {}, FaultList(), {})
