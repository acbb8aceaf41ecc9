"""Whole runs of a small network: the same bytes however they are made, and nothing lost or overwritten."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from small_networks import source_of, triangle

from hopyears.models.network.network import Maintenance, Switching
from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.runs.results import Results
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.storage.run_folder import RunFolder

DEMO = Path(__file__).parents[3] / "experiments" / "demo" / "network.toml"
REQUEST = RunRequest(years=6, seed=5, block_years=2, workers=1)


def content(folder):
    """Every file of a run by its path within it."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def reference(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs") / "one"
    simulate(source_of(triangle()), REQUEST, folder)
    return folder


def test_two_workers_give_the_same_bytes(reference, tmp_path):
    request = RunRequest(years=6, seed=5, block_years=2, workers=2)
    simulate(source_of(triangle()), request, tmp_path / "two")
    assert content(tmp_path / "two") == content(reference)


def test_a_stopped_run_resumes_to_the_same_bytes(reference, tmp_path):
    def stop_after_one(done, of_all):
        if done >= 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        simulate(source_of(triangle()), REQUEST, tmp_path / "run", progress=stop_after_one)
    kept = content(tmp_path / "run")
    assert "blocks/000000.zip" in kept
    simulate(source_of(triangle()), REQUEST, tmp_path / "run", resume=True)
    assert content(tmp_path / "run") == content(reference)


def test_more_years_only_add_blocks(reference, tmp_path):
    simulate(source_of(triangle()), RunRequest(years=2, seed=5, block_years=2), tmp_path / "run")
    assert content(tmp_path / "run")["blocks/000000.zip"] == content(reference)["blocks/000000.zip"]
    simulate(source_of(triangle()), REQUEST, tmp_path / "run", resume=True)
    assert content(tmp_path / "run") == content(reference)


def test_another_seed_is_another_run(reference, tmp_path):
    simulate(source_of(triangle()), RunRequest(years=2, seed=6, block_years=2), tmp_path / "run")
    mine, theirs = (RunFolder(run).read_table(0, "hop_total") for run in (tmp_path / "run", reference))
    assert not mine.equals(theirs)


def test_an_output_folder_that_holds_a_run_is_left_alone(reference):
    before = content(reference)
    with pytest.raises(InputError, match="output folder is in use by a run; must be new or empty"):
        simulate(source_of(triangle()), REQUEST, reference)
    with pytest.raises(InputError, match="output folder is of another run"):
        simulate(source_of(triangle()), RunRequest(years=6, seed=9, block_years=2), reference, resume=True)
    assert content(reference) == before


def test_an_output_folder_with_anything_else_is_left_alone(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match=r'not empty \(holds "notes.txt"\)'):
        simulate(source_of(triangle()), REQUEST, tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("years", 0, "--years is 0; must be 1 to 1000000"),
        ("seed", -1, "--seed is -1; must be 0 to"),
        ("block_years", 0, "--block-years is 0; must be 1 to 100"),
        ("workers", 0, "--workers is 0; must be 1 to 256"),
    ],
)
def test_impossible_requests_are_refused(field, value, message):
    with pytest.raises(InputError, match=message):
        RunRequest(**{"years": 1, "seed": 1, field: value})


def test_the_manifest_names_all_that_decides_the_numbers(reference):
    manifest = Results.load(reference).manifest
    assert manifest["years"] == 6
    switches = ("rain", "multipath", "failures", "anchoring", "queues")
    assert all(manifest["options"][switch] is True for switch in switches)
    assert {"numpy", "numba", "simpy", "itur", "hopyears"} <= set(manifest["versions"])
    assert "workers" not in manifest


def test_results_hang_together(reference):
    results = Results.load(reference)
    services, hops = results.services.set_index("service"), results.hops.set_index("hop")
    assert list(services.index) == ["one", "two"]
    causes = results.tables["service_causes"].groupby("service")["unavailable_min_per_year"].sum()
    for service, minutes in causes.items():
        assert minutes == pytest.approx(services.loc[service, "unavailable_min_per_year"], abs=1e-6)
    for _, shares in results.tables["hop_modulations"].groupby(["hop", "direction"]):
        assert shares["share"].sum() == pytest.approx(1.0, abs=1e-9)
    for name in ("99", "99_9", "99_99"):
        assert (services[f"throughput_{name}_mbit_s"] <= services["peak_mbit_s"]).all()
    assert (services["throughput_99_mbit_s"] >= services["throughput_99_99_mbit_s"]).all()
    assert (hops["unavailable_min_per_year_low"] <= hops["unavailable_min_per_year"]).all()
    both = services["unavailable_min_per_year"]
    assert (both >= services["forward_unavailable_min_per_year"] - 1e-9).all()
    assert (both >= services["backward_unavailable_min_per_year"] - 1e-9).all()


def test_with_everything_switched_off_nothing_ever_happens(tmp_path):
    quiet = ModelOptions(rain=False, multipath=False, failures=False)
    simulate(
        source_of(triangle()), RunRequest(years=2, seed=1, block_years=2, options=quiet), tmp_path / "run"
    )
    results = Results.load(tmp_path / "run")
    assert (results.services["unavailable_min_per_year"] == 0).all()
    assert (results.services["unavailable_min_per_year_high"] > 0).all()
    assert (results.services["mean_throughput_mbit_s"] == results.services["peak_mbit_s"]).all()


def test_a_site_that_outgrows_its_indoor_unit_is_told_with_the_run(tmp_path):
    simulate(source_of(triangle("7+2")), RunRequest(years=1, seed=5, block_years=1), tmp_path / "run")
    warnings = Results.load(tmp_path / "run").manifest["warnings"]
    said = 'hop "a-b" has 9 radios here and an indoor unit takes 8, so they are split over several'
    assert any(each.startswith('test.toml: site "b": ') and said in each for each in warnings)


def test_shares_of_outage_and_planned_visits_are_in_the_tables(tmp_path):
    network = triangle(
        maintenance=(Maintenance(site="b", every_days=20.0, duration_h=6.0),),
        switching=Switching(standby_test_visit=True, standby_test_days=30.0),
    )
    simulate(source_of(network), RunRequest(years=4, seed=5, block_years=2), tmp_path / "run")
    tables = Results.load(tmp_path / "run").tables
    # At b every 20 days, and tests at a and c, where a-c has standbys, every 30.
    (crew,) = tables["crew_visits"].to_dict("records")
    per_year = 365.25 / 20 + 2 * 365.25 / 30
    assert crew["planned_per_year"] == pytest.approx(per_year, rel=0.05)
    services = tables["services"]
    whole = services["unavailable_min_per_year"].sum()
    sites = tables["site_failures"].set_index("site")
    planned = tables["service_causes"].query("cause == 'planned work'")["unavailable_min_per_year"].sum()
    assert planned > 0.5 * whole
    for found in (crew["outage_min_per_year"], sites.loc["b", "outage_min_per_year"]):
        assert planned <= found <= 1.001 * whole
    assert crew["outage_share"] == pytest.approx(crew["outage_min_per_year"] / whole)
    assert set(tables["part_failures"].columns) >= {"outage_min_per_year", "outage_share"}


@pytest.mark.slow
def test_bytes_do_not_hang_on_how_python_orders_its_sets(tmp_path):
    """Two processes that hash text differently leave the same run."""
    program = [
        sys.executable,
        "-c",
        "import sys; from hopyears.sim.commands import main; sys.exit(main(sys.argv[1:]))",
    ]
    for hash_seed in ("1", "2"):
        asked = ["simulate", str(DEMO), "--years", "20", "--workers", "1", "--out", str(tmp_path / hash_seed)]
        subprocess.run(
            [*program, *asked],
            env={**os.environ, "PYTHONHASHSEED": hash_seed},
            check=True,
            capture_output=True,
        )
    assert content(tmp_path / "1") == content(tmp_path / "2")
