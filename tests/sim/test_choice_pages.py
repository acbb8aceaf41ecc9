"""Pages of comparisons, promises and advice: what is asked comes first, and all else is folded."""

import re

import numpy as np
import pytest
from synthetic_choices import made_up_advice, made_up_comparison, made_up_promised
from synthetic_results import made_up_results

from hopyears.sim.advice.confirm import Goal
from hopyears.sim.report.advice_page import advice_page
from hopyears.sim.report.compare_page import compare_page
from hopyears.sim.report.promise_page import promise_page
from hopyears.sim.wording.promises import promise_answer

MANIFEST = made_up_results().manifest
COMPARED = compare_page(made_up_comparison(), MANIFEST, "shells")
PROMISED = promise_page(made_up_promised(), MANIFEST)
ADVISED = advice_page(made_up_advice(), Goal(budget=200.0), MANIFEST, "shells")


def first_screen(page: str) -> str:
    """Text of the first answer, without hard blanks."""
    start = page.index('id="answer"')
    text = re.sub(r"<[^>]+>", " ", page[start : page.index("</section>", start)])
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def rows_of(page: str, name: str) -> list[list[str]]:
    """Cells of a folded table as text."""
    start = page.index(f"<summary>{name}</summary>")
    body = re.search(r"<tbody>(.*?)</tbody>", page[start:], re.DOTALL)
    assert body is not None
    rows = re.findall(r"<tr>(.*?)</tr>", body.group(1), re.DOTALL)
    cells = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in rows]
    return [
        [re.sub(r"<[^>]+>", " ", cell).replace("\N{NO-BREAK SPACE}", " ") for cell in row] for row in cells
    ]


@pytest.mark.parametrize("page", [COMPARED, PROMISED, ADVISED])
def test_pages_have_one_lead_folded_tables_and_described_figures(page: str) -> None:
    assert page.count('class="lead"') == 1
    tables = len(re.findall(r"<table[ >]", page))
    assert tables == page.count('<details class="fold">') + 1
    for figure in re.findall(r'<svg [^>]*class="figure"[^>]*>', page):
        assert re.search(r'role="img" aria-label="[^"]{20,}"', figure)
    assert not re.search(r"(s|a|far)<(1|hop)>", page)


def test_a_comparison_tells_money_ranking_and_what_is_undominated() -> None:
    first = first_screen(COMPARED)
    assert "Best by weighted minutes: a: 97 % sure" in first
    assert "Plan a saves 16.0 unavailable minutes a year over 2 services; 1 are surely better" in first
    assert "a +16.0 +15.0 to +17.0 +500 90 %" in first
    plans = {row[0]: row for row in rows_of(COMPARED, "Table: plans")}
    assert plans["a"][4:9] == ["4,500", "50.0", "+500", "32.0", "no"]
    assert plans["b"][8] == "yes"
    assert rows_of(COMPARED, "Table: money")[0][0] == "a"
    assert rows_of(COMPARED, "Table: bill, a") == [
        ["s", "outdoor radio r&lt;18&gt;", "2", "4", "4,500", "50.0", "5,000"]
    ]
    assert rows_of(COMPARED, "Table: causes, a")[0][1] == "rain"


def test_without_prices_a_comparison_shows_no_money() -> None:
    page = compare_page(made_up_comparison(priced=False), MANIFEST, "shells")
    assert "shells" not in page
    assert "a +16.0 +15.0 to +17.0 90 %" in first_screen(page)


def test_promises_are_answered_in_the_unit_that_was_asked() -> None:
    first = first_screen(PROMISED)
    assert "1 of 2 contracts is kept, 1 is not." in first
    assert "Not kept: port asks for 99.99 % of each year of 3 years, 99.950 % can be promised." in first
    assert (
        "Of 1 service without a contract, so many can be promised at least: 99.99 % for 1, 99.9 % for 1"
        in first
    )
    assert "port 99.99 % of each year of 3 years no 99.950 %" in first
    assert "at most 10 outages in each year of 3 years yes 4 outages" in first
    table = rows_of(PROMISED, "Table: promises")
    assert [row[0] for row in table] == ["port", "port", "port", "voice", "free"]
    assert [row[2] for row in table] == ["no", "yes", "no", "yes", "–"]
    assert table[-1][4] == "50.0 min"
    assert rows_of(PROMISED, "Table: penalties") == [["s2", "12.0 8.0 to 17.0 ", "40.0"]]
    assert "The weakest link is hop far&lt;hop&gt;." in PROMISED
    assert "Table: port" not in promise_page(made_up_promised(levers=False), MANIFEST)


def test_years_too_few_promise_nothing() -> None:
    table = made_up_promised().table
    few = table.assign(can_be_promised=np.nan)
    few.loc[few["figure"] == "unavailable_min", "can_be_promised"] = np.inf
    said = " ".join(promise_answer(few)).replace("\N{NO-BREAK SPACE}", " ")
    assert "nothing can be promised from so few years" in said
    assert "too few to promise anything of 1 service without a contract" in said


def test_advice_tells_what_to_buy_the_next_best_and_how_sure() -> None:
    first = first_screen(ADVISED)
    assert "Buy 2 upgrades for 150 shells: 40.0 weighted min/year become 20.0." in first
    assert "Right choice of 3 sets: at least 97 %" in first
    assert "the next best leaves 25.0" in first
    assert "1 a&lt;1&gt; 100 25.0 93 %" in first
    assert "no price of cable; left out of its cost" in first
    steps = rows_of(ADVISED, "Table: steps")
    assert steps[1] == ["1", "a&lt;1&gt;", "100", "100", "25.0", "b (30.0)", "93 %"]
    assert [row[0] for row in rows_of(ADVISED, "Table: sets")] == ["a&lt;1&gt;; b", "a&lt;1&gt;", "nothing"]
    assert rows_of(ADVISED, "Table: candidates")[2] == ["c", "2.00", "70.0", "1.00", "80.0", "no"]


def test_advice_for_a_target_shows_how_sure_it_is_met() -> None:
    goal = Goal(service="far", availability=0.9999)
    page = advice_page(made_up_advice(), goal, MANIFEST, "shells")
    assert "far then meets 99.99 % (52.6 min/year): 98 % sure" in first_screen(page)
    assert rows_of(page, "Table: sets")[0][-1] == "98 %"
    assert "the dashed line is the target" in page
