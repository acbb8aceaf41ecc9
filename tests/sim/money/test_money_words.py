"""Money on the page and in the terminal: where there are prices, and nothing of it where there are none."""

import pandas as pd
from synthetic_results import made_up_results

from hopyears.models.money.costs import Cost, Terms
from hopyears.sim.commands.summary_text import print_summary
from hopyears.sim.report.page import report_page
from hopyears.sim.runs.results import Results
from hopyears.sim.wording.money_rows import cost_sentences, item_rows, money_rows

SENTENCE = (
    "200 shells when bought, 30.0 by the year: 500 over 10 years at 0\N{NO-BREAK SPACE}%, or 50.0 a year."
)


def without_money():
    results = made_up_results()
    tables = dict(results.tables)
    tables |= {name: tables[name].iloc[:0] for name in ("costs", "service_money")}
    return Results(results.manifest, {"title": "no prices"}, tables)


def test_the_page_has_money_where_there_are_prices():
    page = report_page(made_up_results())
    assert 'id="money"' in page
    assert SENTENCE in page
    assert "Without a price and not in these sums: cable (2)." in page
    assert 'id="money"' not in report_page(without_money())


def test_the_terminal_too(capsys):
    print_summary(made_up_results())
    assert " ".join(SENTENCE.split()) in " ".join(capsys.readouterr().out.split())
    print_summary(without_money())
    assert "shells" not in capsys.readouterr().out


def test_rows_in_words():
    tables = made_up_results().tables
    assert item_rows(tables["costs"]) == [
        ("outdoor radio", "2", "200", "0", "200"),
        ("licence", "1", "0", "30.0", "300"),
    ]
    row = money_rows(tables["service_money"])[0]
    assert row["penalty"] == ("40.0", "32.0 to 52.0")
    assert row["value"] == ("24.0", "19.2 to 31.2")
    assert item_rows(pd.DataFrame(columns=tables["costs"].columns)) == []


def test_a_bill_in_a_sentence():
    found = cost_sentences(Cost(1000.0, 100.0, 1736.0), [], Terms(10.0, 0.06), "crowns")
    sentence = "1,000 crowns when bought, 100 by the year: 1,736 over 10 years at 6 %, or 236 a year."
    assert [" ".join(each.split()) for each in found] == [sentence]
