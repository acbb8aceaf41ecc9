"""Steps from the textbook sum to the simulated outage: they add up, and each is what its name says."""

import numpy as np
import pytest
from small_networks import hop, source_of, triangle

from hopyears.models.network.network import Service
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.blocks.series_tally import series_rows
from hopyears.sim.runs.rerun import open_run
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.runs.textbook_distance import (
    SIMULATED,
    STEPS,
    TEXTBOOK,
    WAITING,
    distance_table,
    queue_table,
)
from hopyears.sim.textbook.predict import predict_hops, predict_services

RAIN, EQUIPMENT, STORMS, SITES, ROUTES, SHARED = STEPS[1:-2]


def two_in_a_row(**service):
    """A service over two hops that the same storms cross, with a way round where it is asked for."""
    network = triangle()
    hops = (
        hop("a-b", "a", "b", 23.0),
        hop("a-c", "a", "c", 23.0),
        hop("c-b", "c", "b", 23.0, antenna="large"),
    )
    share = {"required_share": 1.0}  # so that sharing the capacity of a hop costs time
    services = (
        Service(
            id="chain",
            site_a="a",
            site_b="b",
            committed_mbit_s=30.0,
            route=("a-c", "c-b"),
            **share,
            **service,
        ),
        Service(id="last", site_a="c", site_b="b", committed_mbit_s=30.0, **share),
    )
    return network.model_copy(update={"hops": hops, "services": services})


def steps_of(network, folder, options=None, **request):
    options = options or ModelOptions()
    request = RunRequest(**{"years": 12, "seed": 3, "block_years": 2, "options": options, **request})
    run = simulate(source_of(network), request, folder)
    table = distance_table(prepare(network, options), run)
    return run, table.pivot(index="service", columns="step", values="min_per_year")[list(STEPS)]


@pytest.fixture(scope="module")
def rainy(tmp_path_factory):
    """Rain alone on two hops in a row."""
    options = ModelOptions(multipath=False, failures=False)
    return steps_of(two_in_a_row(), tmp_path_factory.mktemp("runs") / "rain", options)


@pytest.fixture(scope="module")
def broken(tmp_path_factory):
    """Failures alone, with a protecting route."""
    network = two_in_a_row(protection="protected")
    options = ModelOptions(rain=False, multipath=False)
    folder = tmp_path_factory.mktemp("runs") / "failures"
    return folder, steps_of(network, folder, options, years=60, block_years=10)


def test_steps_add_up_to_the_simulated_figure(rainy, broken):
    for run, steps in (rainy, broken[1]):
        services = run.read_results()["services"].to_pandas().set_index("service")
        simulated = services.loc[steps.index, "unavailable_min_per_year"]
        assert steps[SIMULATED].to_numpy() == pytest.approx(simulated.to_numpy())
        assert steps.drop(columns=SIMULATED).sum(axis=1).to_numpy() == pytest.approx(
            simulated.to_numpy(), abs=1e-4
        )


def test_the_first_step_is_the_textbook_sum(rainy):
    prepared = prepare(two_in_a_row(), ModelOptions(multipath=False, failures=False))
    told = predict_services(prepared).set_index("service")["total_min_per_year"]
    assert rainy[1][TEXTBOOK].to_dict() == pytest.approx(told.to_dict())


def test_storms_shared_by_hops_count_once(rainy):
    """Two hops that meet are rained on together: less than their sum, not less than the worse of them."""
    run, steps = rainy
    hops = run.read_results()["hops"].to_pandas().set_index("hop")["unavailable_min_per_year"]
    chain = steps.loc["chain"]
    alone = hops[["a-c", "c-b"]]
    # Fading apart they would meet in the product of their shares of time: far less than they do.
    assert -chain[STORMS] > 100.0 * alone.prod() / 525_960.0
    assert -chain[STORMS] <= alone.min()
    assert chain[SIMULATED] >= alone.max() - 1e-9
    assert steps.loc["last", STORMS] == 0.0
    assert chain[ROUTES] == 0.0


def test_capacity_shared_in_rain_costs_both(rainy, tmp_path):
    """Both services cross the hop that fades; each alone on it would fare better."""
    _, steps = rainy
    assert (steps[SHARED] > 1.0).all()
    network = two_in_a_row()
    network = network.model_copy(update={"services": network.services[:1]})
    options = ModelOptions(multipath=False, failures=False)
    _, alone = steps_of(network, tmp_path / "alone", options)
    assert alone.loc["chain", SHARED] == 0.0
    assert alone.loc["chain", SIMULATED] == pytest.approx(
        steps.loc["chain", SIMULATED] - steps.loc["chain", SHARED]
    )


def test_without_failures_the_textbook_equipment_falls_away(rainy):
    """Its step is then exactly the sum taken back, once for each hop and each of its ends."""
    prepared = prepare(two_in_a_row(), ModelOptions(multipath=False, failures=False))
    lowest = predict_hops(prepared).groupby("hop").first()
    part = lowest["equipment_min_per_year"] + lowest["sites_min_per_year"]
    assert rainy[1].loc["chain", EQUIPMENT] == pytest.approx(-part[["a-c", "c-b"]].sum())


def test_another_route_saves(broken):
    steps = broken[1][1]
    assert steps.loc["chain", ROUTES] < 0.0
    assert steps.loc["chain", RAIN] < 0.0  # the textbook's rain, taken back
    assert steps.loc["last", ROUTES] == 0.0


def test_waiting_is_the_difference_to_a_run_without_queues(broken, tmp_path):
    folder, (_, steps) = broken
    network = two_in_a_row(protection="protected")
    options = ModelOptions(rain=False, multipath=False, queues=False)
    _, free = steps_of(network, tmp_path / "free", options, years=60, block_years=10)
    waiting = queue_table(open_run(folder), n_blocks=6)
    assert list(waiting["step"].unique()) == [WAITING]
    found = waiting.set_index("service")["min_per_year"]
    expected = steps[SIMULATED] - free[SIMULATED]
    assert found.to_dict() == pytest.approx(expected.to_dict())
    assert np.isfinite(found).all()


@pytest.mark.parametrize("protection", ["none", "protected"])
def test_changes_that_a_service_does_not_notice_make_no_difference(protection, monkeypatch):
    simulator = BlockSimulator(prepare(two_in_a_row(protection=protection)))
    history = simulator.simulate(4, 0, 2)
    found = series_rows(simulator, history)
    monkeypatch.setattr("hopyears.sim.blocks.series_tally._thinned", lambda histories, *_: histories)
    whole = series_rows(simulator, history)
    assert np.array_equal(found.keys, whole.keys)
    assert np.array_equal(found.values, whole.values)
    assert len(found.values) > 4


def test_services_swept_together_are_those_swept_one_by_one(monkeypatch):
    simulator = BlockSimulator(prepare(two_in_a_row(protection="protected")))
    history = simulator.simulate(4, 0, 2)
    together = series_rows(simulator, history)
    monkeypatch.setattr("hopyears.sim.blocks.series_tally._AT_ONCE", 1)
    single = series_rows(simulator, history)
    assert np.array_equal(together.keys, single.keys)
    assert np.array_equal(together.values, single.values)
    assert len(together.values) > 4
