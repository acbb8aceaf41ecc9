"""Demand that follows the hours, from the network file to what is counted."""

import json
from dataclasses import replace

import numpy as np
import pytest
from small_networks import triangle

from hopyears.models.basics.calendar import month_edges_s
from hopyears.models.judging.cause import Cause
from hopyears.models.judging.demand_clock import DemandClock
from hopyears.models.network.network import DemandProfile, Service
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.tally_rows import TRAFFIC, UNDELIVERED, traffic_rows
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.inputs.input_errors import FaultList, InputError
from hopyears.sim.inputs.network_build import build_network
from hopyears.sim.services import service as sweep
from hopyears.sim.services.service import ServiceDemand, sweep_services
from hopyears.sim.textbook.predict import predict_services

DAY_S = 86_400.0
YEAR_S = 365.25 * DAY_S
OFFICE = tuple(1.0 if 8 <= hour < 18 else 0.2 for hour in range(24))
QUIET = (0.2,) * 24
CLOCK = DemandClock(OFFICE, QUIET, 5, 0.0)
ROUTE = (((0, 0),),)


def hop(capacity_mbit_s, times_s=(0.0,), state=(0,), causes=None):
    capacity = np.array(capacity_mbit_s, dtype=np.float64)
    return HopHistory(
        np.array(times_s, dtype=np.float64),
        np.array(state, dtype=np.int32),
        np.stack([capacity, capacity], axis=1),
        np.zeros(capacity.size, dtype=np.int64) if causes is None else np.array(causes, dtype=np.int64),
    )


def sums(demand, history, columns):
    rows = traffic_rows(0, demand, history)[columns]
    return dict(zip(columns.values, np.concatenate([values for _, values in rows]).sum(axis=0), strict=True))


def test_a_link_that_is_wide_enough_delivers_what_is_asked_for():
    demand = ServiceDemand("s", 50.0, 100.0, 1, ROUTE, clock=CLOCK)
    (history,) = sweep_services([hop([100.0])], [demand], YEAR_S, span_edges_s=month_edges_s(1))
    asked_mbit = 100.0 * demand.asked_share(YEAR_S) * YEAR_S
    assert history.seconds @ history.rate_mbit_s == pytest.approx([asked_mbit, asked_mbit])
    assert history.time_s.size == 1
    assert sums(demand, history, UNDELIVERED)["undelivered_mbit"] == 0.0
    # By month the contract's mean throughput is the peak rate less what lacks of it.
    assert history.spans[:, 0, 0].sum() == pytest.approx(100.0 * YEAR_S - asked_mbit)
    # 261 working days (52 weeks and a day) have ten hours at all of it; else a fifth.
    assert demand.asked_share(YEAR_S) == pytest.approx(0.2 + 0.8 * 261 * 10.0 / 24.0 / 365.25)


def test_half_a_link_suffices_at_night():
    """A radio of two is dead for a week: it is short of the committed rate in 50 hours of 168."""
    demand = ServiceDemand("s", 80.0, 100.0, 1, ROUTE, required_share=0.5, clock=CLOCK)
    dead = hop([100.0, 50.0], [0.0, 7 * DAY_S, 14 * DAY_S], [0, 1, 0], [0, Cause.OUTDOOR_RADIO])
    (history,) = sweep_services([dead], [demand], YEAR_S)
    flat = replace(demand, clock=None)
    (always,) = sweep_services([dead], [flat], YEAR_S)
    below = [
        sums(d, h, TRAFFIC)["below_committed_s"] / 3 / 3600 for d, h in ((demand, history), (flat, always))
    ]
    assert below == pytest.approx([50.0, 168.0])
    lacking = sums(demand, history, UNDELIVERED)
    assert lacking["undelivered_mbit"] == pytest.approx(2 * 50.0 * 50 * 3600.0)
    assert lacking["undelivered_committed_mbit"] == pytest.approx(2 * 30.0 * 50 * 3600.0)
    assert history.seconds.sum() == pytest.approx(YEAR_S)


def test_two_time_zones_share_a_link_by_turns():
    """Offices twelve hours apart each need the whole link in hours in which the other asks for little."""
    east, west = CLOCK, replace(CLOCK, offset_s=12 * 3600.0, working_days=7)
    demands = [
        ServiceDemand(name, 80.0, 80.0, 1, ROUTE, clock=clock)
        for name, clock in (("east", replace(east, working_days=7)), ("west", west))
    ]
    for history in sweep_services([hop([96.0])], demands, YEAR_S):
        assert not history.causes.any()
    together = [demands[0], replace(demands[1], clock=demands[0].clock)]
    for history in sweep_services([hop([96.0])], together, YEAR_S):
        congested_s = history.seconds[history.causes[:, 0] == Cause.CONGESTION].sum()
        assert congested_s == pytest.approx(YEAR_S * 10 / 24, rel=1e-3)


def test_the_clock_runs_only_where_capacity_may_be_short(monkeypatch):
    seen = []
    merged = sweep._merged
    monkeypatch.setattr(
        sweep, "_merged", lambda who, changes, *rest: merged(who, seen.append(changes) or changes, *rest)
    )
    demand = ServiceDemand("s", 50.0, 100.0, 1, ROUTE, clock=CLOCK)
    short = hop([100.0, 50.0], [0.0, 10 * DAY_S, 11 * DAY_S], [0, 1, 0])
    sweep_services([short], [demand], YEAR_S)
    assert 0 < sum(times.size for times, _ in seen[0]) < 10


PROFILE = DemandProfile(id="office", working_day=OFFICE, day_off=QUIET)


def services(**more):
    return (Service(id="s", site_a="a", site_b="b", committed_mbit_s=100.0, peak_mbit_s=150.0, **more),)


def test_the_textbook_sum_takes_each_hour_for_its_share_of_the_week():
    options = ModelOptions(rain=False, anchoring=False)

    def minutes(committed_mbit_s, **more):
        own = services(**more)[0].model_copy(update={"committed_mbit_s": committed_mbit_s})
        prepared = prepare(triangle(services=(own,), demand_profiles=(PROFILE,)), options)
        return predict_services(prepared).iloc[0]["total_min_per_year"]

    busy = 50.0 / 168.0
    by_hand = busy * minutes(100.0) + (1.0 - busy) * minutes(20.0)
    assert minutes(100.0, demand_profile="office") == pytest.approx(by_hand)
    assert minutes(100.0) > 1.01 * minutes(20.0)


def test_a_service_has_the_hours_of_its_first_end():
    network = triangle(services=services(demand_profile="office"), demand_profiles=(PROFILE,))
    (demand,) = prepare(network, ModelOptions(rain=False, anchoring=False)).demands
    assert demand.clock == DemandClock(OFFICE, QUIET, 5, 45 * 60.0)  # 11 degrees east are 44 minutes


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"demand_profile": "ofice"}, 'demand_profile is "ofice"; must be a demand profile id. Did you mean'),
        (
            {"demand_profile": "office", "kind": "circuit"},
            'demand_profile is "office"; must be left out with kind circuit',
        ),
    ],
)
def test_names_and_kinds_are_checked(change, message):
    network = triangle(services=services(), demand_profiles=(PROFILE,))
    raw = json.loads(network.model_dump_json(by_alias=True, exclude_none=True))
    raw["services"][0] |= change
    with pytest.raises(InputError, match=message):
        build_network(raw, "network.toml", {}, FaultList(), {})


def test_shares_are_checked():
    network = triangle(demand_profiles=(PROFILE,))
    raw = json.loads(network.model_dump_json(by_alias=True, exclude_none=True))
    raw["demand_profiles"][0]["working_day"][3] = 1.5
    raw["demand_profiles"].append({"id": "short", "working_day": [1.0] * 23})
    with pytest.raises(InputError) as found:
        build_network(raw, "network.toml", {}, FaultList(), {})
    assert 'demand profile "office": working_day[4] is 1.5; must be 0.001 to 1' in str(found.value)
    assert 'demand profile "short": working_day' in str(found.value)
