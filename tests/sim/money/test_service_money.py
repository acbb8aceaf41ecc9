"""Penalties of a run's blocks are those of its single months; what was never owed is a bound."""

from types import SimpleNamespace

import numpy as np
import pytest
from small_networks import source_of, triangle

from hopyears.models.network.network import PenaltyTier, Service
from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.money.service_money import penalties_of_years, service_money
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
    lost = np.zeros((2, 3, 2, 12))
    lost[0, 1, 0, 5] = 3600.0
    lost[:, 2, 1, :] = 86_400.0
    found = penalties_of_years(services, lost)
    assert found.shape == (2, 3, 2)
    assert found[0, 1, 0] == 10.0
    assert found[0, 2, 1] == 500.0
    assert found[1].sum() == 0.0
    assert found.sum() == 510.0


def test_no_service_with_money_gives_no_rows():
    assert service_money(triangle(), [SimpleNamespace(years=1)]).empty
