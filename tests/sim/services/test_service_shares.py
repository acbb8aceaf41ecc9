"""Capacity shared out as far as a change reaches, against all of it shared anew."""

import numpy as np
import pytest
from shared_capacity import share_capacity

from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service import ServiceDemand, sweep_services

DAY_S = 86_400.0
LADDER_MBIT_S = np.array([97.0, 61.0, 23.0, 0.0])


def a_hop(rng):
    """A hop whose capacity changes thirty times a day."""
    time_s = np.concatenate([[0.0], np.sort(rng.uniform(0.0, DAY_S, 30))])
    capacity = np.stack([LADDER_MBIT_S, LADDER_MBIT_S], axis=1)
    return HopHistory(time_s, rng.integers(0, 4, 31).astype(np.int32), capacity, np.array([0, 2, 2, 2]))


def a_tree(rng, n_links):
    """Routes to the root of a tree of links, link by link."""
    routes = [((0, 0),)]
    for link in range(1, n_links):
        routes.append(((link, 0), *routes[int(rng.integers(max(0, link - 4), link))]))
    return routes


@pytest.mark.parametrize("seed", range(6))
def test_every_service_has_at_every_moment_what_sharing_all_anew_gives(seed):
    """On a tree whose trunk is nearly always full, with three priorities and weights."""
    rng = np.random.default_rng(seed)
    hops, routes = [a_hop(rng) for _ in range(8)], a_tree(rng, 8)
    services = [
        ServiceDemand(
            f"s{s}",
            float(committed := rng.choice([0.0, 3.0, 7.0])),
            float(committed + rng.choice([2.0, 11.0, 40.0])),
            int(rng.integers(1, 4)),
            (routes[int(rng.integers(0, 8))],),
            sharing_weight=float(rng.choice([1.0, 2.5])),
        )
        for s in range(15)
    ]
    histories = sweep_services(hops, services, DAY_S, record_rates=True)
    asked = {
        "committed_mbit_s": [service.committed_mbit_s for service in services],
        "peak_mbit_s": [service.peak_mbit_s for service in services],
        "priority": [service.priority for service in services],
        "weight": [service.sharing_weight for service in services],
    }
    crossed = [[link for link, _ in service.routes[0]] for service in services]
    for now in np.concatenate([hop.time_s for hop in hops]):
        capacity = [
            LADDER_MBIT_S[hop.state[np.searchsorted(hop.time_s, now, side="right") - 1]] for hop in hops
        ]
        wanted = share_capacity(capacity, crossed, **asked)
        found = [
            each.rate_mbit_s[each.result[np.searchsorted(each.time_s, now, side="right") - 1], 0]
            for each in histories
        ]
        np.testing.assert_allclose(found, wanted, atol=5.1e-4)  # told to the nearest kbit/s
