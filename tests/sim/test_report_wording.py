"""Numbers in words: bounds, availabilities, verdicts and the first answer."""

import math

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from synthetic_results import made_up_results

from hopyears.sim.commands.summary_text import print_summary
from hopyears.sim.report.page import report_page
from hopyears.sim.wording import answer, wording

TABLES = made_up_results().tables
BLANK = "\N{NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (0.0123, "0.0123"), (4.556, "4.56"), (12.34, "12.3"), (99.96, "100"), (1234.4, "1,234")],
)
def test_number(value: float, text: str) -> None:
    assert wording.number(value) == text
    assert wording.number(math.nan) == wording.NO_FIGURE


@pytest.mark.parametrize(
    ("value", "text"), [(40.0, "40"), (7.125, "7.125"), (1417.5, "1,418"), (226.8, "226.8")]
)
def test_given(value: float, text: str) -> None:
    assert wording.given(value) == text


def test_bounded() -> None:
    row = {"x": 12.3, "x_low": 9.8, "x_high": 15.1}
    assert wording.bounded(row, "x") == "12.3 (9.80 to 15.1)"
    assert wording.bounded({"x": 0.0, "x_low": 0.0, "x_high": 0.42}, "x") == "at most 0.420"
    assert wording.bounded({"x": 3.0}, "x") == "3.00"


@pytest.mark.parametrize(
    ("value", "low", "high", "text"),
    [
        (0.0, 0.0, math.inf, "none seen"),  # the worst of few years may be anything
        (7.5, 2.5, math.inf, "7.50 (at least 2.50)"),
        (math.inf, 9505.0, math.inf, "at least 9,505"),  # time between outages, of which none came
        (math.nan, 9505.0, math.nan, "at least 9,505"),
    ],
)
def test_a_figure_without_an_upper_limit_tells_what_is_known(
    value: float, low: float, high: float, text: str
) -> None:
    assert wording.bounded({"x": value, "x_low": low, "x_high": high}, "x") == text


@pytest.mark.parametrize(
    ("share", "text"), [(3.8e-5, "99.9962"), (0.2, "80.000"), (1e-5, "99.9990"), (4.44e-7, "99.999956")]
)
def test_availability(share: float, text: str) -> None:
    assert wording.availability(share) == f"{text}{BLANK}%"


@given(st.floats(1e-12, 1.0), st.booleans())
def test_availability_is_never_a_hundred_and_a_bound_never_too_high(share: float, bound: bool) -> None:
    text = wording.availability(share, bound=bound).removeprefix("at least ").removesuffix(f"{BLANK}%")
    assert float(text) < 100.0
    if bound:
        assert 1.0 - float(text) / 100.0 >= share * (1 - 1e-6) - 1e-15


def test_availability_of_a_row_without_outage_is_a_bound() -> None:
    row = {
        f"unavailable_min_per_year{end}": value for end, value in (("", 0.0), ("_low", 0.0), ("_high", 0.7))
    }
    assert wording.service_availability(row) == f"at least 99.99986{BLANK}%"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(42.0, "42.0 s"), (750.0, "12.5 min"), (14_760.0, "4.10 h"), (276_480.0, "3.20 days"), (math.nan, "–")],
)
def test_duration(seconds: float, text: str) -> None:
    assert wording.duration(seconds) == text


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(1.2, 5, "+1.20"), (-12.34, 5, "-12.3"), (0.0, 5, "0"), (0.0012, 5, "+0.00120"), (0.0012, 2, "0"),
     (1234.4, 5, "+1,234"), (-0.004, 2, "0"), (math.nan, 5, "–")],
)  # fmt: skip
def test_a_difference_has_its_sign(value: float, decimals: int, text: str) -> None:
    assert wording.signed(value, decimals=decimals) == text


def test_a_difference_that_never_was_one_has_no_interval() -> None:
    assert wording.difference({"x": 0.0, "x_low": 0.0, "x_high": 0.0}, "x") == ("0", "")
    row = {"x": 1.2, "x_low": -0.3, "x_high": 2.7}
    assert wording.joined(wording.difference(row, "x")) == "+1.20 (-0.300 to +2.70)"


def test_a_chance_of_which_every_year_or_none_was_an_instance_is_a_bound() -> None:
    for value, low, high, text in (
        (0.0, 0.0, 0.05, f"at most 5{BLANK}%"),
        (1.0, 0.95, 1.0, f"at least 95{BLANK}%"),
        (0.6, 0.5, 0.7, f"60{BLANK}% (50{BLANK}% to 70{BLANK}%)"),
    ):
        row = {"x": value, "x_low": low, "x_high": high}
        assert wording.joined(wording.chance(row, "x")) == text


@given(st.floats(1e-9, 1.0, exclude_max=True))
def test_a_share_is_never_rounded_to_none_or_all(share: float) -> None:
    for told in (wording.per_cent(share), wording.time_share(share), wording.confidence(share)):
        number = told.removeprefix("over ").removeprefix("under ").removesuffix(f"{BLANK}%")
        assert 0.0 < float(number) < 100.0


def test_terminal_and_page_tell_the_bound_where_nothing_was_seen(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """And the table has it: nobody reads 1.0, 100 % or 0 where the years were too few."""
    monkeypatch.setenv("COLUMNS", "120")
    results = made_up_results()
    print_summary(results)
    printed, page = capsys.readouterr().out, report_page(results)
    bound = f"at least 99.99986{BLANK}%"
    for text in (printed, page):
        assert bound in text
        assert "100.0000" not in text
    quiet = results.services.iloc[-1]
    assert quiet["availability"] == quiet["availability_high"] == 1.0
    assert quiet["availability_low"] == pytest.approx(1.0 - 0.7 / 525_960.0, abs=1e-12)


@pytest.mark.parametrize(
    ("low", "value", "high", "verdict"),
    [(10, 20, 50, "yes"), (60, 80, 90, "no"), (10, 20, 60, "open"), (40, 55, 60, "open"), (0, 0, 52, "yes")],
)
def test_verdict_against_four_nines(low: float, value: float, high: float, verdict: str) -> None:
    row = dict(
        zip(
            (f"unavailable_min_per_year{end}" for end in ("_low", "", "_high")),
            (low, value, high),
            strict=True,
        )
    )
    assert wording.verdict(row, 0.9999) == verdict


def test_verdict_counts_add_up() -> None:
    for level in wording.LEVELS:
        assert sum(wording.verdict_counts(TABLES["services"], level).values()) == 3


def test_first_answer() -> None:
    said = answer.first_answer(TABLES["services"], TABLES["service_causes"], 200.0)
    assert said[0] == (
        f"The worst service is birch-fir: 240 unavailable minutes a year (95{BLANK}% interval 192 to 312), "
        f"an availability of 99.954{BLANK}%, from rain (50{BLANK}%), clear-air fading (20{BLANK}%) and "
        f"outdoor equipment (12{BLANK}%)."
    )
    assert said[1] == (
        f"2 of 3 services meet 99.99{BLANK}% (52.6 minutes a year) with the whole interval, 1 misses it."
    )
    assert said[2].startswith(f"Over all services, unavailable time comes from rain (50{BLANK}%)")
    assert said[3] == "On 1 service nothing was seen in 200 years, so its figure is an upper bound."


def test_first_answer_when_the_years_cannot_tell() -> None:
    services = TABLES["services"].copy()
    services["unavailable_min_per_year_low"] = 1.0
    services["unavailable_min_per_year_high"] = 900.0
    said = answer.first_answer(services, TABLES["service_causes"], 200.0)
    assert said[1].endswith("0 miss it, and for 3 the simulated years cannot tell.")


def test_first_answer_without_any_outage() -> None:
    services = TABLES["services"].assign(unavailable_min_per_year=0.0, unavailable_min_per_year_low=0.0)
    said = answer.first_answer(services, TABLES["service_causes"], 40.0)
    assert said[0].startswith("No unavailable time was seen on any of 3 services in 40 simulated years")
    assert "upper bound" in said[0]


def test_textbook_sentence_counts_each_service_once() -> None:
    services = TABLES["services"].copy()
    services["textbook_min_per_year"] = [250.0, 20.0, 0.8]
    assert answer.textbook_sentence(services) == (
        f"The textbook sum lies within the simulated 95{BLANK}% interval for 1 of 3 services, "
        "below it for 1 and above it for 1."
    )
    assert answer.textbook_sentence(services.iloc[:0]) == ""


def test_shares_by_group_sum_to_one() -> None:
    shares = answer.shares_by_group(TABLES["service_causes"])
    assert sum(share for _, share in shares) == pytest.approx(1.0)
    assert [share for _, share in shares] == sorted((share for _, share in shares), reverse=True)
    assert answer.shares_by_group(pd.DataFrame({"cause": [], "unavailable_min_per_year": []})) == []


@pytest.mark.parametrize(
    ("share", "text"),
    [(1.0, "over 99.9 %"), (0.99941, "over 99.9 %"), (0.977, "97.7 %"), (0.0, "under 0.1 %"), (0.5, "50 %")],
)
def test_confidence_is_never_certainty(share: float, text: str) -> None:
    assert wording.confidence(share) == text.replace(" %", "\N{NO-BREAK SPACE}%")
