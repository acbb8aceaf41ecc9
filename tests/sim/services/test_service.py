from collections import Counter
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from slow_sweep import asked_share, slow_sweep

from hopyears.models.judging import demand_clock
from hopyears.models.judging.cause import Cause
from hopyears.models.judging.demand_clock import DemandClock
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services import service_run
from hopyears.sim.services.service import BACKWARD, FORWARD, ServiceDemand, Sweeper, sweep_services
from hopyears.sim.services.service_frame import frame_of

N_SECONDS = 40
HOUR_S = 5.0
"""Hours of demand are so short here."""
CAPACITY_MBIT_S = np.array(
    [[100.0, 60.0, 30.0, 0.0, 100.0, 0.0, 0.0], [100.0, 60.0, 30.0, 0.0, 20.0, 100.0, 0.0]]
).T
CAUSES = np.array(
    [
        0,
        Cause.RAIN,
        Cause.RAIN | Cause.MULTIPATH,
        Cause.POWER,
        Cause.MULTIPATH,
        Cause.CABLE,
        Cause.MAINTENANCE,
    ]
)


def _hop(times=(), states=(), causes=CAUSES):
    """A hop nominal at first, with the given changes."""
    return HopHistory(
        np.array([0.0, *times]),
        np.array([0, *states], dtype=np.int32),
        CAPACITY_MBIT_S,
        np.asarray(causes, dtype=np.int64),
    )


@st.composite
def _histories(draw):
    changes = draw(st.lists(st.tuples(st.integers(0, N_SECONDS + 5), st.integers(0, 6)), max_size=12))
    changes.sort(key=lambda change: change[0])
    return _hop([t for t, _ in changes], [s for _, s in changes])


_SHARES = st.lists(st.sampled_from([0.25, 0.6, 1.0]), min_size=24, max_size=24).map(tuple)
_CLOCKS = st.builds(DemandClock, _SHARES, _SHARES, st.integers(0, 7), st.integers(-400, 400).map(float))


@st.composite
def _networks(draw):
    n_hops = draw(st.integers(1, 5))
    hops = [draw(_histories()) for _ in range(n_hops)]
    if n_hops > 2 and draw(st.booleans()):
        links = [(0, 1), *((h,) for h in range(2, n_hops))]
    else:
        links = [(h,) for h in range(n_hops)]
    route = st.lists(st.integers(0, len(links) - 1), min_size=1, max_size=3, unique=True).flatmap(
        lambda links: st.tuples(*(st.tuples(st.just(link), st.integers(0, 1)) for link in links))
    )
    services = [
        ServiceDemand(
            f"s{number}",
            committed_mbit_s=committed,
            peak_mbit_s=committed + excess,
            priority=draw(st.integers(1, 2)),
            routes=tuple(draw(st.lists(route, min_size=1, max_size=3))),
            switching_s=draw(st.sampled_from([0.0, 1.0, 3.0])),
            commanded_s=draw(st.sampled_from([0.0, 1.0])),
            hold_off_s=draw(st.sampled_from([0.0, 2.0])),
            wait_to_restore_s=draw(st.sampled_from([0.0, 5.0, np.inf])),
            switch_below_mbit_s=draw(st.sampled_from([0.0, 50.0])),
            required_share=draw(st.sampled_from([1.0, 0.5])),
            clock=draw(st.none() | _CLOCKS),
            backward_mbit_s=draw(st.sampled_from([None, None, (0.0, 10.0), (15.0, 70.0)])),
            sharing_weight=draw(st.sampled_from([1.0, 1.0, 2.5])),
            leaves_congestion=draw(st.booleans()),
            preempts=draw(st.booleans()),
        )
        for number in range(draw(st.integers(1, 4)))
        for committed, excess in [
            draw(st.tuples(st.sampled_from([0.0, 20.0, 45.0]), st.sampled_from([5.0, 60.0])))
        ]
    ]
    return hops, services, links


def _by_second(history):
    place = np.searchsorted(history.time_s, np.arange(N_SECONDS), side="right") - 1
    result = history.result[place]
    return history.rate_mbit_s[result], history.down[result], history.causes[result]


def _times_of(history):
    """Seconds by rates, down flags, causes and share asked for; what took no time is left out."""
    found = Counter()
    columns = (history.rate_mbit_s, history.down, history.causes, history.asked_share[:, None])
    for row, seconds in zip(np.column_stack(columns).tolist(), history.seconds.tolist(), strict=True):
        found[tuple(row)] += seconds
    return {row: seconds for row, seconds in found.items() if seconds > 1e-9}


def _assert_same_times(one, other):
    times, others = _times_of(one), _times_of(other)
    assert times.keys() == others.keys()
    assert list(times.values()) == pytest.approx([others[row] for row in times])


def _assert_same_spans(history, service, rate, down):
    """What lacked of the peak rate, and the time below committed, from the rates second by second."""
    share = np.array([asked_share(service.clock, now, HOUR_S) for now in range(N_SECONDS)])
    short = rate < np.outer(share, service.committed_ways_mbit_s) - 5.1e-4
    both = (rate.min(axis=1), down.any(axis=1), short.any(axis=1))
    ways = [*zip(rate.T, down.T, short.T, strict=True), both]
    peaks = (*service.peak_ways_mbit_s, min(service.peak_ways_mbit_s))
    for span, seconds in enumerate((slice(0, 15), slice(15, N_SECONDS))):
        for way, (got, out, less) in enumerate(ways):
            lacking = (peaks[way] - got[seconds]).sum()
            below = ~out[seconds] & less[seconds]
            assert history.spans[span, way] == pytest.approx([lacking, below.sum()], abs=0.03)


@settings(deadline=None, max_examples=80)
@given(_networks())
def test_agrees_with_a_second_by_second_sweep(network):
    """Also where demand follows the hours, of five seconds each."""
    hops, services, links = network
    rate, down, why = slow_sweep(hops, services, links, N_SECONDS, HOUR_S)
    edges_s = [0.0, 15.0, N_SECONDS]
    with patch.object(demand_clock, "HOUR_S", HOUR_S):
        histories = sweep_services(
            hops, services, N_SECONDS, links=links, record_rates=True, span_edges_s=edges_s
        )
        brief = sweep_services(hops, services, N_SECONDS, links=links, span_edges_s=edges_s)
    for s, history in enumerate(histories):
        got_rate, got_down, got_why = _by_second(history)
        np.testing.assert_allclose(got_rate, rate[s], atol=1e-3)
        np.testing.assert_array_equal(got_down, down[s])
        np.testing.assert_array_equal(got_why, why[s])
        np.testing.assert_allclose(history.seconds @ history.rate_mbit_s, rate[s].sum(axis=0), rtol=1e-4)
        _assert_same_times(brief[s], history)
        _assert_same_spans(history, services[s], rate[s], down[s])
        np.testing.assert_allclose(brief[s].spans, history.spans, atol=1e-6)
        assert history.seconds.sum() == pytest.approx(N_SECONDS)
        for way in (FORWARD, BACKWARD):
            for one in (history, brief[s]):
                flags = np.zeros(N_SECONDS, int)
                for start, end, causes in zip(*one.down_intervals(way), strict=True):
                    flags[int(start) : int(end)] = causes
                np.testing.assert_array_equal(flags, np.where(down[s, :, way], why[s, :, way], 0))


@pytest.mark.slow
def test_memory_limits_change_nothing(monkeypatch):
    """Tables that must grow, and judged states that are forgotten, give the same histories."""
    rng = np.random.default_rng(5)
    hops = []
    for _ in range(8):
        times = np.sort(rng.uniform(0, 1e5, 7000))
        hops.append(_hop(times, rng.integers(0, 6, 7000)))
    services = [
        ServiceDemand(f"s{s}", 20.0, 60.0, s % 2, (tuple((k, 0) for k in range(s, s + 3)), ((s + 3, 1),)))
        for s in range(5)
    ]
    plain = sweep_services(hops, services, 1e5, record_rates=True)
    monkeypatch.setattr(service_run, "ROW_CELLS", 1)
    monkeypatch.setattr("hopyears.sim.services.service.CHANGES_AT_ONCE", 500)
    tight = sweep_services(hops, services, 1e5, record_rates=True)
    monkeypatch.setattr(service_run, "MOST_STATES", 50)
    monkeypatch.setattr(service_run, "MOST_RESULTS", 50)
    sweeper = Sweeper(hops, frame_of(services, [(k,) for k in range(8)], 8), 1e5, record_rates=True)
    first, again = sweeper.sweep(hops), sweeper.sweep(hops)
    assert sum(each.time_s.size for each in plain) > 1 << 16  # more than the table of changes holds at once
    for one, other in zip(3 * plain, tight + first + again, strict=True):
        np.testing.assert_array_equal(one.time_s, other.time_s)
        np.testing.assert_array_equal(one.rate_mbit_s[one.result], other.rate_mbit_s[other.result])
        np.testing.assert_array_equal(one.causes[one.result], other.causes[other.result])


def _one(hops, **changes):
    arguments = {"committed_mbit_s": 50.0, "peak_mbit_s": 50.0, "priority": 1, "routes": (((0, 0),),)}
    service = ServiceDemand("s", **(arguments | changes))
    return sweep_services(hops, [service], 100.0)[0]


def test_protection_switches_after_hold_off_and_goes_back_after_the_wait():
    hops = [_hop([10, 40], [3, 0]), _hop()]
    history = _one(
        hops, routes=(((0, 0),), ((1, 0),)), hold_off_s=0.1, switching_s=0.05, wait_to_restore_s=20.0
    )
    start, end, causes = history.down_intervals(FORWARD)
    np.testing.assert_allclose(start, [10.0, 10.1, 60.0])
    np.testing.assert_allclose(end, [10.1, 10.15, 60.05])
    assert list(causes) == [Cause.POWER, Cause.POWER | Cause.SWITCHING, Cause.SWITCHING]


def test_planned_work_is_left_by_command_and_so_is_the_way_back():
    """A command moves traffic before the work begins; where the new route is ready first, nothing is lost."""
    hops = [_hop([10, 40, 80], [6, 0, 3]), _hop()]
    routes = (((0, 0),), ((1, 0),))
    ready = _one(
        hops, routes=routes, hold_off_s=2.0, switching_s=5.0, commanded_s=0.0, wait_to_restore_s=20.0
    )
    start, end, causes = ready.down_intervals(FORWARD)
    # Only the failure at 80 s costs traffic.
    np.testing.assert_allclose([start[0], end[-1]], [80.0, 87.0])
    assert not any(cause & Cause.MAINTENANCE for cause in causes)
    brief = _one(
        hops, routes=routes, hold_off_s=2.0, switching_s=5.0, commanded_s=0.05, wait_to_restore_s=20.0
    )
    start, end, _ = brief.down_intervals(FORWARD)
    np.testing.assert_allclose(start[:2], [10.0, 60.0])
    np.testing.assert_allclose(end[:2], [10.05, 60.05])


def test_a_degraded_route_is_left_only_where_the_trigger_says_so():
    hops = [_hop([10, 40], [2, 0]), _hop()]
    fail, degrade = (
        _one(hops, routes=(((0, 0),), ((1, 0),)), switch_below_mbit_s=below).down_intervals(FORWARD)
        for below in (0.0, 50.0)
    )
    np.testing.assert_allclose((fail[1] - fail[0]).sum(), 30.0)
    np.testing.assert_allclose((degrade[1] - degrade[0]).sum(), 0.05)


def test_both_routes_lost_names_the_causes_of_both():
    hops = [_hop([10], [3]), _hop([5], [4])]
    history = _one(hops, routes=(((0, 0),), ((1, 0),)), switching_s=0.0)
    _, _, causes = history.down_intervals(BACKWARD)
    assert causes[-1] == Cause.POWER | Cause.MULTIPATH


def test_congestion_on_healthy_hops():
    services = [
        ServiceDemand("gold", 70.0, 70.0, 1, (((0, 0),),)),
        ServiceDemand("tin", 40.0, 40.0, 2, (((0, 0),),)),
    ]
    gold, tin = sweep_services([_hop()], services, 100.0)
    assert not gold.down.any()
    assert tin.down[tin.result].all()
    assert (tin.causes[tin.result] == Cause.CONGESTION).all()


def test_a_degraded_hop_that_pushes_a_service_out_is_its_cause():
    services = [
        ServiceDemand("gold", 50.0, 50.0, 1, (((0, 0),),)),
        ServiceDemand("tin", 40.0, 40.0, 2, (((0, 0),),)),
    ]
    _, tin = sweep_services([_hop([10, 20], [1, 0])], services, 100.0)
    start, end, causes = tin.down_intervals(FORWARD)
    assert (list(start), list(end), list(causes)) == ([10.0], [20.0], [Cause.RAIN])


def test_a_link_too_small_for_the_peak_is_a_cause_beside_the_one_that_holds_back():
    """Two share the healthy link, 50 Mbit/s each; the faded one before it could not carry the peak of 90."""
    services = [
        ServiceDemand("far", 20.0, 90.0, 1, (((0, 0), (1, 0)),)),
        ServiceDemand("near", 20.0, 90.0, 1, (((1, 0),),)),
    ]
    far, near = sweep_services([_hop([10, 20], [1, 0]), _hop()], services, 100.0, record_rates=True)
    rate, down, causes = (found[:, FORWARD] for found in _by_second(far))
    assert not down.any()
    np.testing.assert_array_equal(rate, 50.0)
    faded = np.isin(np.arange(N_SECONDS), range(10, 20))
    np.testing.assert_array_equal(causes, np.where(faded, Cause.RAIN, Cause.CONGESTION))
    assert (near.causes[near.result][:, FORWARD] == Cause.CONGESTION).all()


def test_a_link_that_others_fill_beyond_what_they_bought_takes_nobody_down():
    """The healthy second link, shared away, leaves tin 20 of its 40 Mbit/s; full with the excess of "more",
    the faded first one would have carried them."""
    services = [
        ServiceDemand("gold", 80.0, 80.0, 1, (((1, 0),),)),
        ServiceDemand("more", 5.0, 95.0, 1, (((0, 0),),)),
        ServiceDemand("tin", 40.0, 40.0, 2, (((0, 0), (1, 0)),)),
    ]
    _, more, tin = sweep_services([_hop([10, 20], [1, 0]), _hop()], services, 100.0, record_rates=True)
    assert _by_second(more)[0][10, FORWARD] == 40.0
    rate, down, causes = (found[:, FORWARD] for found in _by_second(tin))
    assert down.all()
    np.testing.assert_array_equal(rate, 20.0)
    np.testing.assert_array_equal(causes, Cause.CONGESTION)


def test_no_state_that_lasts_no_time_is_told():
    """At one instant the first hop fades, the second stays as it was, the third fails."""
    hops = [_hop([10], [1]), _hop([10], [0]), _hop([10], [3])]
    services = [ServiceDemand("one", 20.0, 90.0, 1, (((0, 0), (1, 0), (2, 0)),))]
    (history,) = sweep_services(hops, services, 100.0, record_rates=True)
    assert list(history.time_s) == [0.0, 10.0]


def test_directions_are_kept_apart():
    history = _one([_hop([10, 20], [4, 0])])
    assert history.down_intervals(FORWARD)[0].size == 0
    assert list(history.down_intervals(BACKWARD)[0]) == [10.0]
    turned = _one([_hop([10, 20], [4, 0])], routes=(((0, 1),),))
    assert list(turned.down_intervals(FORWARD)[0]) == [10.0]


def test_parallel_hops_share_their_load():
    service = ServiceDemand("s", 90.0, 150.0, 1, (((0, 0),),))
    history = sweep_services([_hop([10, 20], [3, 0]), _hop()], [service], 100.0, links=[(0, 1)])[0]
    assert not history.down.any()
    assert sorted(history.rate_mbit_s[:, 0]) == [100.0, 150.0]


def test_rates_a_kilobit_apart_are_kept_apart():
    rate = np.arange(1, 1001) / 1e3
    times = np.arange(1000.0)
    hop = HopHistory(times, np.arange(1000, dtype=np.int32), np.stack([rate, rate], axis=1), np.full(1000, 1))
    service = ServiceDemand("s", 0.0, 2.0, 1, (((0, 0),),))
    (history,) = sweep_services([hop], [service], 1000.0, record_rates=True)
    assert history.rate_mbit_s[history.result, 0] == pytest.approx(rate, abs=1e-9)


def test_a_service_without_committed_rate_is_down_when_it_gets_nothing():
    history = _one([_hop([10, 20, 30], [2, 3, 0])], committed_mbit_s=0.0)
    start, end, _ = history.down_intervals(FORWARD)
    assert (list(start), list(end)) == ([20.0], [30.0])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"routes": (((7, 0),),)}, r"routes holds \(7, 0\); must be a link 0 to 0"),
        ({"routes": ()}, "routes is empty"),
        ({"routes": (((0, 0), (0, 1)),)}, "must cross each link once"),
        ({"committed_mbit_s": 60.0}, "committed_mbit_s is 60.0 with peak_mbit_s 50.0"),
        ({"peak_mbit_s": float("nan")}, "committed_mbit_s is 50.0 with peak_mbit_s nan"),
        ({"required_share": 0.0}, "required_share is 0.0"),
        ({"hold_off_s": -1.0}, "hold_off_s is -1.0; must be at least 0"),
    ],
)
def test_bad_services_are_refused(change, message):
    with pytest.raises(ValueError, match=message):
        _one([_hop()], **change)


def test_bad_links_and_hops_are_refused():
    service = ServiceDemand("s", 50.0, 50.0, 1, (((0, 0),),))
    with pytest.raises(ValueError, match="links holds an unknown hop or one twice"):
        sweep_services([_hop()], [service], 10.0, links=[(0, 0)])
    with pytest.raises(ValueError, match="duration_s is 0"):
        sweep_services([_hop()], [service], 0.0)
    with pytest.raises(ValueError, match="state is 0 to 9; must be 0 to 6"):
        _hop([1.0], [9])
    with pytest.raises(ValueError, match="time_s goes back"):
        _hop([5.0, 1.0], [1, 0])
