"""What services do not feel: outages are the same where a hop's better modulations are taken for one."""

import numpy as np
import pytest

from hopyears.sim.blocks.felt import felt_modulations
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service import sweep_services
from hopyears.sim.services.service_data import RingSwitch, ServiceDemand

LINKS = ((0,), (1,), (2,), (3, 4), ())
STEPS_MBIT_S = np.array([10.0, 20.0, 40.0, 60.0, 80.0])
DURATION_S = 40_000.0


def some_service(random, number, least_mbit_s):
    """Of any kind: with one route or more, which it leaves for whatever reason."""
    n_routes = int(random.integers(1, 4))
    routes = []
    for _ in range(n_routes):
        links = random.permutation(4)[: random.integers(1, 4)].tolist()
        route = tuple((link, int(random.integers(2))) for link in links)
        routes += [route] * (route not in routes)
    committed = float(random.choice([least_mbit_s, 4.0, 9.0, 14.0]))
    backward = float(random.choice([committed, 2.0, 25.0]))
    return ServiceDemand(
        id=f"s{number}",
        committed_mbit_s=committed,
        peak_mbit_s=committed + float(random.choice([1.0, 30.0])),
        backward_mbit_s=None if backward == committed else (backward, backward + 5.0),
        priority=int(random.integers(1, 4)),
        routes=tuple(routes),
        switching_s=float(random.choice([0.0, 0.05, 5.0])),
        wait_to_restore_s=float(random.choice([0.0, 60.0, np.inf])),
        switch_below_mbit_s=float(random.choice([0.0, committed])),
        required_share=float(random.choice([0.5, 1.0])),
        sharing_weight=float(random.choice([1.0, 3.0])),
        leaves_congestion=bool(random.random() < 0.3),
        preempts=bool(random.random() < 0.5),
    )


def hop_of(time_s, levels, capacity_by_level):
    """A hop of so many carriers either way, each of which is at some level from each time on."""
    capacity = capacity_by_level[levels].sum(axis=2)
    full = (capacity >= 2 * capacity_by_level[-1]).all(axis=1)
    return HopHistory(time_s, np.arange(len(time_s), dtype=np.int32), capacity, np.where(full, 0, 1))


def down_of(hops, services, at_s):
    """Whether each service is down, each way, at these times."""
    found = sweep_services(hops, services, DURATION_S, links=LINKS)
    rows = [each.result[np.searchsorted(each.time_s, at_s, side="right") - 1] for each in found]
    return np.stack([each.down[row] for each, row in zip(found, rows, strict=True)])


def both_ways(seed, coarser):
    """Services down with all modulations told apart, and with those felt (or ``coarser`` fewer) alone."""
    random = np.random.default_rng(seed)
    least_mbit_s = float(random.choice([0.0, 1.0]))
    services = [some_service(random, number, least_mbit_s) for number in range(5)]
    felt = felt_modulations(services, LINKS, [STEPS_MBIT_S] * 5)
    exact, told = [], []
    for number in felt:
        time_s = np.concatenate([[0.0], np.sort(random.uniform(0.0, DURATION_S, 30))])
        levels = random.choice(6, size=(31, 2, 2), p=[0.1, 0.1, 0.1, 0.1, 0.1, 0.5])
        by_level = np.concatenate([[0.0], STEPS_MBIT_S])
        exact.append(hop_of(time_s, levels, by_level))
        number = max(number - coarser, 1)
        by_felt = np.concatenate([by_level[:number], [STEPS_MBIT_S[-1]]])
        told.append(hop_of(time_s, np.minimum(levels, number), by_felt))
    at_s = random.uniform(0.0, DURATION_S, 4000)
    return down_of(exact, services, at_s), down_of(told, services, at_s), felt


@pytest.mark.parametrize("seed", range(12))
def test_nobody_is_down_for_what_is_not_felt(seed):
    exact, told, _ = both_ways(seed, coarser=0)
    assert np.array_equal(exact, told)
    assert exact.any()


def test_the_check_sees_one_modulation_too_few():
    pairs = [both_ways(seed, coarser=1) for seed in range(12)]
    assert any((exact != told).any() for exact, told, _ in pairs)


def test_a_ring_that_turns_for_a_degraded_link_feels_it():
    ring = RingSwitch((0, 1), 1, 0.0, 0.0, 300.0, degraded_below_mbit_s=45.0)
    service = ServiceDemand("s", 1.0, 1.0, 1, (((0, 0),), ((1, 1),)), rings=(ring,))
    assert felt_modulations([service], LINKS, [STEPS_MBIT_S] * 5) == (4, 4, 1, 1, 1)
