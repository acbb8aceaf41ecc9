"""Bundles as one curve, and states of modulation in busy hours."""

import numpy as np
import pytest
from small_networks import hop, triangle

from hopyears.models.judging.demand_clock import DemandClock
from hopyears.models.network.network import DemandProfile, Service
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.modulation.findings import ADAPTIVE, BlockFindings, busy_hours, channel_states
from hopyears.sim.modulation.study import ModulationStudy
from hopyears.sim.modulation.tables import study_tables
from hopyears.sim.services.service_data import ServiceDemand

HOUR_S, DAY_S = 3600.0, 86_400.0
EVENING = (*(0.2,) * 20, 1.0, 1.0, 0.2, 0.2)
FLAT = (0.5,) * 24


def demand(name, working_day, day_off, offset_s=0.0):
    clock = DemandClock(working_day, day_off, 5, offset_s)
    return ServiceDemand(name, 10.0, 20.0, 1, (((0, 0),),), clock=clock)


def test_busy_hours_are_those_of_the_largest_share():
    start_s, end_s = busy_hours([demand("one", EVENING, FLAT)], 14.0 * DAY_S)
    working = [day for day in range(14) if day % 7 < 5]
    assert start_s.tolist() == [day * DAY_S + 20.0 * HOUR_S for day in working]
    assert (end_s - start_s).tolist() == [2.0 * HOUR_S] * 10
    later = demand("two", EVENING, FLAT, offset_s=-HOUR_S)
    both = busy_hours([demand("one", EVENING, FLAT), later], DAY_S)
    assert [side.tolist() for side in both] == [[20.0 * HOUR_S], [23.0 * HOUR_S]]
    assert busy_hours([], DAY_S) is None


def test_states_within_stretches():
    """Down for 30 minutes, 10 of them in a busy hour."""
    history = HopHistory(
        np.array([0.0, 3000.0, 4800.0]),
        np.array([0, 1, 0], dtype=np.int32),
        np.array([[100.0, 100.0], [0.0, 0.0]]),
        np.zeros(2, dtype=np.int64),
        np.array([[1, 1], [0, 0]]),
    )
    names = np.array([0, 16])
    always = channel_states(history, names, DAY_S)
    busy = channel_states(history, names, DAY_S, (np.array([0.0, 9000.0]), np.array([3600.0, 9600.0])))
    assert always[1].tolist() == [2.0 * 1800.0, 2.0 * (DAY_S - 1800.0)]
    assert busy[1].tolist() == [2.0 * 600.0, 2.0 * 3600.0]


@pytest.fixture(scope="module")
def found():
    """Two hops side by side, one of them at 80 GHz, and a third alone; one service has busy hours."""
    pair = (
        hop("low", "a", "c", 18.0, bundle="both"),
        hop("high", "a", "c", 80.0, bundle="both"),
        hop("alone", "c", "b", 7.4, antenna="large"),
    )
    services = (
        Service(id="one", site_a="a", site_b="c", committed_mbit_s=30.0, demand_profile="evening"),
        Service(id="two", site_a="c", site_b="b", committed_mbit_s=30.0),
    )
    profile = DemandProfile(id="evening", working_day=EVENING)
    network = triangle(hops=pair, services=services, demand_profiles=(profile,))
    prepared = prepare(network, ModelOptions(failures=False, anchoring=False))
    study = ModulationStudy(prepared, 5, 1, range(3), [4, 64])
    blocks = [study.block(number) for number in range(2)]
    blocks = [BlockFindings.from_arrow(block.to_arrow()) for block in blocks]
    return study_tables(prepared, blocks, 1)


@pytest.mark.slow
def test_a_bundle_has_rows_and_a_curve_of_its_own(found):
    hops = found["hops"].set_index(["hop", "states"])
    assert set(found["hops"]["hop"]) == {"low", "high", "alone", "both"}
    for states in (ADAPTIVE, 4, 64):
        one, other, whole = (hops.loc[(name, states)] for name in ("low", "high", "both"))
        assert whole["best_mbit_s"] == pytest.approx(one["best_mbit_s"] + other["best_mbit_s"])
        assert whole["mean_mbit_s"] == pytest.approx(one["mean_mbit_s"] + other["mean_mbit_s"], rel=1e-6)
        least = min(one["unavailable_min_per_year"], other["unavailable_min_per_year"])
        assert whole["unavailable_min_per_year"] <= least
    curve = found["hop_curves"].query("hop == 'both' and states == 0")
    assert len(curve) > 3
    assert curve["exceeded_share"].max() == pytest.approx(1.0)
    weather = found["hop_weather"].set_index("hop").loc["both"]
    assert weather["weather_steps_per_year"] == weather["steps_per_year"] > 0.0  # nothing fails


@pytest.mark.slow
def test_busy_hours_stand_beside_all_hours(found):
    shares = found["hop_modulations"].set_index(["hop", "states"])
    for name in ("low", "high"):
        own = shares.loc[name]
        assert own["busy_share"].sum() == pytest.approx(1.0)
        assert own["share"].sum() == pytest.approx(1.0)
    assert shares.loc["alone"]["busy_share"].isna().all()
    services = found["services"].set_index(["service", "states"])
    assert (services["undelivered_share"] >= 0.0).all()
    lost = found["undelivered"].query("cause == 'all'").groupby("states")["undelivered_mbit_per_year"].sum()
    for states in (ADAPTIVE, 4, 64):
        of_services = services.xs(states, level="states")["undelivered_gbit_per_year"].sum()
        assert of_services == pytest.approx(lost[states] / 1000.0)
