"""Capacity shared out as far as a change reaches, against all of it shared anew at every instant.

The other side knows neither groups nor what was before: it is the sharing of ``models.judging`` (tested by
itself) on all links, with the routes that are in use.
"""

from dataclasses import replace

import numpy as np
import pytest
from slow_sweep import all_shared, at_hour, link_at

from hopyears.models.judging.cause import Cause
from hopyears.models.judging.demand_clock import DemandClock
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service import Sweeper, routes_in_use
from hopyears.sim.services.service_data import RingSwitch, ServiceDemand
from hopyears.sim.services.service_frame import frame_of, frame_of_outages
from hopyears.sim.services.service_plan import build_plan

DURATION_S = 30 * 3600.0
WHOLE_MBIT_S, NOTHING = (900.0, 900.0), (0.0, 0.0)
LADDER_MBIT_S = np.array([WHOLE_MBIT_S, (97.0, 97.0), (61.0, 33.0), (23.0, 61.0), NOTHING, NOTHING])
CAUSES = np.array([0, Cause.RAIN, Cause.RAIN, Cause.MULTIPATH, Cause.POWER, Cause.MAINTENANCE])
RING = RingSwitch((0, 1, 2, 3), 2, 30.0, 60.0, 600.0, 5.0, 1.0)
LINKS = (*((hop,) for hop in range(9)), (9, 10))
"""A ring of four, five single hops, and a bundle of two."""
BUNDLE = 9


def some_hops(rng, all_or_nothing, n_changes):
    """Hops that change again and again; those which know all or nothing leave services in groups apart."""
    hops = []
    for two in all_or_nothing:
        rows = rng.permutation([0, 4] if two else range(6))
        states = rng.integers(0, len(rows), n_changes * (1 + 2 * two)).astype(np.int32)
        time_s = np.concatenate([[0.0], np.sort(rng.uniform(0.0, DURATION_S, states.size - 1))])
        hops.append(HopHistory(time_s, states, LADDER_MBIT_S[rows], CAUSES[rows]))
    return hops


def a_route(rng):
    """Over one to three links; seldom over the bundle, which joins all on it in one group."""
    links = rng.permutation(len(LINKS) if rng.random() < 0.1 else BUNDLE)[: rng.integers(1, 4)]
    return tuple((int(link), int(rng.integers(0, 2))) for link in links)


def ways_of_ring(rng):
    """Both ways round the ring, from its first site to another, and on over a link outside it."""
    far, on = int(rng.integers(1, 4)), ((int(rng.integers(4, BUNDLE)), 0),)
    return tuple((k, 0) for k in range(far)) + on, tuple((k, 1) for k in range(3, far - 1, -1)) + on


def some_services(rng):
    services = []
    for number in range(9):
        in_ring, committed = rng.random() < 0.3, float(rng.choice([0.0, 3.0, 7.0, 30.0]))
        profile = tuple(rng.choice([0.2, 0.6, 1.0], 24).tolist())
        services.append(
            ServiceDemand(
                f"s{number}",
                committed,
                committed + float(rng.choice([2.0, 11.0, 40.0])),
                int(rng.integers(1, 4)),
                ways_of_ring(rng) if in_ring else tuple(a_route(rng) for _ in range(rng.integers(1, 4))),
                wait_to_restore_s=900.0,
                hold_off_s=float(rng.choice([0.0, 60.0])),
                switch_below_mbit_s=float(rng.choice([0.0, 50.0])),
                required_share=float(rng.choice([0.5, 1.0])),
                clock=DemandClock(profile, profile, 5, 0.0) if rng.random() < 0.3 else None,
                sharing_weight=float(rng.choice([1.0, 2.5])),
                backward_mbit_s=(0.0, 10.0) if rng.random() < 0.3 else None,
                rings=(RING,) if in_ring else (),
                leaves_congestion=bool(rng.random() < 0.4),
                preempts=bool(rng.random() < 0.5),
            )
        )
    return services


def at(time_s, value, now):
    return value[np.searchsorted(time_s, now, side="right") - 1]


def assert_all_shared(histories, hops, services, links):
    """Rates, what is down and why, at every instant at which anything changes."""
    choices = routes_in_use(hops, services, DURATION_S, links=links)
    times = [*(hop.time_s for hop in hops), *(each[0] for each in choices), np.arange(30) * 3600.0]
    for now in np.unique(np.concatenate(times)):
        capacity, causes = zip(*(link_at(hops, members, now) for members in links), strict=True)
        here = [at_hour(service, now, 3600.0) for service in services]
        wanted = all_shared(here, [at(*choice, now) for choice in choices], capacity, causes)
        found = [at(each.time_s, each.result, now) for each in histories]
        for name, want in zip(("rate_mbit_s", "down", "causes"), wanted, strict=True):
            got = [getattr(each, name)[result] for each, result in zip(histories, found, strict=True)]
            error = np.abs(np.array(got, dtype=float) - want).max()
            assert error < 5.1e-4, f"{name} at {now} s"  # rates are told to the nearest kbit/s


def check(seed, share_of_two_states, n_changes):
    rng = np.random.default_rng(seed)
    services, all_or_nothing = some_services(rng), rng.random(11) < share_of_two_states
    frame, sweeper = frame_of(services, LINKS, 11), None
    for _ in range(2):  # states of hops have other numbers the second time
        hops = some_hops(rng, all_or_nothing, n_changes)
        sweeper = Sweeper(hops, frame, DURATION_S, record_rates=True, after=sweeper)
        for _ in range(2):
            assert_all_shared(sweeper.sweep(hops), hops, services, LINKS)


def test_no_two_states_of_a_network_have_one_word():
    """Words of states that lie side by side, in numbers of entities and in what they are, differ in all."""
    rng = np.random.default_rng(4)
    services = [ServiceDemand(f"s{k}", 5.0, 9.0, 1, (((k, 0),), ((k + 1, 0),))) for k in range(200)]
    hops = some_hops(rng, np.zeros(201, dtype=bool), 3)
    plan, _, _ = build_plan(hops, frame_of(services, [(hop,) for hop in range(201)], 201), [4] * 200)
    assert np.unique(plan.word).size == plan.word.size == plan.word_first[-1]
    assert plan.word.size > 1000


@pytest.mark.parametrize(("seed", "share_of_two_states"), [(0, 0.0), (1, 0.5), (2, 1.0)])
def test_what_is_shared_as_far_as_a_change_reaches_is_what_sharing_all_anew_gives(seed, share_of_two_states):
    """Priorities, weights, hours, rates backward, rings, congestion, bundles; one history after another."""
    check(seed, share_of_two_states, 3)


@pytest.mark.slow
@pytest.mark.parametrize("share_of_two_states", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("seed", range(5))
def test_the_same_where_much_happens(seed, share_of_two_states):
    """With nothing between all and nothing, services that share a link which fails are in groups apart."""
    check(seed, share_of_two_states, 14)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(16))
def test_the_same_on_long_ways_over_few_links(seed):
    """Nearly every link is full in some turn, and who finds one taken leaves more to others on the rest."""
    rng = np.random.default_rng(seed)
    n_links = int(rng.integers(3, 9))
    services = [
        ServiceDemand(
            f"s{number}",
            committed,
            committed + float(rng.choice([2.0, 11.0, 40.0])),
            int(rng.integers(1, 3)),
            (tuple((int(k), int(rng.random() < 0.15)) for k in ways[: rng.integers(1, n_links + 1)]),),
            sharing_weight=float(rng.choice([1.0, 2.5])),
        )
        for number in range(rng.integers(4, 14))
        for committed, ways in [(float(rng.choice([0.0, 3.0, 7.0, 20.0])), rng.permutation(n_links))]
    ]
    ladder = np.sort(rng.choice([0.0, 5.0, 11.0, 23.0, 37.0, 61.0, 97.0, 300.0], (6, 2)), axis=0)
    hops = [
        HopHistory(
            np.concatenate([[0.0], np.sort(rng.uniform(0.0, DURATION_S, 39))]),
            rng.integers(0, 6, 40).astype(np.int32),
            rng.permutation(ladder),
            CAUSES,
        )
        for _ in range(n_links)
    ]
    links = [(hop,) for hop in range(n_links)]
    sweeper = Sweeper(hops, frame_of(services, links, n_links), DURATION_S, record_rates=True)
    assert_all_shared(sweeper.sweep(hops), hops, services, links)


def on_those_who_bought(service):
    """The same service, with 2 Mbit/s committed each way where it had none."""
    if min(service.committed_ways_mbit_s) > 0.0:
        return service
    backward = service.backward_mbit_s and (2.0, 10.0)
    return replace(service, committed_mbit_s=max(service.committed_mbit_s, 2.0), backward_mbit_s=backward)


@pytest.mark.parametrize("all_bought", [False, True])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_outages_alone_are_those_of_the_sweep_that_tells_rates(seed, all_bought):
    """Without the excess, where all have bought something: what is down, why, and what is below."""
    rng = np.random.default_rng(seed)
    services = some_services(rng)
    if all_bought:
        services = [on_those_who_bought(service) for service in services]
    edges_s, sweepers = np.linspace(0.0, DURATION_S, 4), [None, None]
    frames = [make(services, LINKS, 11) for make in (frame_of, frame_of_outages)]
    n_down = 0
    for _ in range(3):
        hops = some_hops(rng, rng.random(11) < 0.3, 20)
        sweepers = [
            Sweeper(hops, frame, DURATION_S, span_edges_s=edges_s, after=after)
            for frame, after in zip(frames, sweepers, strict=True)
        ]
        whole, brief = (sweeper.outages(hops) for sweeper in sweepers)
        for name in ("first", "time_s", "down"):
            np.testing.assert_array_equal(getattr(whole, name), getattr(brief, name))
        why = [np.where(each.down, each.causes, 0) for each in (whole, brief)]
        np.testing.assert_array_equal(*why)
        np.testing.assert_allclose(whole.below_s, brief.below_s, atol=1e-6)
        n_down += whole.down.sum()
    assert n_down > 100
    assert whole.below_s.any()
