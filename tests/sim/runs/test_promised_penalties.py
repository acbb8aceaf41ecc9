"""Penalties of a year: their mean and what a year keeps within, on years whose penalties are known."""

import numpy as np
import pytest

from hopyears.models.network.network import Service
from hopyears.sim.counting.month_figures import YEAR_FIGURES
from hopyears.sim.rare.year_tables import YearsMet
from hopyears.sim.runs.promise import ALL, promised_penalties
from hopyears.sim.runs.promise_terms import PromiseTerms

PENALTIES = [
    {"availability": 0.999, "amount": 100.0},
    {"availability": 0.99, "amount": 1000.0, "period": "year"},
]


def service(name, **more):
    fields = {"id": name, "from": "a", "to": "b", "committed_mbit_s": 10.0, "penalties": PENALTIES}
    return Service.model_validate(fields | more)


class Years:
    """100 years of two services: an hour is lost in the first months, one month more each tenth year."""

    def of(self, services):
        months = np.zeros((100, len(services), 12, len(YEAR_FIGURES)))
        for year in range(100):
            months[year, :, : year // 10, YEAR_FIGURES.index("unavailable_s")] = 3600.0
        return YearsMet(months, np.zeros_like(months), 10)


def test_expected_penalty_and_what_a_year_keeps_within():
    # An hour is 0.13 % of a month: 100 for each month, 0 to 9 months; a year never loses a hundredth.
    (found,) = promised_penalties(Years(), ["s"], [service("s")], PromiseTerms())
    assert found.mean.best == pytest.approx(450.0)
    assert found.mean.low < 450.0 < found.mean.high
    # Nine of ten years owe no more than 800, but to be sure of that takes the worst tenth.
    assert found.within == pytest.approx(900.0)


def test_a_cap_holds_in_every_year():
    (found,) = promised_penalties(Years(), ["s"], [service("s", penalty_cap_per_year=300.0)], PromiseTerms())
    assert found.mean.best == pytest.approx((0 + 100 + 200 + 7 * 300) / 10)
    assert found.within == pytest.approx(300.0)


def test_services_that_lose_together_owe_together():
    found = promised_penalties(Years(), ["s", "t"], [service("s"), service("t")], PromiseTerms())
    assert [each.service for each in found] == ["s", "t", ALL]
    assert found[2].mean.best == pytest.approx(900.0)
    assert found[2].within == pytest.approx(1800.0)


def test_services_without_penalties_are_left_out():
    assert promised_penalties(Years(), ["s"], [service("s", penalties=[])], PromiseTerms()) == []
