"""What ``import hopyears`` offers: lazy, complete, with examples that run, beside any other names."""

import doctest
import runpy
import subprocess
import sys
from pathlib import Path

import pytest
from network_text import write

import hopyears
import hopyears.api
import hopyears.choices
import hopyears.plots
import hopyears.runs
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.runs.results import RESULT_TABLES

NETWORK = {
    "title": "three hops",
    "sites": [
        {"id": "hill", "latitude_deg": 50.0, "longitude_deg": 10.0},
        {"id": "mill", "latitude_deg": 50.1, "longitude_deg": 10.0},
        {"id": "ridge", "latitude_deg": 50.1, "longitude_deg": 10.2},
        {"id": "dale", "latitude_deg": 50.3, "longitude_deg": 10.2},
    ],
    "radios": [{"id": "r18", "modulations": [{"states": 4}, {"states": 64}]}],
    "antennas": [{"id": "dish", "diameter_m": 0.6}],
    "hops": [
        {
            "id": f"{a}-{b}", "from": a, "to": b, "frequency_ghz": 18.0, "radio": "r18", "antenna": "dish",
        }
        for a, b in (("hill", "mill"), ("mill", "ridge"), ("ridge", "dale"))
    ],
    "services": [
        {"id": "hill-ridge", "from": "hill", "to": "ridge", "committed_mbit_s": 30.0},
        {"id": "mill-ridge", "from": "mill", "to": "ridge", "committed_mbit_s": 30.0},
    ],
    "crews": [{"id": "crew", "base": "hill"}],
    "climate": {"rain_rate_001_mm_h": 60.0},
}  # fmt: skip
"""Invented; heavy rain on short masts, so that two years show outages."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what the examples read: a network, a plan and a stored run."""
    path = tmp_path_factory.mktemp("examples")
    write(path, NETWORK)
    write(path, {"hops": [{"id": "hill-mill", "scheme": "1+1 HSB"}]}, "plan.toml")
    hopyears.simulate(path / "network.toml", years=2, block_years=1, seed=7, folder=path / "run")
    return path


@pytest.mark.slow
@pytest.mark.parametrize(
    "module", [hopyears, hopyears.choices, hopyears.plots, hopyears.runs], ids=lambda module: module.__name__
)
def test_examples_run(module, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    monkeypatch.setenv("MPLBACKEND", "agg")
    failed, tried = doctest.testmod(module, extraglobs={"hopyears": hopyears})
    assert tried > 0
    assert failed == 0


def test_every_public_function_and_class_of_our_own_has_an_example() -> None:
    for name in hopyears.__all__:
        value = getattr(hopyears, name)
        if value.__module__ in ("hopyears.choices", "hopyears.runs") and name != "Prediction":
            assert ">>> " in value.__doc__, name


def test_names_are_those_that_are_offered() -> None:
    assert hopyears.__all__ == hopyears.api.__all__ == sorted(hopyears.__all__)
    assert set(hopyears.__all__) <= set(dir(hopyears))
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = hopyears.nonsense


def run_python(code: str, where: Path) -> str:
    found = subprocess.run([sys.executable, "-c", code], cwd=where, capture_output=True, text=True)
    assert found.returncode == 0, found.stderr
    return found.stdout


def test_import_loads_nothing_heavy_and_bears_folders_of_the_same_names(tmp_path: Path) -> None:
    for name in ("sim", "models", "experiments"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text("raise RuntimeError('a folder of the reader')\n")
    code = (
        "import sys, hopyears; heavy = {'numpy', 'pandas', 'matplotlib', 'pydantic'} & "
        "{*sys.modules}; print(sorted(heavy), 'hopyears.api' in sys.modules)"
    )
    assert run_python(code, tmp_path) == "[] False\n"


@pytest.mark.slow
def test_use_beside_folders_of_the_same_names(tmp_path: Path) -> None:
    for name in ("sim", "models"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text("")
    code = "import sim, models, hopyears; hopyears.read_network; print(sim.__file__, models.__file__)"
    assert run_python(code, tmp_path).count(str(tmp_path)) == 2


def test_table_of_columns() -> None:
    words = hopyears.columns("services")
    assert list(words.columns) == ["column", "unit", "meaning", "unseen"]
    with pytest.raises(InputError, match='table is "nonsense"; must be one of services, '):
        hopyears.columns("nonsense")
    for name in RESULT_TABLES:
        assert len(hopyears.columns(name)) > 1


def test_a_plan_may_be_plain_data(folder: Path) -> None:
    base = hopyears.read_network(folder / "network.toml")
    changes = {"hops": [{"id": "hill-mill", "scheme": "1+1 HSB"}]}
    assert hopyears.read_plan(changes, base).network == hopyears.read_plan(folder / "plan.toml", base).network
    assert changes == {"hops": [{"id": "hill-mill", "scheme": "1+1 HSB"}]}
    with pytest.raises(InputError, match=r'plan: .*scheme is "9"'):
        hopyears.read_plan({"hops": [{"id": "hill-mill", "scheme": "9"}]}, base)


@pytest.mark.slow
def test_the_walk_through_runs(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("WALK_THROUGH_YEARS", "2")
    monkeypatch.setenv("MPLBACKEND", "agg")
    runpy.run_path(str(Path(__file__).parents[3] / "experiments/walk_through/walk_through.py"))
    told = capsys.readouterr().out
    for words in ("Town, hills and a farm", "ridge-farm", "farm-town", "larger battery", "min/year"):
        assert words in told


@pytest.mark.slow
def test_a_run_in_memory_is_the_run_in_a_folder_and_leaves_nothing(folder: Path) -> None:
    results = hopyears.simulate(folder / "network.toml", years=2, block_years=1, seed=7)
    stored = hopyears.open_run(folder / "run")
    assert results.manifest == stored.manifest
    for name, table in stored.tables.items():
        assert table.equals(results.tables[name]), name
    kept = results.folder
    assert kept.is_dir()
    del results
    assert not kept.exists()


@pytest.mark.slow
def test_outages_are_told_longest_first_and_explained(folder: Path) -> None:
    results = hopyears.open_run(folder / "run")
    outages = hopyears.worst_outages(results, "hill-ridge", most=5)
    assert outages["duration_s"].is_monotonic_decreasing
    assert len(outages) == 5
    story = hopyears.explain(results, "hill-ridge", outage=2)
    assert story.outage.duration_s == outages["duration_s"][1]
    with pytest.raises(InputError, match="outage is 0; must be 1 to "):
        hopyears.explain(results, "hill-ridge", outage=0)


@pytest.mark.slow
def test_every_plot_draws_on_axes_of_its_own_and_on_given_ones(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MPLBACKEND", "agg")
    from matplotlib import pyplot

    plot = hopyears.open_run(folder / "run").plot
    names = [name for name in vars(type(plot)) if not name.startswith("_")]
    for name in names:
        words = {"rates": ("hill-ridge",), "capacities": ("hill-mill",)}.get(name, ())
        assert getattr(plot, name)(*words).has_data() or name == "map"
        _, given = pyplot.subplots()
        assert getattr(plot, name)(*words, axes=given) is given
        pyplot.close("all")
    with pytest.raises(InputError, match='service is "x"; must be one of the run: hill-ridge'):
        plot.rates("x")
