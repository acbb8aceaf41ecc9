"""The guide: every page opens, generated pages are up to date, every command shown runs."""

import re
import shlex
from itertools import pairwise
from pathlib import Path

import pytest

from hopyears.sim.commands import VERBS, main
from hopyears.sim.commands.guide import PAGES, TITLES
from hopyears.sim.commands.help_page import commands_page, constants_page

README = Path(__file__).parents[2] / "README.md"

SITES = (
    "site;name;latitude;longitude;ground height (m)\n"
    "mill;Old Mill;45,00;11,00;20\nridge;High Ridge;45,05;11,12;140\nquay;Harbour Quay;45,12;11,02;5\n"
)
HOPS = (
    "link;site a;site b;frequency [MHz];modulation;scheme;dish (cm)\n"
    "mill-ridge;mill;ridge;18000;4-1024QAM;1+1;60\nridge-quay;ridge;quay;18000;4-1024QAM;1+0;60\n"
    "quay-mill;quay;mill;18000;4-1024QAM;1+0;60\n"
)
PLAN = '[[hops]]\nid = "ridge-quay"\nscheme = "1+1 HSB"\n\n[[power]]\nid = "standard"\nbattery_h = 8\n'

SHORT = {
    "simulate": ["--block-years", "1", "--replications", "1", "--workers", "1"],
    "compare": ["--block-years", "1", "--replications", "1", "--workers", "1"],
    "advise": ["--block-years", "1", "--replications", "1", "--workers", "1"],
    "modulation": ["--block-years", "1", "--workers", "1"],
    "importance": ["--blocks", "1", "--workers", "1"],
    "textbook": ["--workers", "1"],
}
"""What keeps a command of the guide short; its own words stay."""


def commands_of(text: str) -> list[list[str]]:
    """Commands in the shell blocks of a page, word by word."""
    blocks = re.findall(r"^```sh\n(.*?)^```", text, flags=re.MULTILINE | re.DOTALL)
    lines = [line for block in blocks for line in block.splitlines()]
    return [shlex.split(line, comments=True)[1:] for line in lines if line.startswith("hopyears ")]


def test_every_page_is_listed_and_opens(capsys: pytest.CaptureFixture[str]) -> None:
    assert {path.stem for path in PAGES.glob("*.md")} == set(TITLES)
    assert main(["guide", "--list"]) == 0
    listed = capsys.readouterr().out
    for page, title in TITLES.items():
        assert f"{title}\n" in listed
        assert main(["guide", page]) == 0
        assert capsys.readouterr().out == (PAGES / f"{page}.md").read_text(encoding="utf-8")
    assert main(["guide"]) == 0
    assert capsys.readouterr().out.startswith("# Ten minutes")


def test_a_page_that_is_none(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["guide", "glosary"]) == 2
    assert 'page is "glosary"; must be one of tour, ' in (said := capsys.readouterr().err)
    assert 'Did you mean "glossary"?' in said


def test_the_page_of_commands_is_up_to_date() -> None:
    """Fails when a verb or an option has changed: ``python -m hopyears.sim.commands.help_page``."""
    page = commands_page()
    assert (PAGES / "commands.md").read_text(encoding="utf-8") == page
    assert re.findall(r"^## (\w+)$", page, flags=re.MULTILINE) == list(VERBS)


def test_the_page_of_constants_is_up_to_date() -> None:
    """Fails when one has changed: ``python -m hopyears.sim.commands.help_page``."""
    page = constants_page()
    assert (PAGES / "constants.md").read_text(encoding="utf-8") == page
    assert "| `models.judging.outage_loops.RUN_S` | 10 s | severely errored seconds that begin" in page


def test_no_page_but_the_references_is_long() -> None:
    for page in set(TITLES) - {"network", "columns", "commands", "constants"}:
        lines = (PAGES / f"{page}.md").read_text(encoding="utf-8").splitlines()
        assert len(lines) < 110, page
        assert all(len(line) <= 120 for line in lines if not line.startswith("|")), page


def prepared(folder: Path) -> None:
    """A folder with all that the guide's commands read."""
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    (folder / "hops.csv").write_text(HOPS, encoding="utf-8")
    (folder / "plan.toml").write_text(PLAN, encoding="utf-8")
    assert main(["new", str(folder)]) == 0


def shortened(words: list[str]) -> list[str]:
    """The command with so few years that a test may run it."""
    pairs = pairwise(["", *words])
    years = [str(int(word) // 20) if before == "--years" else word for before, word in pairs]
    return [*years, *SHORT.get(words[0], [])]


@pytest.mark.slow
@pytest.mark.parametrize("page", ["tour", "architect", "operator", "analyst", "running"])
def test_every_command_of_a_page_runs(
    page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    prepared(tmp_path)
    if page == "tour":
        (tmp_path / "network.toml").unlink()
    monkeypatch.chdir(tmp_path)
    for words in commands_of((PAGES / f"{page}.md").read_text(encoding="utf-8")):
        status = main(shortened(words))
        assert status == 0, (words, capsys.readouterr().err)


@pytest.mark.slow
def test_every_command_of_the_readme_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Those of its table; what stands for a name of the reader's gets one that is there."""
    prepared(tmp_path)
    monkeypatch.chdir(tmp_path)
    shown = re.findall(r"\| `hopyears ([^`]+)` \|", README.read_text(encoding="utf-8"))
    assert len(shown) >= 10
    for line in shown:
        words = shlex.split(line.replace("ID", "quay-data").replace("DIR", "fresh"))
        if words[0] == "import":
            words += ["--out", "imported.toml"]
        assert main(shortened(words)) == 0, (words, capsys.readouterr().err)
