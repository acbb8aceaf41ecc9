"""Rows of the page's own tables, the sheet in brief, and the page of a comparison."""

import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb
from synthetic_results import SERVICES, made_up_results

from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.tallies import Run, Tally
from hopyears.sim.counting.tally_rows import BOTH, OUTAGE, SERVICE_MONTH
from hopyears.sim.report.brief import brief_page
from hopyears.sim.report.figures import FEW_OUTAGES, month_text
from hopyears.sim.report.page import report_page
from hopyears.sim.report.page_rows import longest_rows, month_rows, worst_month_sentence, worst_rows
from hopyears.sim.report.scales import round_ticks
from hopyears.sim.runs.blocks_seen import month_sums, month_table
from hopyears.sim.runs.results import Results
from hopyears.sim.wording.rows import rate_rows, service_rows

TABLES = made_up_results().tables
NAMES = [service for service, *_ in SERVICES]


def without_services() -> Results:
    results = made_up_results()
    tables = {name: table.iloc[:0] if "service" in table else table for name, table in results.tables.items()}
    return Results(results.manifest, results.network, tables)


def test_the_worst_come_first_with_verdict_and_cause() -> None:
    rows = worst_rows("service", TABLES["services"], TABLES["service_causes"])
    assert [(row["name"], row["verdict"]) for row in rows] == [
        ("birch-fir", "no"),
        ("cedar-alder", "yes"),
        ("elm-alder", "yes"),
    ]
    assert rows[0]["cause"].startswith("rain 50")


def test_a_month_of_few_outages_is_in_brackets_and_without_colour() -> None:
    """One outage of twelve days is no August."""
    months = pd.DataFrame(
        {
            "service": ["a"] * 3,
            "month": [1, 2, 8],
            "unavailable_min_per_year": [7.25, 93.0, 93.0],
            "outages_weighed": [FEW_OUTAGES, FEW_OUTAGES - 1, 1],
        }
    )
    (row,) = month_rows(months, ["a"])
    cells = row["cells"]
    assert [cells[month]["text"] for month in (0, 1, 2, 7)] == ["7.2", "(93)", "", "(93)"]
    assert [bool(cells[month]["colour"]) for month in (0, 1, 2, 7)] == [True, False, False, False]
    assert worst_month_sentence(months) == "The worst is January for a: 7.25 minutes."
    assert worst_month_sentence(months[1:]) == ""
    assert month_text(0.01, FEW_OUTAGES) == "·"


def _luminance(colour: str) -> float:
    rgb = np.array(to_rgb(colour))
    return float(
        np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722]
    )


def test_text_on_a_coloured_month_can_be_read() -> None:
    """Contrast of 4.5 at least (WCAG 2.1, 1.4.3)."""
    seen = 0
    for row in month_rows(TABLES["service_months"].assign(outages_weighed=9), NAMES):
        for cell in row["cells"]:
            if cell["colour"]:
                low, high = sorted((_luminance(cell["colour"]), _luminance(cell["ink"])))
                assert (high + 0.05) / (low + 0.05) >= 4.5
                seen += 1
    assert seen > 12


def test_outages_that_began_together_are_one_row() -> None:
    rows = longest_rows(TABLES["longest_outages"], run="runs/a b", replays={("birch-fir", 1): "o.html"})
    assert [row["services"] for row in rows] == ["birch-fir", "birch-fir, cedar-alder", "cedar-alder"]
    assert rows[0]["href"] == "o.html"
    assert rows[1]["lasted"] == "2 h 30 min"
    assert rows[1]["command"] == (
        "hopyears explain 'runs/a b' --service birch-fir --outage 2 --page outage.html"
    )


@pytest.mark.parametrize(
    ("low", "high"), [(12.0, 90.0), (5.5, 30.0), (3.0, 6.5), (0.01, 400.0), (99.0, 1001.0)]
)
def test_a_colour_bar_has_several_round_ticks(low: float, high: float) -> None:
    ticks = round_ticks(low, high)
    assert 3 <= len(ticks) <= 12
    assert all(low * 0.99 <= tick <= high * 1.01 for tick in ticks)


def test_without_services_the_first_answer_is_about_hops() -> None:
    page = report_page(without_services())
    answer = page[page.index('id="answer"') : page.index('<nav aria-label="Contents">')]
    assert "The worst hop is elm-fir: 391 unavailable minutes a year" in answer
    assert '<th scope="row">elm-fir</th>' in answer
    assert 'id="months"' not in page
    assert "The worst hop is elm-fir" in brief_page(without_services())


def test_one_name_for_planned_work() -> None:
    """In table, figure and text."""
    causes = TABLES["service_causes"].replace({"power": "planned work"})
    results = made_up_results()
    page = report_page(
        Results(results.manifest, results.network, {**results.tables, "service_causes": causes})
    )
    assert "maintenance" not in page.lower()
    assert page.count("planned work") > 3


def test_long_tables_are_folded_and_every_figure_is_described() -> None:
    page = report_page(made_up_results())
    assert page.count('<details class="fold">') >= 9
    figures = re.findall(r'<svg [^>]*class="figure"[^>]*>', page)
    assert len(figures) >= 5
    assert all(re.search(r'role="img" aria-label="[^"]{20,}"', figure) for figure in figures)
    assert all('scope="col"' in head for head in re.findall(r"<thead>.*?</thead>", page, re.DOTALL))


def test_the_sheet_in_brief_has_one_answer_one_map_one_figure() -> None:
    page = brief_page(made_up_results())
    assert page.count("<figure>") == 2
    assert page.count('class="lead"') == 1
    assert "size: A4 portrait" in page
    assert "<script" not in page


def test_outages_of_a_month_are_weighed_by_their_length() -> None:
    """Five alike count five; one of twelve days with four of ten minutes counts about one."""
    month_s = 31.0 * 86_400.0
    lasted = [600.0] * 5 + [12 * 86_400.0, *[600.0] * 4]
    began = [100 + i for i in range(5)] + [int(month_s) + 100 + i for i in range(5)]
    months = [[0, BOTH, 0, 0, month] for month in (0, 1)]
    lost = [[seconds, *[0.0] * 6] for seconds in (sum(lasted[:5]), sum(lasted[5:]))]
    outages = [[0, 0, start, 0] for start in began]
    tables = {
        "service_month": KeyedTable.collect(SERVICE_MONTH, months, lost),
        "service_outage": KeyedTable.collect(OUTAGE, outages, lasted),
    }
    tally = Tally(Run("made", 10, ("a",), ()), (0,), tables)
    table = month_table(tally, month_sums(tally))
    assert list(table["month"]) == [1, 2]
    assert table["outages_weighed"].tolist() == pytest.approx([5.0, 1.0046], abs=1e-3)
    assert table["unavailable_min_per_year"].tolist() == pytest.approx([5.0, 1732.0])


def test_rates_that_differ_backward_are_shown_beside_those_forward() -> None:
    cells = [rate_rows(row)["committed"] for row in TABLES["services"].to_dict("records")]
    assert cells == ["50", "75 / 70", "100 / 90"]
    assert service_rows(TABLES["services"].iloc[2])["committed"] == "100 / 90"
    assert rate_rows(TABLES["services"].iloc[1])["peak"] == "200"
