import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from shared_capacity import share_capacity

_rate = st.one_of(st.just(0.0), st.integers(1, 12).map(float), st.floats(0.5, 20.0))


@st.composite
def networks(draw, n_priorities=3):
    """A few links and services with random routes, rates and priorities."""
    n_links = draw(st.integers(1, 5))
    n_services = draw(st.integers(1, 7))
    routes = [
        draw(st.lists(st.integers(0, n_links - 1), min_size=1, max_size=n_links, unique=True))
        for _ in range(n_services)
    ]
    committed = np.array([draw(_rate) for _ in range(n_services)])
    peak = committed + np.array([draw(_rate) for _ in range(n_services)])
    priority = np.array([draw(st.integers(1, n_priorities)) for _ in range(n_services)])
    capacity = np.array([draw(_rate) for _ in range(n_links)])
    return capacity, routes, committed, peak, priority


def _share(network, weight=None):
    capacity, routes, committed, peak, priority = network
    rates = {"committed_mbit_s": committed, "peak_mbit_s": peak}
    return share_capacity(capacity, routes, priority=priority, weight=weight, **rates)


def _uses(n_links, routes):
    matrix = np.zeros((n_links, len(routes)))
    for service, route in enumerate(routes):
        matrix[list(route), service] = 1.0
    return matrix


def _max_min_by_programs(uses, left, limit):
    """Max-min fair rates by a chain of linear programs: raise the common floor, freeze who is stuck."""
    n = limit.size
    frozen = np.full(n, np.nan)
    while np.isnan(frozen).any():
        free = np.isnan(frozen)
        bounds = [(0.0, limit[s]) if free[s] else (frozen[s], frozen[s]) for s in range(n)] + [(0.0, None)]
        floor = np.hstack([-np.eye(n)[free], np.ones((free.sum(), 1))])
        above = np.vstack([np.hstack([uses, np.zeros((uses.shape[0], 1))]), floor])
        right = np.concatenate([left, np.zeros(free.sum())])
        best = linprog(np.append(np.zeros(n), -1.0), A_ub=above, b_ub=right, bounds=bounds)
        level = best.x[-1]
        for s in np.flatnonzero(free):
            # Stuck if this one cannot rise while the others free keep the level.
            lowest = [
                (
                    level - 1e-9 if np.isnan(frozen[t]) else frozen[t],
                    limit[t] if np.isnan(frozen[t]) else frozen[t],
                )
                for t in range(n)
            ]
            lowest = [(max(min(low, high), 0.0), high) for low, high in lowest]
            rise = linprog(-np.eye(n)[s], A_ub=uses, b_ub=left + 1e-9, bounds=lowest)
            if -rise.fun <= level + 1e-6:
                frozen[s] = min(level, limit[s])
    return frozen


def _second_opinion(network, weight):
    """By weight: max-min fair in units of the weights, a change of variables of the linear programs."""
    capacity, routes, committed, peak, priority = network
    uses = _uses(capacity.size, routes)
    rate = np.zeros(peak.size)
    left = capacity.copy()
    for target in (committed, peak):
        for level in np.unique(priority):
            here = np.flatnonzero(priority == level)
            limit = target[here] - rate[here] if target is peak else target[here]
            own = weight[here]
            given = own * _max_min_by_programs(uses[:, here] * own, left, limit / own)
            rate[here] += given
            left = np.maximum(left - uses[:, here] @ given, 0.0)
    return rate


@settings(deadline=None, max_examples=40)
@given(networks(), st.lists(st.sampled_from([1.0, 1.0, 0.5, 3.0]), min_size=7, max_size=7))
def test_agrees_with_linear_programs(network, weights):
    """Also by weight; scipy's HiGHS solves the programs."""
    weight = np.array(weights)[: network[3].size]
    np.testing.assert_allclose(_share(network, weight), _second_opinion(network, weight), atol=1e-5)


def test_by_weight_one_gets_so_many_times_the_other():
    """One link of 90 for three that want it all: 15, 30, 45 by 1, 2, 3; who wants 20 leaves the rest."""
    free = ([90.0], [[0]] * 3, np.zeros(3), np.full(3, 90.0), np.ones(3, int))
    assert _share(free, [1.0, 2.0, 3.0]) == pytest.approx([15.0, 30.0, 45.0])
    modest = (*free[:3], np.array([90.0, 20.0, 90.0]), free[4])
    assert _share(modest, [1.0, 2.0, 3.0]) == pytest.approx([17.5, 20.0, 52.5])


@settings(deadline=None, max_examples=40)
@given(networks(n_priorities=1), st.sampled_from([0.01, 7.0, 1e5]))
def test_only_the_ratio_of_weights_counts(network, factor):
    weight = np.linspace(1.0, 2.0, network[3].size)
    np.testing.assert_allclose(_share(network, weight), _share(network, factor * weight), atol=1e-6)


@settings(deadline=None)
@given(networks())
def test_feasible_and_nothing_wasted(network):
    capacity, routes, _, peak, _ = network
    rate = _share(network)
    load = _uses(capacity.size, routes) @ rate
    assert np.all(rate >= 0.0)
    assert np.all(rate <= peak)
    assert np.all(load <= capacity + 1e-6)
    full = load >= capacity - 1e-6
    for service, route in enumerate(routes):
        assert rate[service] >= peak[service] - 1e-6 or full[list(route)].any()


@settings(deadline=None)
@given(networks(n_priorities=1))
def test_max_min_within_one_priority(network):
    """Who lacks something crosses a full link on which nobody's excess is larger (committed met)."""
    capacity, routes, _, peak, priority = network
    rate = _share((capacity, routes, np.zeros(peak.size), peak, priority))
    uses = _uses(capacity.size, routes)
    full = uses @ rate >= capacity - 1e-6
    for service, route in enumerate(routes):
        if rate[service] < peak[service] - 1e-6:
            bottlenecks = [link for link in route if full[link]]
            assert any(rate[service] >= rate[uses[link] > 0].max() - 1e-6 for link in bottlenecks)


@settings(deadline=None)
@given(networks())
def test_lower_priority_takes_nothing_from_committed_rates(network):
    capacity, routes, committed, _, priority = network
    rate = np.minimum(_share(network), committed)
    first = priority == priority.min()
    alone = _share(
        (
            capacity,
            [routes[s] for s in np.flatnonzero(first)],
            committed[first],
            committed[first],
            priority[first],
        )
    )
    np.testing.assert_allclose(rate[first], alone, atol=1e-6)


def test_committed_of_low_priority_comes_before_excess_of_high():
    rate = share_capacity(
        [100.0], [[0], [0]], committed_mbit_s=[20, 50], peak_mbit_s=[90, 90], priority=[1, 2]
    )
    np.testing.assert_allclose(rate, [50.0, 50.0])


def test_excess_is_divided_evenly_beyond_the_committed_rates():
    rate = share_capacity(
        [100.0], [[0], [0]], committed_mbit_s=[20, 40], peak_mbit_s=[90, 90], priority=[1, 1]
    )
    np.testing.assert_allclose(rate, [40.0, 60.0])


def test_three_services_on_two_links():
    """Textbook case: the long flow gets half of the narrow link, the other on the wide one the rest."""
    rate = share_capacity(
        [10.0, 30.0],
        [[0, 1], [0], [1]],
        committed_mbit_s=[0, 0, 0],
        peak_mbit_s=[100, 100, 100],
        priority=[1, 1, 1],
    )
    np.testing.assert_allclose(rate, [5.0, 5.0, 25.0])


def test_degenerate_networks():
    none = share_capacity([0.0], [[0]], committed_mbit_s=[5], peak_mbit_s=[5], priority=[1])
    np.testing.assert_array_equal(none, [0.0])
    no_link = share_capacity([], [[]], committed_mbit_s=[5], peak_mbit_s=[7], priority=[1])
    np.testing.assert_array_equal(no_link, [7.0])
    assert share_capacity([1.0], [], committed_mbit_s=[], peak_mbit_s=[], priority=[]).size == 0
