"""Hops side by side in a bundle share their load: traffic goes on at less while one of them is down."""

import numpy as np
import pytest
from small_networks import hop, source_of, triangle

from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import PartChange, Service
from hopyears.models.network.network_rules import bundled_hops
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.hops.hop_history import HopHistory, side_by_side
from hopyears.sim.runs.rerun import open_run
from hopyears.sim.runs.results import Results
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.services.service import routes_in_use
from hopyears.sim.services.service_data import ServiceDemand
from hopyears.sim.studies.counterfactual import BlockCase, sharing_groups
from hopyears.sim.studies.explain import explain, worst_outages
from hopyears.sim.studies.importance import importance
from hopyears.sim.studies.targets import HOP, Target

FAILURES_ONLY = ModelOptions(rain=False, multipath=False)
RAIN_ONLY = ModelOptions(failures=False, multipath=False)


def worst_capacity(tmp_path, bundle):
    """Results of two 7 GHz hops side by side, bundled or not, with a service that one of them can carry."""
    pair = tuple(hop(name, "a", "b", 7.0, antenna="large", bundle=bundle) for name in ("p", "q"))
    services = (Service(id="s", site_a="a", site_b="b", committed_mbit_s=20.0, peak_mbit_s=400.0),)
    network = triangle(hops=(*pair, hop("a-c", "a", "c", 23.0)), services=services)
    folder = tmp_path / (bundle or "apart")
    request = RunRequest(years=60, seed=2, block_years=20, options=FAILURES_ONLY)
    simulate(source_of(network), request, folder)
    return Results.load(folder).services.iloc[0]


def test_a_bundle_carries_more_and_outlives_one_of_its_hops(tmp_path):
    together, apart = worst_capacity(tmp_path, "ab"), worst_capacity(tmp_path, None)
    assert together["mean_throughput_mbit_s"] == pytest.approx(400.0, rel=0.01)
    assert apart["mean_throughput_mbit_s"] == pytest.approx(220.0, rel=0.01)
    assert together["unavailable_min_per_year"] < apart["unavailable_min_per_year"]


RATE_OF_BOTH_MBIT_S = 250.0


@pytest.fixture(scope="module")
def bundled():
    """Two 7 GHz hops in a bundle with radios that fail often; one service needs both, the other either."""
    pair = tuple(hop(name, "a", "b", 7.0, antenna="large", bundle="ab") for name in ("p", "q"))
    services = tuple(
        Service(id=name, site_a="a", site_b="b", committed_mbit_s=rate, required_share=1.0, priority=priority)
        for name, rate, priority in (("both", RATE_OF_BOTH_MBIT_S, 2), ("either", 30.0, 1))
    )
    often = (PartChange(kind="outdoor_radio", mtbf_h=10_000.0),)
    return triangle(hops=(*pair, hop("a-c", "a", "c", 23.0)), services=services, parts=often)


@pytest.fixture(scope="module")
def run(bundled, tmp_path_factory):
    folder = tmp_path_factory.mktemp("bundle") / "run"
    simulate(source_of(bundled), RunRequest(years=100, seed=2, block_years=20, options=FAILURES_ONLY), folder)
    return folder


@pytest.mark.slow
def test_importance_sees_every_hop_of_a_bundle(run):
    table = importance(open_run(run))
    saved = table[table["service"] == "both"].set_index("target")["saved_min_per_year"]
    assert saved["q"] == pytest.approx(saved["p"], rel=0.25)
    assert saved["q"] > 0.25 * saved["outdoor_radio"]
    assert (
        saved["outdoor_radio"] > 0.5 * table.loc[table["service"] == "both", "unavailable_min_per_year"].max()
    )


@pytest.mark.slow
def test_explain_finds_the_dead_radio_of_a_second_hop(run):
    opened = open_run(run)
    outages = [each for each in worst_outages(opened, "both", 40) if each.causes == int(Cause.OUTDOOR_RADIO)]
    assert len(outages) > 5
    blamed = set()
    for outage in outages[:6]:
        story = explain(opened, "both", outage)
        assert story.routes == (("p + q",),)
        (dead,) = [each for each in story.hops if min(each.lowest_mbit_s) == 0.0]
        assert any(part.kind == "outdoor_radio" and part.part.startswith(dead.hop) for part in story.parts)
        blamed.add(dead.hop)
    assert blamed == {"p", "q"}


@pytest.mark.slow
def test_the_textbook_knows_that_a_bundle_carries_on(run):
    services = Results.load(run).services.set_index("service")
    for name, tolerance in (("both", 0.2), ("either", 0.3)):
        row = services.loc[name]
        assert row["textbook_min_per_year"] == pytest.approx(row["unavailable_min_per_year"], rel=tolerance)


@pytest.mark.slow
def test_what_a_bundle_changes_is_found_by_judging_everything_anew(bundled):
    """Of a target in a bundle nothing may be skipped: all services swept again must give the same."""
    simulator = BlockSimulator(prepare(bundled, FAILURES_ONLY))
    draws = simulator.draw(7, 0, 5)
    case = BlockCase(simulator, draws)
    assert sharing_groups(simulator.prepared) == [0, 0]
    hops = [case._undisturbed(1) if i == 1 else hop for i, hop in enumerate(case.hops)]
    whole = simulator.services(hops, draws.log, draws.duration_s)
    found = case.services_without(Target(HOP, "q"))
    for mine, theirs, before in zip(found, whole, case.services, strict=True):
        assert np.array_equal(mine.seconds, theirs.seconds)
        assert mine is not before


def test_the_route_in_use_knows_bundles():
    """One hop of a bundle down is no failure of its link; both down are."""

    def history(*down):
        time_s = np.array([0.0, *(t for pair in down for t in pair)])
        state = (np.arange(time_s.size) % 2).astype(np.int32)
        capacity = np.array([[100.0, 100.0], [0.0, 0.0]])
        return HopHistory(time_s, state, capacity, np.array([0, int(Cause.OUTDOOR_RADIO)]))

    hops = [history((10.0, 20.0), (50.0, 60.0)), history((55.0, 70.0)), history()]
    routes = (((0, 0),), ((2, 0),))
    demand = ServiceDemand("s", 10.0, 50.0, 1, routes, switching_s=0, commanded_s=0, wait_to_restore_s=0)
    ((time_s, route),) = routes_in_use(hops, [demand], 100.0, links=[(0, 1), (), (2,)])
    assert time_s.tolist() == [0.0, 55.0, 60.0]
    assert route.tolist() == [0, 1, 0]


def test_side_by_side_capacities_add_and_causes_join():
    one = HopHistory(
        np.array([0.0, 5.0, 8.0]),
        np.array([0, 1, 0], np.int32),
        np.array([[10.0, 8.0], [0.0, 0.0]]),
        np.array([0, int(Cause.RAIN)]),
    )
    other = HopHistory(np.array([0.0, 6.0]), np.array([0, 1], np.int32),
                       np.array([[3.0, 3.0], [0.0, 3.0]]), np.array([0, int(Cause.POWER)]))  # fmt: skip
    both = side_by_side([one, other])
    assert both.time_s.tolist() == [0.0, 5.0, 6.0, 8.0]
    assert both.capacity_mbit_s[both.state].tolist() == [[13.0, 11.0], [3.0, 3.0], [0.0, 3.0], [10.0, 11.0]]
    rain, power = int(Cause.RAIN), int(Cause.POWER)
    assert both.causes[both.state].tolist() == [0, rain, rain | power, power]


@pytest.mark.slow
def test_a_bundle_of_two_bands_has_its_own_row_and_curve(tmp_path):
    """Rain takes the upper band first: capacities add up, and the bundle is only down while both hops are."""
    pair = (hop("high", "a", "c", 80.0, bundle="ac"), hop("low", "a", "c", 23.0, bundle="ac"))
    services = (Service(id="s", site_a="a", site_b="c", committed_mbit_s=50.0),)
    network = triangle(hops=(*pair, hop("c-b", "c", "b", 7.4)), services=services)
    request = RunRequest(years=2, seed=2, block_years=1, options=RAIN_ONLY)
    simulate(source_of(network), request, tmp_path / "run")
    results = Results.load(tmp_path / "run")
    hops = results.hops.set_index("hop")
    assert list(hops.index) == ["high", "low", "c-b", "ac"]
    bundle, high, low = hops.loc["ac"], hops.loc["high"], hops.loc["low"]
    assert bundle["scheme"] == "bundle of 2"
    for name in ("capacity_mbit_s", "mean_capacity_mbit_s"):
        assert bundle[name] == pytest.approx(high[name] + low[name], rel=1e-6)
    down = [each["unavailable_min_per_year"] for each in (bundle, low, high)]
    assert down[0] <= down[1] < down[2]
    curve = results.tables["hop_capacity"].query("hop == 'ac' and direction == 'forward'")
    shares = curve.set_index("capacity_mbit_s")["exceeded_share"]
    alone = results.tables["hop_capacity"].query("hop == 'low' and direction == 'forward'")
    # The bundle carries at least what the lower band alone carries, at every share of time.
    for capacity, share in alone.set_index("capacity_mbit_s")["exceeded_share"].items():
        assert shares[shares.index >= capacity].max() >= share - 1e-9
    assert "rain" in " ".join(results.tables["hop_causes"].query("hop == 'ac'")["cause"])
    assert set(results.tables["hop_modulations"]["hop"]) == {"high", "low", "c-b"}


def test_no_hop_has_the_name_of_a_bundle():
    pair = tuple(hop(name, "a", "b", 7.0, bundle="p") for name in ("p", "q"))
    found = [fault.sentence() for fault in bundled_hops(triangle(hops=(*pair, hop("a-c", "a", "c", 23.0))))]
    assert found[0] == 'hop "p": bundle is "p"; must be a name that no hop has'
