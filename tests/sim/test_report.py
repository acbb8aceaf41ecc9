"""The page and the command, on results made up to the schema."""

import re
import subprocess
import sys
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pandas as pd
import pyarrow as pa
import pytest
from synthetic_results import HOPS, SERVICES, SITES, made_up_results

from hopyears.sim.commands import main
from hopyears.sim.report.page import rain_words, report_page
from hopyears.sim.runs.results import Results
from hopyears.sim.storage.run_folder import RunFolder

HOSTILE = '<img src=x onerror=alert(1)> & "q" $x^{$ _y'
"""A name that would be markup, a formula or a hidden legend entry if anyone forgot to escape it."""


class Elements(HTMLParser):
    """Elements, their attributes, and the text between them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.names: Counter[str] = Counter()
        self.attributes: list[tuple[str, str, str]] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names[tag] += 1
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"[ \n]+", " ", " ".join(self.words))


@pytest.fixture(scope="module")
def page() -> str:
    return report_page(made_up_results())


@pytest.fixture(scope="module")
def elements(page: str) -> Elements:
    return Elements(page)


def test_page_names_every_service_hop_and_site(elements: Elements) -> None:
    for name in (*(s[0] for s in SERVICES), *(h[0] for h in HOPS), *SITES):
        assert name in elements.text


def test_page_refers_to_nothing_outside_itself(page: str, elements: Elements) -> None:
    addresses = set(re.findall(r"[a-z]+://[^\s\"'<>)]+", page))
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    for _, name, value in elements.attributes:
        if name in ("src", "href", "xlink:href", "srcset", "data", "action"):
            assert value.startswith(("#", "data:"))
        assert not name.startswith("on")
    assert set(re.findall(r"url\((.)", page)) <= {"#"}
    assert "@import" not in page
    assert not elements.names.keys() & {"iframe", "object", "embed", "base", "form", "img"}
    assert elements.names["script"] == 1  # the page's own


def test_page_tells_of_single_years_and_directions(elements: Elements) -> None:
    text = elements.text
    assert "Median year min 9 of 10 years within min A year breaks 99.9\N{NO-BREAK SPACE}% A year" in text
    assert "birch-fir 120 96.0 to 156 216 173 to 281 2\N{NO-BREAK SPACE}% 2\N{NO-BREAK SPACE}% to" in text
    # Forward and backward minutes and seconds, from outage to outage, and how long one lasts.
    assert "birch-fir 168 134 to 218 144 115 to 187 8.40" in text
    assert "12.2 days 9.74 days to 15.8 days 8.00 min" in text
    assert "at least 20,000 days" in text
    assert "elm-alder at most 0.700 at most 0.700 at most 2\N{NO-BREAK SPACE}%" in text


def test_page_judges_stated_objectives_the_least_sure_first(elements: Elements) -> None:
    text, per_cent = elements.text, "\N{NO-BREAK SPACE}%"
    seconds = f"0.00016 3.0e-07 2.4e-07 to 3.9e-07 yes 97{per_cent}"
    unavailable = f"240 192 to 312 no 2{per_cent}"
    first = f"birch-fir short haul, 45.0 km 52.6 stated {unavailable} {seconds} – 30.0 24.0 to 39.0"
    last = f"elm-alder short haul, 45.0 km 210 at most 0.700 yes over 99.9{per_cent} {seconds} 0.0400 "
    assert first in text
    assert f"{last}stated at most 0.0200 yes 99.3{per_cent}" in text
    assert text.index(first) < text.index(last)
    assert "Objectives with the whole 95 % interval: availability 2 met, 1 missed;" in text


def test_page_tells_of_options_that_were_used() -> None:
    for replications, told in ((0, False), (50, True)):
        options = {"rain": True, "replications": replications}
        text = Elements(report_page(made_up_results(options=options))).text
        assert ("histories of failures beside each block's own: 50" in text) == told


def test_page_leads_from_the_textbook_to_the_simulation(elements: Elements) -> None:
    assert "Service Textbook sum Other routes Storms and nights Simulated" in elements.text
    assert "birch-fir 339 -101 -102 to -99.5 +2.00 +0.50 to +3.50 240 238 to 242" in elements.text


def test_page_tells_what_is_not_delivered_by_priority(elements: Elements) -> None:
    per_cent = "\N{NO-BREAK SPACE}%"
    assert (
        f"1 4.00 3.20 to 5.20 2{per_cent} congestion 75{per_cent}, rain 15{per_cent}, power 10{per_cent}"
        in elements.text
    )
    assert f"0.100 0.0800 to 0.130 0.1{per_cent} rain 60{per_cent}, power 40{per_cent}" in elements.text


def test_page_is_sound_markup(page: str, elements: Elements) -> None:
    ids = Counter(value for _, name, value in elements.attributes if name == "id")
    assert max(ids.values()) == 1
    for _, name, value in elements.attributes:
        if name in ("href", "xlink:href") and value.startswith("#"):
            assert value[1:] in ids
    for reference in re.findall(r"url\(#([^)]+)\)", page):
        assert reference in ids
    figures = re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL)
    assert len(figures) == 7
    for figure in figures:
        ElementTree.fromstring(figure)
        assert 'role="img"' in figure


def test_page_tells_what_was_simulated(elements: Elements) -> None:
    text = elements.text
    for words in ("200 years", "0123456789abcdef01234567", "seed 7", "20 independent blocks", "numpy 2.3.0"):
        assert words in text
    assert "Emergency services come first." in text
    assert "path is long for its band" in text
    assert "limited crews and spares" in text  # switched off, so listed as left out
    assert "G.826" in text
    assert "G.827" in text


def test_first_answer_comes_first(elements: Elements) -> None:
    text = elements.text
    assert text.index("The worst service is birch-fir: 240 unavailable minutes") < text.index("Map")


def test_nothing_seen_is_a_bound(elements: Elements) -> None:
    assert "at most 0.700" in elements.text
    assert "at least 99.99986\N{NO-BREAK SPACE}%" in elements.text
    assert not re.search(r"(?<![\d.])100(\.0+)?\N{NO-BREAK SPACE}%", elements.text)


def test_shares_of_outage_by_kind_site_and_crew(elements: Elements) -> None:
    for head, cells in (
        ("Kind of part", "outdoor radio 0.400"),
        ("Site", "alder 0.300"),
        ("Crew", "south 1 0.500 2.00 9.00 0.500"),
    ):
        assert head in elements.text
        assert cells in " ".join(elements.text.split())
    assert "3.00 24.0 8\N{NO-BREAK SPACE}%" in re.sub("[ \n]+", " ", elements.text)


def test_hostile_names_stay_text() -> None:
    title = "</title><script>alert(1)</script>"
    rename = {"birch-fir": HOSTILE, "alder-elm": f"_{HOSTILE}", "alder": f"{HOSTILE} 2"}
    page = report_page(made_up_results(title, rename, warnings=[HOSTILE]))
    found = Elements(page)
    assert found.names["script"] == 1  # the page's own
    assert "img" not in found.names
    assert HOSTILE in found.text
    assert f"_{HOSTILE}" in found.text
    assert title in found.text
    for figure in re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL):
        ElementTree.fromstring(figure)


@pytest.mark.parametrize("left_out", ["services", "failures", "outages"])
def test_page_of_a_run_that_lacks_something(left_out: str) -> None:
    results = made_up_results()
    tables = dict(results.tables)
    if left_out == "services":
        tables |= {name: table.iloc[:0] for name, table in tables.items() if name.startswith("service")}
        tables["services"] = pd.DataFrame()  # as a run without services writes it
    elif left_out == "failures":
        for name in ("part_failures", "site_failures", "crew_visits"):
            figures = tables[name].select_dtypes("number").columns
            tables[name] = tables[name].assign(**dict.fromkeys(figures, 0.0))
    else:
        for table in tables.values():
            seen = [c for c in table if "unavailable_min_per_year" in c and not c.endswith("_high")]
            table[seen] = 0.0
    text = Elements(report_page(Results(results.manifest, results.network, tables))).text
    expected = {
        "services": "The network file has no services",
        "failures": "The worst service is birch-fir",
        "outages": "No unavailable time was seen on any of 3 services in 200 simulated years",
    }
    assert expected[left_out] in text
    assert ("Kind of part" in text) is (left_out != "failures")


def test_page_says_what_the_run_leaves_out_and_has_the_usual_caution() -> None:
    options = {"rain": False, "multipath": True, "failures": False, "anchoring": True, "queues": True}
    text = Elements(report_page(made_up_results(options=options, caution=""))).text
    left_out = "This run leaves out rain and failures of equipment and power; the textbook sum counts them"
    for words in (left_out, "safety-of-life", "work at height", "radio-frequency"):
        assert words in text


@pytest.mark.parametrize(
    ("options", "hops", "wet_snow", "wanted"),
    [
        ({}, [{}, {}], True, "each hop is anchored to ITU-R P.530-18, 2.4.1 and 2.4.2 (wet snow)"),
        ({}, [{}, {}], False, "each hop is anchored to ITU-R P.530-18, 2.4.1 (rain alone)"),
        (
            {},
            [{"rain_exceedance_db": {"0.01": 30.0}}, {}, {"rain_exceedance_db": None}],
            False,
            "1 of 3 hops anchored to the measured percentiles in the network file; the other 2 to ITU-R "
            "P.530-18, 2.4.1 (rain alone)",
        ),
        ({"anchoring": False}, [{}], True, "no hop is anchored to a published law"),
    ],
)
def test_page_says_which_law_the_rain_follows(
    options: dict[str, bool], hops: list[dict[str, object]], wet_snow: bool, wanted: str
) -> None:
    network = {"hops": hops, "climate": {"wet_snow": wet_snow}}
    assert wanted in rain_words(options, network)
    results = made_up_results(options={"rain": True, "anchoring": True, **options})
    page = report_page(Results(results.manifest, {**results.network, **network}, results.tables))
    assert wanted in Elements(page).text
    assert rain_words({"rain": False}, network) == ""


def test_same_results_give_the_same_page(page: str) -> None:
    assert report_page(made_up_results()) == page


def _write_run(folder: Path, *, finished: bool = True) -> Path:
    results = made_up_results()
    run = RunFolder(folder)
    run.begin(dict(results.manifest), dict(results.network), resume=False)
    if finished:
        run.write_results(
            {
                name: pa.Table.from_pandas(table, preserve_index=False)
                for name, table in results.tables.items()
            }
        )
    return folder


def test_command_writes_and_replaces(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run = _write_run(tmp_path / "run")
    (run / "report.html").write_text("an older page")
    assert main(["report", str(run)]) == 0
    assert capsys.readouterr().out.strip() == str(run / "report.html")
    assert "Five sites" in (run / "report.html").read_text(encoding="utf-8")
    monkeypatch.setattr("hopyears.sim.report.page.report_page", lambda *_, **__: "a page")
    assert main(["report", str(run), "--to", str(tmp_path / "elsewhere.html")]) == 0
    assert (tmp_path / "elsewhere.html").read_text() == "a page"
    assert not list(tmp_path.rglob("*.partial"))


def test_old_page_stays_when_the_new_one_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run = _write_run(tmp_path / "run")
    (run / "report.html").write_text("an older page")

    def fail(*_: object, **__: object) -> str:
        raise RuntimeError("broken off")

    monkeypatch.setattr("hopyears.sim.report.page.report_page", fail)
    with pytest.raises(RuntimeError, match="broken off"):
        main(["report", str(run)])
    assert (run / "report.html").read_text() == "an older page"


@pytest.mark.parametrize(
    ("prepare", "message"),
    [
        (lambda path: path, "folder is not a run; must be one that simulate wrote"),
        (lambda path: path.mkdir() or path, "folder is not a run; must be one that simulate wrote"),
        (lambda path: _write_run(path, finished=False), "run has no results yet; must have at least one"),
    ],
)
def test_command_refuses(tmp_path: Path, capsys: pytest.CaptureFixture[str], prepare, message: str) -> None:
    run = prepare(tmp_path / "run")
    assert main(["report", str(run)]) == 2
    error = capsys.readouterr().err
    assert error.startswith(f"{run}: {message}")
    assert error.count("\n") == 1
    assert not list(tmp_path.rglob("*.html"))


def test_command_names_a_file_that_cannot_be_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("hopyears.sim.report.page.report_page", lambda *_, **__: "a page")
    run = _write_run(tmp_path / "run")
    target = tmp_path / "missing" / "page.html"
    assert main(["report", str(run), "--to", str(target)]) == 2
    assert f"{target}: file is not writable" in capsys.readouterr().err


def test_results_need_no_plotting_library() -> None:
    code = "import hopyears.sim.runs.results, sys; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_made_up_tables_have_the_names_of_the_schema() -> None:
    for name, table in made_up_results().tables.items():
        assert isinstance(table, pd.DataFrame), name
        assert len(table), name
