"""Runs that stop when a service is known well enough: the same blocks however they are made."""

from dataclasses import replace

import numpy as np
import pytest
from coverage_check import compound_poisson, coverage, too_low
from small_networks import source_of, triangle

from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.counting.statistics import mean_interval
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.runs.stopping import PrecisionGoal, looks, parse_goal
from hopyears.sim.storage.run_folder import RunFolder


def test_goals_read():
    assert parse_goal("service=mill-quay halfwidth=10%") == PrecisionGoal("mill-quay", 0.1)
    assert parse_goal(" halfwidth=2.5%  service=s=1 ") == PrecisionGoal("s=1", 0.025)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "service=a",
        "halfwidth=10%",
        "service=a halfwidth=10% service=b",
        "service=a service=b",
        "service= halfwidth=10%",
        "service=a width=10%",
        "service=a halfwidth=10% now",
    ],
)
def test_goals_of_other_form_are_refused(text):
    with pytest.raises(InputError, match=r'^--until is ".*"; must be "service=ID halfwidth=PER_CENT%"$'):
        parse_goal(text)


@pytest.mark.parametrize("width", ["10", "0%", "-5%", "nan%", "0.01%", "101%", "1e1%", "%", ".%", "inf%"])
def test_half_widths_out_of_range_are_refused(width):
    with pytest.raises(InputError, match=r'^--until halfwidth is ".*"; must be 0\.1% to 100%$'):
        parse_goal(f"service=a halfwidth={width}")


def test_looks_grow_by_a_quarter_and_end_with_the_last_block():
    assert list(looks(40, 0)) == [10, 13, 17, 22, 28, 35, 40]
    assert list(looks(40, 14)) == [17, 22, 28, 35, 40]
    assert list(looks(5, 0)) == [5]
    assert list(looks(5, 8)) == [8]
    # A run that is stopped half-way to a look goes on to that very look.
    for held in range(1, 41):
        assert list(looks(40, held)) == [look for look in looks(40, 0) if look >= held]


@pytest.mark.slow
def test_intervals_of_stopped_runs_still_hold_the_truth():
    """Looking again and again might stop at lucky blocks; a quarter more between looks keeps the coverage."""

    def stopped(draw):
        for look in looks(len(draw), 0):
            found = mean_interval(draw[:look])
            if found.relative_half_width <= 0.3:
                break
        return found

    held = coverage(stopped, lambda rng: compound_poisson(rng, 300, 5.0), 5.0, n_trials=1000)
    assert not too_low(held, 0.95, n_trials=1000)


GOAL = PrecisionGoal("one", 0.15)
REQUEST = RunRequest(
    years=60, seed=6, block_years=1, until=GOAL, options=ModelOptions(failures=False, multipath=False)
)


def content(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture(scope="module")
def reference(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs") / "one"
    simulate(source_of(rainy()), REQUEST, folder)
    return folder


def rainy():
    """A triangle whose rain takes the service often enough to be known soon."""
    network = triangle()
    hops = tuple(hop.model_copy(update={"frequency_ghz": 38.0}) for hop in network.hops)
    return network.model_copy(update={"hops": hops})


def unavailable_s(folder, blocks):
    tables = [RunFolder(folder).read_table(block, "service_total").to_pandas() for block in blocks]
    return np.array(
        [t.loc[(t["entity"] == 0) & (t["direction"] == 2), "unavailable_s"].sum() for t in tables]
    )


def test_the_run_stops_at_the_first_look_that_is_precise_enough(reference):
    blocks = RunFolder(reference).finished_blocks()
    assert len(blocks) in list(looks(60, 0))[:-1]
    widths = {
        n: mean_interval(unavailable_s(reference, range(n))).relative_half_width
        for n in looks(60, 0)
        if n <= len(blocks)
    }
    assert [n for n, width in widths.items() if width <= GOAL.half_width] == [len(blocks)]


def test_the_manifest_tells_where_it_stopped_and_why(reference):
    manifest = RunFolder(reference).results_rest_on()
    blocks = RunFolder(reference).finished_blocks()
    assert manifest["until"] == {"service": "one", "half_width": GOAL.half_width, "reached": True}
    assert manifest["blocks"] == manifest["years"] == len(blocks)


@pytest.mark.slow
def test_the_question_is_put_to_the_figure_that_is_shown(reference, tmp_path):
    """With replications it stops at the first look at which the figure of the table is precise enough."""
    options = replace(REQUEST.options, replications=1)
    folder = simulate(source_of(rainy()), replace(REQUEST, options=options), tmp_path / "run")
    held = len(folder.finished_blocks())
    assert held < len(RunFolder(reference).finished_blocks())
    assert folder.results_rest_on()["until"]["reached"] is True
    row = folder.read_results()["services"].to_pandas().set_index("service").loc["one"]
    low, best, high = row[[f"unavailable_min_per_year{end}" for end in ("_low", "", "_high")]]
    assert 0.5 * (high - low) <= GOAL.half_width * best
    assert mean_interval(unavailable_s(folder.path, range(held))).relative_half_width > GOAL.half_width


def test_a_goal_out_of_reach_ends_with_the_last_year(tmp_path):
    request = RunRequest(
        years=3, seed=5, block_years=1, until=PrecisionGoal("one", 0.001), options=REQUEST.options
    )
    simulate(source_of(rainy()), request, tmp_path / "run")
    manifest = RunFolder(tmp_path / "run").results_rest_on()
    assert (manifest["until"]["reached"], manifest["years"]) == (False, 3)


def test_an_unknown_service_is_refused_before_anything_is_written(tmp_path):
    request = RunRequest(years=3, seed=5, until=PrecisionGoal("three", 0.1))
    with pytest.raises(InputError, match=r'^--until service is "three"; must be a service: one, two$'):
        simulate(source_of(triangle()), request, tmp_path / "run")
    assert not (tmp_path / "run").exists()


@pytest.mark.slow
def test_two_workers_stop_at_the_same_block(reference, tmp_path):
    request = RunRequest(**{**vars(REQUEST), "workers": 2})
    simulate(source_of(rainy()), request, tmp_path / "two")
    assert content(tmp_path / "two") == content(reference)


@pytest.mark.slow
@pytest.mark.parametrize("stop_after", [4, 11])
def test_a_stopped_run_resumes_to_the_same_bytes(reference, tmp_path, stop_after):
    def stop(done, of_all):
        if done >= stop_after:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        simulate(source_of(rainy()), REQUEST, tmp_path / "run", progress=stop)
    simulate(source_of(rainy()), REQUEST, tmp_path / "run", resume=True)
    assert content(tmp_path / "run") == content(reference)
