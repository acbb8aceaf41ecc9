"""The command line: unusable input gives exit status 2 and plain sentences, never a traceback."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from network_text import small, write

import hopyears.sim.inputs.input_text
from hopyears.models.radio.scheme import parse_scheme, radios_of
from hopyears.sim.commands import VERBS, main
from hopyears.sim.wording.terminal import ROWS_SHOWN

SENTENCE = 'network.toml: hop "hill-mill": to is "mil"; must be a site id. Did you mean "mill"?\n'


def faulty(folder: Path) -> Path:
    data = small()
    data["hops"][0]["to"] = "mil"
    return write(folder, data)


def refused(capsys: pytest.CaptureFixture[str], *words: Any) -> str:
    """What a command says on stderr when it refuses its input."""
    status = main([str(word) for word in words])
    shown = capsys.readouterr()
    assert status == 2
    assert "Traceback" not in shown.err
    assert shown.out == ""
    return shown.err


@pytest.mark.parametrize("verb", ["check", "predict", "simulate", "compare"])
def test_faulty_network(verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out"
    more: dict[str, list[Any]] = {
        "simulate": ["--out", out],
        "compare": [write(tmp_path, {}, "plan.toml"), "--out", out],
    }
    assert refused(capsys, verb, faulty(tmp_path), *more.get(verb, [])) == SENTENCE
    assert not out.exists()


def test_faulty_network_in_a_process_of_its_own(tmp_path: Path) -> None:
    call = [sys.executable, "-c", "import sys; from hopyears.sim.commands import main; sys.exit(main())"]
    done = subprocess.run([*call, "check", faulty(tmp_path)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (2, "", SENTENCE)


def test_files_that_are_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    said = refused(capsys, "check", tmp_path / "none.toml")
    assert said.endswith("file is not readable (No such file or directory); must be a readable file\n")
    assert refused(capsys, "check", tmp_path) == f"{tmp_path}: file is a folder; must be a file\n"
    (tmp_path / "bytes").write_bytes(b"\xff\xfe\x00")
    assert refused(capsys, "check", tmp_path / "bytes") == "bytes: byte 0 is not UTF-8; must be UTF-8 text\n"
    (tmp_path / "deep").write_text("x = " + "[" * 9000 + "]" * 9000)
    assert refused(capsys, "check", tmp_path / "deep").startswith("deep: nesting is too deep; must be ")
    monkeypatch.setattr(hopyears.sim.inputs.input_text, "LARGEST_FILE_BYTES", 2**20)
    (tmp_path / "huge").write_bytes(bytes(2**20 + 1))
    assert refused(capsys, "check", tmp_path / "huge") == (
        "huge: size is more than allowed; must be at most 1 MiB\n"
    )


def test_many_faults_are_counted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = small()
    data["sites"] += [{"id": f"x{i}"} for i in range(15)]
    lines = refused(capsys, "check", write(tmp_path, data)).splitlines()
    alike = '(alike in 14 more: "x1", "x2", "x3", ...)'
    assert lines == [
        f'network.toml: site "x0": {field} is missing; must be a number, {limits} {alike}'
        for field, limits in (("latitude_deg", "-80 to 80"), ("longitude_deg", "-180 to 180"))
    ]


def test_faulty_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    network = write(tmp_path, small())
    good = write(tmp_path, {"switching": {"reverts": True}}, "good.toml")
    bad = write(tmp_path, {"hops": [{"id": "mill-ridge", "scheme": "1+1"}]}, "bad.toml")
    out = tmp_path / "out"
    said = refused(capsys, "compare", network, good, bad, "--out", out)
    assert said == (
        'bad.toml: hop "mill-ridge": scheme is "1+1"; '
        "must be consistent (1+1 needs one of HSB, FD, SD, SD+FD, XPIC)\n"
    )
    assert not out.exists()


def test_output_folder_that_holds_something_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    network = write(tmp_path, small())
    out = tmp_path / "out"
    out.mkdir()
    (out / "notes.txt").write_text("keep me")
    said = refused(capsys, "simulate", network, "--out", out, "--years", 1)
    assert (
        said.splitlines(keepends=True)[-1]
        == f'{out}: output folder is not empty (holds "notes.txt"); must be new or empty\n'
    )
    said = refused(capsys, "simulate", network, "--out", out / "notes.txt", "--years", 1)
    assert (
        said.splitlines(keepends=True)[-1]
        == f"{out / 'notes.txt'}: output folder is a file; must be a folder\n"
    )
    assert [path.name for path in out.iterdir()] == ["notes.txt"]
    assert (out / "notes.txt").read_text() == "keep me"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--years", "0"], "--years is 0; must be 1 to "),
        (["--seed", "-1"], "--seed is -1; must be 0 to "),
        (["--block-years", "0"], "--block-years is 0; must be 1 to 100"),
        (["--workers", "0"], "--workers is 0; must be 1 to 256"),
    ],
)
def test_impossible_options(
    words: list[str], sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    said = refused(capsys, "simulate", write(tmp_path, small()), "--out", out, *words)
    assert said.startswith(sentence)
    assert not out.exists()


@pytest.mark.parametrize(
    "words",
    [
        ["simulate", "x.toml", "--years", "many", "--out", "o"],
        ["check"],
        ["simulate", "x.toml"],
        ["check", "-z"],
    ],
)
def test_words_that_are_no_command(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(words)
    assert stop.value.code == 2
    assert "usage: hopyears" in capsys.readouterr().err


def test_verbs(capsys: pytest.CaptureFixture[str]) -> None:
    verbs = ", ".join(VERBS)
    assert (
        refused(capsys, "chek")
        == f'hopyears: verb is "chek"; must be one of {verbs}. Did you mean "check"?\n'
    )
    hint = "hopyears --help tells what each does."
    assert refused(capsys) == f"hopyears: verb is missing; must be one of {verbs}. {hint}\n"
    assert main(["--help"]) == 0
    shown = capsys.readouterr().out
    assert all(f"  {verb}" in shown for verb in VERBS)
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("hopyears ")


@pytest.mark.parametrize("folder", ["none", "empty", "file"])
def test_report_of_what_is_no_run(folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").write_text("x")
    said = refused(capsys, "report", tmp_path / folder)
    assert said.startswith(f"{tmp_path / folder}")
    assert len(said.splitlines()) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["empty", "file"]


def test_report_of_a_broken_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for text in ("{", "[]", "{}", '"x"'):
        (tmp_path / "manifest.json").write_text(text)
        assert len(refused(capsys, "report", tmp_path).splitlines()) == 1


def test_check_shows_text_as_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = small() | {"title": "[red]odd[/] [/bold] title"}
    assert main(["check", str(write(tmp_path, data))]) == 0
    shown = capsys.readouterr()
    assert "[red]odd[/] [/bold] title" in shown.out
    assert shown.err == ""


def test_check_is_a_page_that_fits_its_width(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = small()
    data["hops"][1]["terrain"] = "hilly"
    data["parts"] = [{"kind": "fan", "swap_h": 2.0}]
    assert main(["check", str(write(tmp_path, data))]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line) for line in lines if not line.startswith("warning: ")) <= 80
    assert len(lines) < 50
    assert "4 sites, 3 hops, 1 service." in lines
    assert "  hops.terrain: hilly (flat), 1 of 3" in lines
    assert "  parts fan: swap_h 2 (0.5)" in lines
    assert not any("polarisation" in line for line in lines)


def test_check_counts_the_hardware_of_the_whole_network(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = small()
    path = write(tmp_path, data)
    n_radios = sum(len(radios_of(parse_scheme(hop.get("scheme", "1+0")))) for hop in data["hops"])
    assert main(["check", str(path)]) == 0
    words = [line.split(None, 1) for line in capsys.readouterr().out.splitlines() if line]
    assert [str(2 * n_radios), "outdoor radio"] in words


def test_check_shows_every_value_on_request(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(write(tmp_path, small())), "--all"]) == 0
    lines = capsys.readouterr().out.splitlines()
    for line in ("power  (standard)", "speed_km_h  (40) km/h", "duration_ln_sd  (0.5)", "generator  (false)"):
        assert f"  {line}" in lines


def test_check_warns_of_every_site_that_outgrows_its_indoor_unit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # The site past the last one shown has nine directions; a unit takes eight radios.
    data = small()
    place = {"latitude_deg": 50.0, "longitude_deg": 10.0}
    far = [{**place, "id": f"far-{i}", "longitude_deg": 10.0 + 0.001 * i} for i in range(ROWS_SHOWN)]
    ends = [{"id": f"end-{i}", "latitude_deg": 50.2, "longitude_deg": 10.1 + 0.01 * i} for i in range(9)]
    last = {"id": "last", "latitude_deg": 50.25, "longitude_deg": 10.1}
    hop = {"frequency_ghz": 18.0, "radio": "r18", "antenna": "dish"}
    data["sites"] += [*far, last, *ends]
    data["hops"] += [{**hop, "id": f"last-{i}", "from": "last", "to": f"end-{i}"} for i in range(9)]
    assert main(["check", str(write(tmp_path, data))]) == 0
    text = capsys.readouterr().out
    said = "2 indoor units are placed for its 9 directions with 9 radios; fewer are not enough"
    assert f': site "last": {said}' in text


def test_rain_rate_where_it_never_rains(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = small() | {"climate": {"rain_rate_001_mm_h": 30.0, "monthly_rainfall_mm": [0.0] * 12}}
    assert refused(capsys, "predict", write(tmp_path, data)) == (
        "two hops in a row: climate: rain_rate_001_mm_h is 30; must be left out where it rains for less than "
        "0.01 % of the year (0 by monthly rainfall and temperature)\n"
    )


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("simulate NETWORK --out OUT --years 20 --workers 2", True),
        ("simulate NETWORK --out OUT --years 20 --workers 1", False),
        ("simulate NETWORK --out OUT --years 10 --workers 2", False),
        ("simulate NETWORK --out OUT --years 11 --workers 2", True),
        ("compare NETWORK PLAN --out OUT --years 5 --block-years 5 --workers 2", False),
        ("modulation NETWORK --years 5 --block-years 1 --workers 2", True),
        ("importance OUT --workers 2", True),
        ("importance OUT --workers 2 --blocks 1", False),
        ("textbook OUT --workers 2", False),
        ("textbook OUT --workers 2 --blocks 2", True),
        ("report OUT", False),
    ],
)
def test_the_server_of_workers_starts_for_several_blocks_only(
    words: str, wanted: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[bool] = []
    monkeypatch.setattr("hopyears.sim.runs.processes.start_server", lambda: started.append(True))
    monkeypatch.chdir(tmp_path)  # nothing of what is named is there
    assert main(words.split()) == 2
    assert bool(started) == wanted
