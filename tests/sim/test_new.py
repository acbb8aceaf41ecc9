"""The file to start from is accepted, runs, and never takes another's place."""

from pathlib import Path

import pytest

from hopyears.sim.commands import main
from hopyears.sim.inputs.network_file import read_network


def test_a_new_folder_holds_a_network(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "here" / "mine"
    assert main(["new", str(folder)]) == 0
    said = capsys.readouterr().out
    source = read_network(folder / "network.toml")
    assert source.warnings == ()
    assert [site.name for site in source.network.sites] == ["Old Mill", "High Ridge", "Harbour Quay"]
    assert f"hopyears simulate {folder / 'network.toml'}" in said
    assert main(["new", str(folder)]) == 2
    assert "file is there already; must be a new file" in capsys.readouterr().err


def test_a_folder_that_cannot_be_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("x")
    assert main(["new", str(tmp_path / "file" / "below")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.slow
def test_it_runs(tmp_path: Path) -> None:
    assert main(["new", str(tmp_path)]) == 0
    words = ["--years", "2", "--block-years", "1", "--replications", "1", "--workers", "1"]
    assert main(["simulate", str(tmp_path / "network.toml"), "--out", str(tmp_path / "run"), *words]) == 0
