"""What can be promised from simulated years."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from hopyears.models.network.contract_entry import Contract
from hopyears.sim.counting.month_figures import YEAR_FIGURES
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.rare.year_law import YearLaw
from hopyears.sim.rare.year_tables import YearsMet
from hopyears.sim.runs.promise import (
    ALL_TERMS,
    CLASSES,
    PLAIN,
    class_of,
    next_class,
    promise_table,
    years_wanted,
)
from hopyears.sim.runs.promise_terms import Promise, PromiseTerms, promises_of
from hopyears.sim.runs.single_years import UNAVAILABLE, single_years, year_tables
from hopyears.sim.wording.promises import promise_rows

NETWORK = {
    "services": [
        {"id": "one", "committed_mbit_s": 50.0, "peak_mbit_s": 100.0, "availability_objective": 0.9999},
        {"id": "none", "committed_mbit_s": 50.0, "peak_mbit_s": None},
    ]
}


def met(minutes):
    """Years of one service with so many unavailable minutes each, in March."""
    months = np.zeros((len(minutes), 1, 12, len(YEAR_FIGURES)))
    months[:, 0, 2, 0] = 60.0 * np.asarray(minutes)
    months[:, 0, 2, YEAR_FIGURES.index("outages")] = 1.0
    return YearsMet(months, np.zeros_like(months), 1)


class Years:
    """Stands for the months of a run: two services, of which the second never fails."""

    n_years = 100

    def of(self, services):
        found = [met(np.linspace(0.0, 99.0, 100) if number == 0 else np.zeros(100)) for number in services]
        return YearsMet(
            np.concatenate([each.years for each in found], axis=1),
            np.concatenate([each.own for each in found], axis=1),
            1,
        )


def limit(minutes, chance=0.9, confidence=0.9):
    law = YearLaw(met(minutes), [UNAVAILABLE])
    return law.limit(0, chance=1.0 - chance, level=PromiseTerms(chance, confidence).level)


def test_the_promise_is_the_order_statistic_that_the_binomial_law_asks_for():
    # W. J. Conover, Practical Nonparametric Statistics, 3rd ed., 3.2 (one-sided bound of a quantile; from
    # memory): the r-th of n ordered years bounds the quantile q with confidence P(Binomial(n, q) < r).
    years = np.arange(1.0, 101.0)
    rank = round(limit(np.random.default_rng(1).permutation(years)))
    assert binom.cdf(rank - 1, 100, 0.9) >= 0.9 > binom.cdf(rank - 2, 100, 0.9)


def test_too_few_years_promise_nothing():
    assert years_wanted(0.9, 0.9) == 22
    assert np.isinf(limit(np.linspace(1, 2, 21)))
    assert np.isfinite(limit(np.linspace(1, 2, 22)))


@pytest.mark.slow
def test_promises_are_kept_as_often_as_they_say():
    random = np.random.default_rng(7)
    truth = 2.302585  # 90 % quantile of an exponential of mean 1
    limits = np.array([limit(random.exponential(size=60)) for _ in range(1000)])
    kept = float((limits >= truth).mean())
    assert kept > 0.9 - 4 * np.sqrt(0.9 * 0.1 / 1000)
    # Negative control: the plain 90 % quantile of 60 years falls short far more often than one time in ten.
    plain = np.array([np.quantile(random.exponential(size=60), 0.9) for _ in range(1000)])
    assert (plain >= truth).mean() < 0.9 - 8 * np.sqrt(0.9 * 0.1 / 1000)


def contract(**fields):
    return Contract.model_validate({"id": "c", "services": ["one"], **fields})


def rows(*contracts, **terms):
    promises = [Promise.of(each) for each in contracts]
    return promise_table(Years(), NETWORK, promises, PromiseTerms(**terms))


def test_a_contract_of_several_terms():
    table = rows(contract(unavailable_min=50.0, outages=1, years=3)).set_index("figure")
    assert table.loc["unavailable_min", "mean"] == pytest.approx(49.5)
    assert table.loc["unavailable_min", "year_break_chance"] == pytest.approx(0.49, abs=0.011)
    one, three = (table.loc["unavailable_min", f"{each}_break_chance"] for each in ("year", "contract"))
    assert three == pytest.approx(1.0 - (1.0 - one) ** 3)
    assert table.loc["outages", "kept"] == "yes"
    assert table.loc["outages", "can_be_promised"] == pytest.approx(1.0, abs=1e-4)
    assert table.loc["unavailable_min", "kept"] == table.loc[ALL_TERMS, "kept"] == "no"
    assert table.loc[ALL_TERMS, "year_break_chance"] == table.loc["unavailable_min", "year_break_chance"]
    assert set(table["rests_on"]) == {PLAIN}


def test_answers_follow_the_limits():
    answers = [rows(contract(unavailable_min=most)).loc[0, "kept"] for most in (98.0, 90.0, 50.0)]
    assert answers == ["yes", "open", "no"]


def test_a_month_is_held_to_its_own_length():
    # 99 minutes in March of 31 days at the worst: 99.78 % of it, where a year would have 99.98 %.
    table = rows(contract(availability=0.995, period="month"), contract(availability=0.998, period="year"))
    assert list(table["worst"]) == pytest.approx([1 - 99 / (31 * 1440), 1 - 99 / (365.25 * 1440)])


def test_two_services_are_judged_together():
    both = ["one", "none"]
    each, mean = rows(
        contract(services=both, outages=1), contract(services=both, outages=1, together="mean")
    )["mean"]
    assert each == mean == 1.0
    worst = rows(
        contract(services=both, unavailable_min=1),
        contract(services=both, unavailable_min=1, together="mean"),
    )["worst"]
    assert list(worst) == [99.0, 49.5]


def test_throughput_is_in_megabits():
    table = rows(contract(mean_throughput_mbit_s=80.0))
    assert table.loc[0, "kept"] == "yes"
    assert table.loc[0, "can_be_promised"] == pytest.approx(100.0)


def test_services_without_a_contract_have_their_objectives():
    found = promises_of(NETWORK, [])
    assert [each.asked for each in found] == [{"availability": 0.9999}, {}]
    table = promise_table(Years(), NETWORK, found, PromiseTerms())
    assert list(table["kept"]) == ["no", ""]
    assert table.loc[1, "can_be_promised"] == 0.0


def test_contracts_name_services_of_the_run():
    with pytest.raises(InputError, match='contract "c": services is "two"; must be services of the run'):
        promises_of(NETWORK, [contract(services=["two"], outages=1)])
    with pytest.raises(InputError, match='--service is "two"; must be a service of the run: one, none'):
        promises_of(NETWORK, [], service="two")


def test_no_cell_says_more_than_all():
    contracts = [contract(availability=0.99), contract(services=["none"], availability=0.99999)]
    cells = [str(cell) for row in promise_rows(rows(*contracts)) for cell in row]
    assert not [cell for cell in cells if "100\N{NO-BREAK SPACE}%" in cell or "e+" in cell]
    assert "no outage" in cells


def test_single_years_and_tables_of_results():
    years = single_years(Years(), NETWORK)
    assert list(years.groupby("service", sort=False)["unavailable_min"].max()) == [99.0, 0.0]
    assert set(years["mean_throughput_mbit_s"]) == {100.0, 50.0}
    tables = year_tables(("one", "none"), Years())
    grouped = tables["service_years"].groupby("service", sort=False)["unavailable_min"]
    assert grouped.apply(lambda x: x.is_monotonic_increasing).all()
    targets = tables["service_targets"]
    assert (targets["year_break_chance_low"] <= targets["year_break_chance"]).all()
    assert isinstance(targets, pd.DataFrame)


def test_classes():
    assert class_of(1e-4) == 0.9999
    assert class_of(0.5) is None
    assert next_class(0.9999) == 0.99995
    assert next_class(CLASSES[-1]) is None


@pytest.mark.parametrize("terms", [(1.0, 0.9), (0.9, 0.0), (0.9, 0.5)])
def test_impossible_terms_are_refused(terms):
    with pytest.raises(InputError, match="must be"):
        PromiseTerms(*terms)
