"""Penalties of a run's blocks are those of its single months; what was never owed is a bound."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from small_networks import source_of, triangle

from hopyears.models.network.network import PenaltyTier, Service
from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.counting.month_figures import YEAR_FIGURES
from hopyears.sim.money.service_money import owed_law, service_money
from hopyears.sim.rare.year_tables import YearsMet
from hopyears.sim.runs.results import Results
from hopyears.sim.runs.simulate import RunRequest, simulate

TIERS = (PenaltyTier(availability=0.9999, amount=10.0), PenaltyTier(availability=0.99, amount=100.0))


def with_money():
    first, second = triangle().services
    money = {"penalties": TIERS, "penalty_cap_per_year": 500.0, "undelivered_value_per_gbit": 2.0}
    return triangle(services=(Service(**{**first.model_dump(), **money}), second))


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    folder = tmp_path_factory.mktemp("money") / "run"
    request = RunRequest(years=20, seed=1, block_years=2, options=ModelOptions(rain=False, multipath=False))
    return Results.load(simulate(source_of(with_money()), request, folder).path)


@pytest.mark.slow
def test_money_of_a_run(results):
    table = results.tables["service_money"]
    assert list(table["service"]) == ["one"]
    row = table.iloc[0]
    lost = results.tables["service_undelivered"].set_index("service").loc["one", "undelivered_mbit_per_year"]
    assert row["undelivered_gbit_per_year"] == pytest.approx(lost.sum() / 1000.0)
    assert row["undelivered_value_per_year"] == pytest.approx(2.0 * row["undelivered_gbit_per_year"])
    assert 0.0 < row["penalty_per_year"] <= 500.0
    assert row["penalty_per_year_low"] < row["penalty_per_year"] < row["penalty_per_year_high"]
    assert results.tables["costs"].empty


def test_penalties_of_services_and_years():
    services = with_money().services
    lost = np.zeros((6, 2, 12, len(YEAR_FIGURES)))
    lost[2, 0, 5, 0] = 3600.0
    lost[5, :, :, 0] = 86_400.0
    law = owed_law(YearsMet(lost, np.zeros_like(lost), 2), services)
    assert YEAR_FIGURES[0] == "unavailable_s"
    assert law.figures.tolist() == [[0.0, 0.0, 10.0, 0.0, 0.0, 500.0]]
    assert law.quantile(0, 0.9) == 500.0
    ((blocks, most),) = law.units(0)
    assert blocks.tolist() == [0.0, 5.0, 250.0]
    assert most == 250.0


@pytest.fixture(scope="module")
def replicated(tmp_path_factory):
    """A short run with many histories, and a long one without: the penalties of both are the same."""
    folder, source = tmp_path_factory.mktemp("owed"), source_of(with_money())
    dry = ModelOptions(rain=False, multipath=False)
    short = RunRequest(years=40, seed=2, block_years=2, options=replace(dry, replications=8))
    long = RunRequest(years=1500, seed=3, block_years=10, options=dry)
    return [
        Results.load(simulate(source, request, folder / name).path).tables["service_money"].iloc[0]
        for name, request in (("short", short), ("long", long))
    ]


@pytest.mark.slow
def test_replications_tell_penalties_with_less_spread_and_no_bias(replicated):
    """Within 4 standard errors of a long plain run; surer than its own 40 years could be."""
    short, long = replicated
    width = [row["penalty_per_year_high"] - row["penalty_per_year_low"] for row in replicated]
    error = np.hypot(*width) / (2.0 * 1.96)
    assert abs(short["penalty_per_year"] - long["penalty_per_year"]) < 4.0 * error
    assert width[0] < 0.85 * width[1] * np.sqrt(1500.0 / 40.0)


def test_no_service_with_money_gives_no_rows():
    assert service_money(triangle(), [SimpleNamespace(years=1)], None).empty
