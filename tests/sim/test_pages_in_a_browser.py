"""Pages in Debian's chromium: accessible by axe-core, without an error of a script, at two widths."""

from pathlib import Path

import pytest
from browser import browser, console_errors, dumped, printed_pages, violations
from synthetic_choices import made_up_advice, made_up_comparison, made_up_promised
from synthetic_results import made_up_results

from hopyears.sim.advice.confirm import Goal
from hopyears.sim.report.advice_page import advice_page
from hopyears.sim.report.brief import brief_page
from hopyears.sim.report.compare_page import compare_page
from hopyears.sim.report.page import report_page
from hopyears.sim.report.promise_page import promise_page

pytestmark = pytest.mark.slow


def opened(page: str) -> str:
    """A page with its folds open."""
    return page.replace("<details", "<details open")


PAGES = {
    "report": lambda: report_page(made_up_results(), replays={("birch-fir", 1): "outage.html"}),
    "open": lambda: opened(report_page(made_up_results())),
    "brief": lambda: brief_page(made_up_results()),
    "compare": lambda: opened(compare_page(made_up_comparison(), made_up_results().manifest, "shells")),
    "promise": lambda: opened(promise_page(made_up_promised(), made_up_results().manifest)),
    "advice": lambda: opened(
        advice_page(made_up_advice(), Goal(budget=200.0), made_up_results().manifest, "shells")
    ),
}


@pytest.fixture(scope="module", params=PAGES)
def page(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pages") / f"{request.param}.html"
    path.write_text(PAGES[request.param](), encoding="utf-8")
    return path


@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_nothing(page: Path, width: int) -> None:
    assert violations(browser(), page, width=width) == []


def test_axe_finds_what_is_wrong(tmp_path: Path) -> None:
    """The checker itself: pale text and a picture without words."""
    path = tmp_path / "bad.html"
    path.write_text(
        '<!doctype html><html lang="en"><head><title>x</title></head><body><main><h1>x</h1>'
        '<p style="color:#ccc;background:#fff">pale</p><img src="data:,"></main></body></html>'
    )
    assert {found["id"] for found in violations(browser(), path)} >= {"color-contrast", "image-alt"}


def test_scripts_run_without_an_error(page: Path) -> None:
    assert console_errors(browser(), page) == []


def test_the_sheet_in_brief_is_one_sheet(tmp_path: Path) -> None:
    path = tmp_path / "brief.html"
    path.write_text(brief_page(made_up_results()), encoding="utf-8")
    assert printed_pages(browser(), path) == 1
    path.write_text(report_page(made_up_results()), encoding="utf-8")
    assert printed_pages(browser(), path) > 3


def test_a_table_sorts_filters_and_says_that_it_scrolls(tmp_path: Path) -> None:
    """The page's own script, asked by another one."""
    ask = """<script>
    document.querySelectorAll("details").forEach((each) => { each.open = true; });
    const table = document.querySelector("#hops details.fold table");
    const shown = () => [...table.tBodies[0].rows].filter((row) => !row.hidden);
    const names = () => shown().map((row) => row.cells[0].firstChild.textContent);
    const out = [];
    table.tHead.rows[0].cells[0].querySelector("button").click();
    out.push(names().join());
    table.tHead.rows[0].cells[1].querySelector("button").click();
    out.push(names().join());
    const field = table.closest("details").querySelector("input");
    field.value = "ELM"; field.dispatchEvent(new Event("input"));
    out.push(names().join());
    document.title = out.join("|");
    </script>"""
    path = tmp_path / "page.html"
    page = report_page(made_up_results())
    path.write_text(page.replace("</body>", f"{ask}</body>"), encoding="utf-8")
    shown = dumped(browser(), path, width=390)
    by_name, by_minutes, filtered = shown.partition("<title>")[2].partition("</title>")[0].split("|")
    hops = made_up_results().hops
    assert by_name.split(",") == sorted(hops["hop"])
    order = hops[hops["unavailable_min_per_year"] > 0.0].sort_values(
        "unavailable_min_per_year", ascending=False
    )
    assert [name for name in by_minutes.split(",") if name != "cedar-alder"] == list(order["hop"])
    assert filtered == ",".join(name for name in by_minutes.split(",") if "elm" in name)
    assert 'class="scroll wider"' in shown
