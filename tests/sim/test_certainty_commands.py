"""Verbs on certainty at the command line: what they print, and what they refuse."""

import pandas as pd
import pytest
from network_text import small, write
from small_networks import source_of, triangle

from hopyears.models.network.contract_entry import Contract
from hopyears.sim.commands import main
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.wording.wording import PER_CENT


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs") / "run"
    simulate(source_of(triangle()), RunRequest(years=6, seed=5, block_years=2), folder)
    return folder


def test_promise_prints_and_writes(run, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    csv, years = tmp_path / "promise.csv", tmp_path / "years.csv"
    words = ["promise", run, "--availability", "99.9", "--contract-years", "3"]
    words += ["--csv", csv, "--years-csv", years]
    assert main([str(word) for word in words]) == 0
    shown = capsys.readouterr().out
    assert f"99.9{PER_CENT} of each year of 3 years" in shown
    assert "simulated years or more. 'hopyears simulate --resume' adds years." in shown
    assert pd.read_csv(years).groupby("service").size().to_dict() == {"one": 6, "two": 6}
    table = pd.read_csv(csv)
    assert list(table["contract"]) == ["one", "two"]
    assert (table["contract_break_chance"] >= table["year_break_chance"]).all()


def test_chances_without_an_instance_are_bounds(run, capsys):
    """Of six years each breaks 100 % availability and none the easiest target: neither is certain."""
    assert main(["promise", str(run), "--availability", "100"]) == 0
    assert f"at least 68{PER_CENT}" in capsys.readouterr().out  # 0.1 to the power of one sixth
    assert main(["promise", str(run), "--unavailable-min", "525599"]) == 0
    assert f"at most 32{PER_CENT}" in capsys.readouterr().out


def test_promise_takes_contracts_of_another_file(run, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "200")
    gold = Contract(id="gold", services=("one", "two"), outages=900)
    data = source_of(triangle(contracts=(gold,))).raw
    assert main(["promise", str(run), "--network", str(write(tmp_path, data))]) == 0
    shown = capsys.readouterr().out
    assert "gold" in shown
    assert "one, two" in shown
    assert "at most 900 outages in the year" in shown


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--replications", "-1"], "--replications is -1; must be 0 to 1000"),
        (["--replications", "1001"], "--replications is 1001; must be 0 to 1000"),
    ],
)
def test_replications_that_make_no_sense_are_refused(tmp_path, capsys, words, sentence):
    network = write(tmp_path, small())
    assert main(["simulate", str(network), "--out", str(tmp_path / "out"), *words]) == 2
    assert capsys.readouterr().err == f"{sentence}\n"


def test_textbook_prints_and_writes(run, tmp_path, capsys):
    csv = tmp_path / "steps.csv"
    words = ["textbook", run, "--service", "two", "--blocks", "1", "--csv", csv, "--workers", "1"]
    assert main([str(word) for word in words]) == 0
    shown = capsys.readouterr().out
    assert "textbook sum" in shown
    assert "of which waiting for crews and spares" in shown
    table = pd.read_csv(csv)
    assert set(table["service"]) == {"two"}
    assert table["min_per_year"][:-2].sum() == pytest.approx(table["min_per_year"].iloc[-2], abs=1e-4)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["promise", "--service", "six"], '--service is "six"; must be a service of the run: one, two'),
        (["promise", "--chance", "1"], "--chance is 1.0; must be above 0 to below 1"),
        (["promise", "--availability", "101"], "--availability is 101; must be 1 to 100 per cent"),
        (
            ["promise", "--availability", "0.9995"],
            "--availability is 0.9995; must be 1 to 100 per cent. Did you mean 99.95?",
        ),
        (
            ["promise", "--unavailable-min", "525600"],
            "--unavailable-min is 525600.0; must be 0 to below 525600, the minutes of a year",
        ),
        (
            ["promise", "--unavailable-min", "nan", "--period", "month"],
            "--unavailable-min is nan; must be 0 to below 40320, the minutes of a month",
        ),
        (["promise", "--contract-years", "0"], "--contract-years is 0; must be 1 to 100"),
        (["textbook", "--service", "six"], '--service is "six"; must be a service of the run: one, two'),
        (["textbook", "--blocks", "-1"], "--blocks is -1; must be at least 0"),
    ],
)
def test_what_makes_no_sense_is_refused(run, capsys, words, sentence):
    assert main([words[0], str(run), *words[1:]]) == 2
    shown = capsys.readouterr()
    assert (shown.err, shown.out) == (f"{sentence}\n", "")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--until", "ten per cent"], '--until is "ten per cent"; must be "service=ID halfwidth=PER_CENT%"'),
        (["--until", "service=s2 halfwidth=9%"], '--until service is "s2"; must be a service: s1'),
        (["--replications", "-1"], "--replications is -1; must be 0 to 1000"),
    ],
)
def test_simulate_refuses_before_it_writes(tmp_path, capsys, words, sentence):
    network, out = write(tmp_path, small()), tmp_path / "out"
    assert main(["simulate", str(network), "--out", str(out), *words]) == 2
    shown = capsys.readouterr()
    assert shown.err.splitlines()[-1] == sentence
    assert not out.exists()
