"""Present sums against tables of engineering economics and a payment at a time."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hopyears.models.money.costs import CostRow, Terms


@pytest.mark.parametrize(
    ("rate", "years", "factor"), [(0.06, 10, 7.3601), (0.05, 20, 12.4622), (0.10, 5, 3.7908), (0.0, 8, 8.0)]
)
def test_annuity_factors_are_those_of_the_tables(rate, years, factor):
    """Uniform-series present-worth factors as textbooks of engineering economics print them (from memory)."""
    assert Terms(years, rate).annuity_factor() == pytest.approx(factor, abs=5e-5)


@given(st.integers(1, 40), st.fractions(0, 1, max_denominator=200))
def test_the_factor_is_a_sum_of_payments(years, rate):
    slow = sum(Fraction(1) / (1 + rate) ** year for year in range(1, years + 1))
    terms = Terms(years, float(rate))
    assert terms.annuity_factor() == pytest.approx(float(slow))
    assert terms.by_year(float(slow)) == pytest.approx(1.0)


def test_a_part_of_a_year_pays_its_part():
    assert Terms(2.5, 0.0).annuity_factor() == pytest.approx(2.5)


def test_what_does_not_last_is_bought_again():
    """A battery of 4 years in a life of 10: bought at 0, 4 and 8; one of 5 years twice, not a third time."""
    terms = Terms(10.0, 0.06)
    assert terms.renewals_factor(4.0) == pytest.approx(1 + 1.06**-4 + 1.06**-8)
    assert terms.renewals_factor(5.0) == pytest.approx(1 + 1.06**-5)
    assert terms.renewals_factor(None) == terms.renewals_factor(10.0) == 1.0


def test_rows_add_and_those_without_a_price_are_left_out():
    terms = Terms(10.0, 0.06)
    rows = [
        CostRow("a", "outdoor_radio", "r", "18GHz", 2.0, once=100.0),
        CostRow("a", "site", "", "", 1.0, yearly=10.0),
        CostRow("a", "battery_hour", "p", "", 4.0, once=5.0, yearly=1.0, renewed_years=5.0),
        CostRow("a", "cable", "r", "", 2.0),
    ]
    assert [row.priced for row in rows] == [True, True, True, False]
    cost = terms.cost_of(rows)
    assert cost[:2] == (220.0, 14.0)
    assert cost.present == pytest.approx(200 + 20 * (1 + 1.06**-5) + 14 * 7.36009, rel=1e-5)
    parts = [terms.cost_of([row]) for row in rows]
    assert tuple(map(sum, zip(*parts, strict=True))) == pytest.approx(cost)
    assert (cost - parts[0]).capital == 20.0
