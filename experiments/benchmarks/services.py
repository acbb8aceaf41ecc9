"""Speed of the services sweep: 200 hops, 150 services, changes by the million, against judging each change.

    python -m experiments.benchmarks.services

Question: what does it save to judge each joint state once and look it up afterwards? The baseline takes
the same changes in the same order and shares the capacity of the network anew at each (on the first few
thousand of them), with the same compiled routine. Prints changes per second of both, in processor time,
and fails under 1 million changes a second or under 20 times the baseline.
"""

import sys
import time

import numpy as np

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.judging.sharing import share_kernel
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service import Route, ServiceDemand, sweep_services

N_HOPS, N_SERVICES, N_CHANGES, N_YEARS, N_BASELINE = 200, 150, 5_000_000, 10, 3000
LEAST_CHANGES_PER_S, LEAST_RATIO = 1e6, 20.0
LADDER_MBIT_S = np.array([400.0, 300.0, 200.0, 100.0, 50.0, 0.0])
CAUSES = np.array([0, 2, 2, 2, 2, 2])


def share(capacity_mbit_s, routes, *, committed_mbit_s, peak_mbit_s, priority):
    """Rates of all services [Mbit/s] at one moment, from plain lists."""
    capacity = np.array(capacity_mbit_s, dtype=np.float64)
    committed, peak = (np.asarray(each, dtype=np.float64) for each in (committed_mbit_s, peak_mbit_s))
    order = np.asarray(priority, dtype=np.int64)
    weights = np.ones(peak.size)
    pointer = np.cumsum([0, *map(len, routes)], dtype=np.int64)
    links = np.array([link for route in routes for link in route], dtype=np.int64)
    rate, services = np.zeros(peak.size), np.argsort(order, kind="stable")
    share_kernel(
        *(capacity, pointer[:-1], pointer[1:], links, services, committed, peak, order, weights, rate),
        *(
            np.zeros(capacity.size, np.int64),
            np.zeros(capacity.size),
            np.zeros(peak.size, np.int64),
            np.zeros(capacity.size, np.int64),
        ),
    )
    return rate


def hop_history(rng: np.random.Generator, nights_s: np.ndarray, n_changes: int) -> HopHistory:
    """Fades that step down the ladder and up again, gathered in the same nights on every hop."""
    n_fades = n_changes // 3
    start_s = nights_s[rng.integers(0, nights_s.size, n_fades)] + rng.uniform(0.0, 8 * 3600.0, n_fades)
    length_s = rng.exponential(10.0, n_fades)
    time_s = (start_s[:, None] + length_s[:, None] * np.array([0.0, 0.4, 1.0])).ravel()
    state = np.tile([1, 3, 0], (n_fades, 1))
    state[rng.random(n_fades) < 0.3, 1] = 5
    order = np.argsort(time_s, kind="stable")
    state_all = np.append(0, state.ravel()[order]).astype(np.int32)
    capacity = np.stack([LADDER_MBIT_S, LADDER_MBIT_S], axis=1)
    return HopHistory(np.append(0.0, time_s[order]), state_all, capacity, CAUSES.copy())


def route_to_hub(parents: list[int], site: int) -> Route:
    """Links from a site of a tree to its root; link ``site - 1`` is the one above the site."""
    steps = []
    while site:
        steps.append((site - 1, 0))
        site = parents[site]
    return tuple(steps)


def changes_by_judging_each(hops: list[HopHistory], services: list[ServiceDemand]) -> float:
    """Changes per second when the capacity is shared anew at each."""
    time_s = np.concatenate([hop.time_s[1:] for hop in hops])
    hop_of = np.repeat(np.arange(len(hops)), [hop.time_s.size - 1 for hop in hops])
    state = np.concatenate([hop.state[1:] for hop in hops])
    first = np.argsort(time_s)[:N_BASELINE]
    capacity = np.full(len(hops), LADDER_MBIT_S[0])
    routes = [[link for link, _ in service.routes[0]] for service in services]
    asked = {
        "committed_mbit_s": [service.committed_mbit_s for service in services],
        "peak_mbit_s": [service.peak_mbit_s for service in services],
        "priority": [service.priority for service in services],
    }
    share(capacity, routes, **asked)
    begin = time.process_time()
    for place in first:
        capacity[hop_of[place]] = LADDER_MBIT_S[state[place]]
        share(capacity, routes, **asked)
    return N_BASELINE / (time.process_time() - begin)


def main() -> int:
    """Run both and compare."""
    rng = np.random.default_rng(1)
    nights_s = np.sort(rng.choice(int(365.25 * N_YEARS), 600, replace=False)) * 86_400.0
    hops = [hop_history(rng, nights_s, N_CHANGES // N_HOPS) for _ in range(N_HOPS)]
    parents = [0, 0, 0, 0] + [int(rng.integers(i // 3 - 1, i // 2 + 1)) for i in range(4, N_HOPS + 1)]
    services = [
        ServiceDemand(
            f"s{s}", 5.0, 10.0, 1 + s % 3, (route_to_hub(parents, int(rng.integers(1, N_HOPS + 1))),)
        )
        for s in range(N_SERVICES)
    ]
    duration_s = N_YEARS * SECONDS_PER_YEAR
    sweep_services(hops, services[:1], 1000.0)  # compiles
    begin = time.process_time()
    sweep_services(hops, services, duration_s)
    speed = sum(hop.time_s.size for hop in hops) / (time.process_time() - begin)
    baseline = changes_by_judging_each(hops, services)
    print(f"sweep            {speed / 1e6:8.2f} million changes/s of processor time")
    print(f"judging each one {baseline / 1e6:8.4f} million changes/s; ratio {speed / baseline:.0f}")
    return int(speed < LEAST_CHANGES_PER_S or speed / baseline < LEAST_RATIO)


if __name__ == "__main__":
    sys.exit(main())
