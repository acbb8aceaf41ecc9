"""Every column of every table is described, and nothing is described that no table has."""

import pandas as pd
import pytest
from eight_candidates import EIGHT
from eight_candidates import source_of as eight
from small_networks import source_of, triangle
from synthetic_results import made_up_results

from hopyears.models.network.network import Network, Prices, Service
from hopyears.sim.advice.advise import advise
from hopyears.sim.advice.confirm import Goal
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.result_tables import TABLES
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.modulation.study import modulation_study
from hopyears.sim.rare.year_tables import YearTables
from hopyears.sim.runs.promise import promise_table
from hopyears.sim.runs.promise_terms import PromiseTerms, promises_of
from hopyears.sim.runs.rerun import open_run
from hopyears.sim.runs.results import RESULT_TABLES, Results
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.studies.against import hold_against
from hopyears.sim.studies.compare import ComparedPlan, compare
from hopyears.sim.studies.importance import importance
from hopyears.sim.studies.levers import levers
from hopyears.sim.textbook.predict import predict_hops, predict_services
from hopyears.sim.wording.columns import COLUMNS, IN_TABLE, described

DRY = ModelOptions(rain=False, multipath=False)


def differing(name: str, table: pd.DataFrame) -> set[str]:
    """Columns of a table without words, and words without a column."""
    return {*table.columns} ^ {column for column, _ in described(name)}


def with_prices(network):
    """The same network with a price and a service whose outages cost something."""
    first, *others = network.services
    services = (Service(**first.model_dump() | {"undelivered_value_per_gbit": 2.0}), *others)
    prices = Prices(life_years=10.0, discount_rate=0.05, once={"cable": 3.0})
    return Network(**network.model_dump() | {"services": services, "prices": prices})


def tables_of_studies(source, folder) -> dict[str, pd.DataFrame]:
    """A table of each study of a stored run, and of one of modulation."""
    studied = modulation_study(
        prepare(source.network, DRY), RunRequest(years=1, seed=1, block_years=1, options=DRY)
    )
    run = RunFolder(folder)
    promised = promise_table(YearTables(run), run.network(), promises_of(run.network(), ()), PromiseTerms())
    return {
        "importance": importance(open_run(folder), n_blocks=2),
        "promise": promised,
        "levers": levers(open_run(folder), promises_of(run.network(), ())[:1], PromiseTerms(), n_blocks=2),
        "against": hold_against(source, RunFolder(folder)),
        **{f"modulation_{name}": table for name, table in studied.items()},
    }


@pytest.mark.slow
def test_every_table_has_the_columns_described(tmp_path) -> None:
    source = source_of(with_prices(triangle()))
    options = ModelOptions(rain=False, multipath=False, replications=1)
    simulate(source, RunRequest(years=20, seed=1, block_years=1, options=options), tmp_path / "run")
    tables = dict(Results.load(tmp_path / "run").tables)
    assert {*tables} == {*RESULT_TABLES}
    prepared = prepare(source.network, DRY)
    tables["predicted_hops"] = predict_hops(prepared)
    tables["predicted_services"] = predict_services(prepared)
    request = RunRequest(years=2, seed=1, block_years=1, options=DRY)
    plan = read_plan({"hops": [{"id": "a-b", "scheme": "1+1 HSB"}]}, source)
    tables |= compare(source, [ComparedPlan("standby", plan)], request, tmp_path / "plans")._asdict()
    tables |= tables_of_studies(source, tmp_path / "run")
    tables |= advise(eight(EIGHT), Goal(budget=500.0), request, tmp_path / "advice")._asdict()
    for name, table in tables.items():
        assert differing(name, table) == set(), name
        assert len(table), name
    # worst_outages makes its frame from the words themselves.
    assert {*tables, "outages"} == {*TABLES}


def test_made_up_results_have_the_columns_described() -> None:
    for name, table in made_up_results().tables.items():
        assert differing(name, table) == set(), name


def test_a_column_too_many_or_too_few_is_seen() -> None:
    table = pd.DataFrame(columns=[name for name, _ in described("sites")])
    assert differing("sites", table) == set()
    assert differing("sites", table.drop(columns="site").assign(more=1)) == {"site", "more"}


def test_nothing_is_described_in_vain() -> None:
    used = {word.removesuffix("*") for words in TABLES.values() for word in words.columns.split()}
    assert used == {*COLUMNS}
    for table, column in IN_TABLE:
        assert column in {name for name, _ in described(table)}


def test_every_figure_with_an_interval_has_a_unit_or_is_a_share() -> None:
    shares = {"availability", "availability_ratio", "severely_errored_ratio"}
    shares |= {"year_break_chance", "contract_break_chance"}
    for name, words in TABLES.items():
        for word in (word for word in words.columns.split() if word.endswith("*")):
            column = word[:-1]
            assert column in shares or COLUMNS[column].unit, (name, column)
