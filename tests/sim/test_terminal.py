"""What the verbs print fits the terminal, whatever its width; pages of three widths stand beside this test.

After a wanted change ``PYTHONPATH=tests/support python tests/sim/test_terminal.py`` writes them anew, for the
eye to judge.
"""

import ctypes
import os
import signal
import subprocess
import sys
import time
import weakref
from collections.abc import Callable
from multiprocessing.util import Finalize
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pyarrow as pa
import pytest
from rich.cells import cell_len
from rich.console import Console
from synthetic_results import SERVICES, made_up_results

from hopyears.sim.commands import STATUSES, VERBS, _waits, main
from hopyears.sim.commands.summary_text import ROWS_OF_ANSWER, print_summary
from hopyears.sim.runs.results import Results
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.storage.table_files import write_table
from hopyears.sim.wording.terminal import plain_table, print_table, say

GOLDEN = Path(__file__).parent / "terminal_golden"
WIDTHS = (80, 120, 200)
RUN = "runs/first"


def stored(folder: Path) -> Path:
    """The folder of the made-up run."""
    results = made_up_results()
    run = RunFolder(folder)
    run.begin(dict(results.manifest), dict(results.network), resume=False)
    run.write_results({name: pa.Table.from_pandas(table) for name, table in results.tables.items()})
    return folder


def without_services() -> Results:
    results = made_up_results()
    tables = {name: table.iloc[:0] if "service" in table else table for name, table in results.tables.items()}
    return Results(results.manifest, results.network, tables)


def shown(page: str) -> None:
    """Print a page of the made-up run, which is stored in ``RUN``."""
    if page == "summary":
        print_summary(made_up_results(), RUN)
    elif page == "hops":
        print_summary(without_services(), RUN)
    else:
        assert main(["show", RUN, *page.split()]) == 0


PAGES = {
    "summary": "summary",
    "hops": "hops",
    "services": "services --sort outages_per_year --top 2",
    "causes": "service_causes --only service=birch-fir --columns cause,unavailable_min_per_year",
    "tables": "",
}


def page_file(name: str, width: int) -> Path:
    return GOLDEN / f"{name}-{width}.txt"


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NO_COLOR", "1")
    return stored(Path(RUN))


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_pages_are_as_they_were_and_fit(
    name: str, width: int, run: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    shown(PAGES[name])
    text = capsys.readouterr().out
    assert max(map(cell_len, text.splitlines())) <= width
    assert text == page_file(name, width).read_text(encoding="utf-8")


def test_the_answer_shows_the_worst_and_counts_the_others(capsys: pytest.CaptureFixture[str]) -> None:
    results = made_up_results()
    tables = dict(results.tables)
    for name, table in results.tables.items():
        if "service" in table:
            first = table[table["service"] == SERVICES[0][0]]
            copies = [first.assign(service=f"copy-{i:02}") for i in range(45)]
            tables[name] = pd.concat(copies, ignore_index=True)
    print_summary(Results(results.manifest, results.network, tables))
    text = capsys.readouterr().out
    assert text.count("\ncopy-") == ROWS_OF_ANSWER
    assert f"... and {45 - ROWS_OF_ANSWER} more services that are less unavailable." in text


@pytest.mark.parametrize("width", [26, 33, 50, 80])
def test_what_does_not_fit_is_named_and_no_figure_is_broken(
    width: int, capsys: pytest.CaptureFixture[str]
) -> None:
    table = plain_table("", ("name", "words", "min_per_year", "share %"), ("name", "words"))
    table.add_row("a-b", "one of several words", "1,234 (1,100 to 1,400)", "12")
    console = Console(width=width)
    print_table(console, table, elsewhere="there")
    text = capsys.readouterr().out
    kept, _, left_out = text.partition("Left out: ")
    assert max(map(cell_len, kept.splitlines())) <= width
    for head, cell in (("min_per_year", "1,234 (1,100 to 1,400)"), ("share %", "12")):
        assert (cell in kept) != (head in left_out.replace("\n", " "))
    assert bool(left_out) == (width < 50)


def test_brackets_in_a_title_stay(capsys: pytest.CaptureFixture[str]) -> None:
    table = plain_table("penalties [crowns]", ("service",), ("service",))
    table.add_row("one, with a name as long as its title")
    print_table(Console(width=80), table)
    assert "penalties [crowns]" in capsys.readouterr().out


def test_a_sentence_is_broken_between_words_only(capsys: pytest.CaptureFixture[str]) -> None:
    say(Console(width=20), "it takes 61\N{NO-BREAK SPACE}% of the /very/long/path/that/is/one/word\n\nend")
    assert capsys.readouterr().out == (
        "it takes 61\N{NO-BREAK SPACE}% of the\n/very/long/path/that/is/one/word\n\nend\n"
    )


def test_colour_is_for_terminals_that_want_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rules of no-color.org and force-color.org; what is told by colour is told by a word too."""
    for name in ("NO_COLOR", "FORCE_COLOR"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm")
    coloured = []
    for wanted in ({}, {"FORCE_COLOR": "1"}, {"FORCE_COLOR": "1", "NO_COLOR": "1"}):
        with monkeypatch.context() as patch:
            for name, value in wanted.items():
                patch.setenv(name, value)
            print_summary(made_up_results())
        text = capsys.readouterr().out
        coloured.append("\x1b[1;31mmisses" in text)
        assert "misses" in text
    assert coloured == [False, True, False]


def test_csv_and_json_are_the_stored_table(run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wanted = made_up_results().tables["services"]
    assert main(["show", RUN, "services", "--csv", "services.csv"]) == 0
    pd.testing.assert_frame_equal(pd.read_csv("services.csv"), wanted, check_dtype=False)
    assert main(["show", RUN, "services", "--top", "1", "--json", "services.json"]) == 0
    pd.testing.assert_frame_equal(pd.read_json("services.json"), wanted.head(1), check_dtype=False)
    assert capsys.readouterr().out == ""
    assert main(["show", RUN, "sites", "--columns", "site", "--sort", "east_km", "--csv"]) == 0
    assert capsys.readouterr().out.split() == ["site", "birch", "cedar", "alder", "elm", "fir"]


def test_a_comparison_and_a_study_can_be_shown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = pa.table({"plan": ["a", "b"], "sure": [True, False], "difference_min_per_year": [1.5, -20.0]})
    write_table(tmp_path / "differences.parquet", table)
    assert main(["show", str(tmp_path)]) == 0
    assert "differences │ a plan and a service" in capsys.readouterr().out
    assert main(["show", str(tmp_path), "differences", "--only", "plan=b"]) == 0
    assert capsys.readouterr().out.splitlines()[-1].split(" │ ")[1:] == ["no  ", "      -20.0"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("service", 'TABLE is "service"; must be one of the folder: costs, crew_visits, '),
        ("sites --sort size", '--sort is "size"; must be a column of the table: site, latitude_deg, '),
        ("sites --only site", '--only is "site"; must be COLUMN=VALUE'),
        ("sites --top 0", "--top is 0; must be at least 1"),
        ("sites --columns site,x", '--columns is "x"; must be a column of the table: site, '),
        ("sites --csv .", ".: file is not writable (Is a directory); must be"),
    ],
)
def test_what_cannot_be_shown(
    words: str, sentence: str, run: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["show", RUN, *words.split()]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith(sentence)
    assert said.err.count("\n") == 1


def test_a_folder_without_tables(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["show", str(tmp_path)]) == 2
    assert "folder has no tables of results; must be one that simulate," in capsys.readouterr().err


@pytest.mark.parametrize("verb", VERBS)
def test_every_help_fits_80_columns_and_tells_the_exit_statuses(
    verb: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    with pytest.raises(SystemExit) as stop:
        main([verb, "--help"])
    text = capsys.readouterr().out
    assert stop.value.code == 0
    assert STATUSES in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80


def test_the_help_of_the_program(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80
    assert all(f"  {verb} " in text for verb in VERBS)
    assert STATUSES in " ".join(text.split())


def test_ctrl_c_is_one_line(
    run: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("hopyears.sim.commands.show.run", stop)
    assert main(["show", RUN]) == 1
    assert capsys.readouterr() == ("", "stopped\n")


class _StoppedAtItsEnd:
    """An object that is told to stop while it is cleaned up, where Python lets no error out."""

    def __del__(self) -> None:
        signal.raise_signal(signal.SIGTERM)


@pytest.mark.parametrize(
    "clean_up",
    [
        _StoppedAtItsEnd,
        lambda: Finalize(None, signal.raise_signal, args=(signal.SIGTERM,), exitpriority=0)(),
        lambda: weakref.finalize(_StoppedAtItsEnd, signal.raise_signal, signal.SIGTERM)(),
        lambda: ctypes.CFUNCTYPE(None)(lambda: signal.raise_signal(signal.SIGTERM))(),
    ],
    ids=["object", "multiprocessing", "weakref", "library"],
)
def test_a_stop_amid_what_lets_no_error_out_stops_after_it(
    clean_up: Callable[[], object], run: Path, capsys: pytest.CaptureFixture[str], monkeypatch
) -> None:
    went_on = []

    def work(*_: object) -> None:
        clean_up()
        went_on.append(True)
        time.sleep(2.0)

    monkeypatch.setattr("hopyears.sim.commands.show.run", work)
    assert main(["show", RUN]) == 1
    assert capsys.readouterr() == ("", "stopped\n")
    assert went_on == [True]
    assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)


def test_quiet_prints_nothing(run: Path, capsys: pytest.CaptureFixture[str], monkeypatch) -> None:
    source = SimpleNamespace(network=None)
    monkeypatch.setattr("hopyears.sim.inputs.network_file.read_network", lambda path: source)
    monkeypatch.setattr("hopyears.sim.runs.simulate.simulate", lambda *_, **__: None)
    words = ["simulate", "network.toml", "--out", RUN, "--years", "1"]
    assert main([*words, "--quiet"]) == 0
    assert capsys.readouterr() == ("", "")
    assert main(words) == 0
    assert "hopyears report runs/first" in capsys.readouterr().out


def test_a_stop_waits_until_a_new_worker_knows_what_it_is() -> None:
    """Else the worker prints that what it was told is cut off."""
    for module, waits in (("multiprocessing.popen_forkserver", True), ("multiprocessing.queues", False)):
        names: dict[str, Any] = {"__name__": module}
        exec("def launch(look):\n    return look()", names)
        assert names["launch"](lambda: _waits(sys._getframe())) == waits


def test_the_script_for_bash_knows_verbs_and_options(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Asked of bash itself, as a user's shell does it."""
    pytest.importorskip("shtab")
    assert main(["completion", "bash"]) == 0
    script = tmp_path / "hopyears"
    script.write_text(capsys.readouterr().out)
    ask = (
        f'source {script}; COMP_WORDS=(hopyears $1 $2); COMP_CWORD=$3; COMP_LINE="hopyears $1 $2"; '
        "_shtab_hopyears; echo ${COMPREPLY[@]}"
    )
    for words, wanted in ((("si", "", "1"), "simulate"), (("show", "--so", "2"), "--sort")):
        done = subprocess.run(["bash", "-c", ask, "bash", *words], capture_output=True, text=True, check=True)
        assert wanted in done.stdout.split()


if __name__ == "__main__":
    import contextlib
    import tempfile

    os.environ["NO_COLOR"] = "1"
    GOLDEN.mkdir(exist_ok=True)
    os.chdir(tempfile.mkdtemp())
    stored(Path(RUN))
    for name, page in PAGES.items():
        for width in WIDTHS:
            os.environ["COLUMNS"] = str(width)
            with page_file(name, width).open("w", encoding="utf-8") as file, contextlib.redirect_stdout(file):
                shown(page)
    sys.stdout.write(f"{len(PAGES) * len(WIDTHS)} files in {GOLDEN}\n")
