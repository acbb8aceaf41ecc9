"""Every column of every table is described, and nothing is described that no table has."""

import pandas as pd
import pytest
from small_networks import source_of, triangle
from synthetic_results import made_up_results

from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.runs.results import RESULT_TABLES, Results
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.studies.compare import ComparedPlan, compare
from hopyears.sim.textbook.predict import predict_hops, predict_services
from hopyears.sim.wording.columns import COLUMNS, IN_TABLE, TABLES, described

DRY = ModelOptions(rain=False, multipath=False)


def differing(name: str, table: pd.DataFrame) -> set[str]:
    """Columns of a table without words, and words without a column."""
    return {*table.columns} ^ {column for column, _ in described(name)}


@pytest.mark.slow
def test_every_table_has_the_columns_described(tmp_path) -> None:
    source = source_of(triangle())
    options = ModelOptions(rain=False, multipath=False, control=1)
    simulate(source, RunRequest(years=20, seed=1, block_years=1, options=options), tmp_path / "run")
    tables = dict(Results.load(tmp_path / "run").tables)
    assert {*tables} == {*RESULT_TABLES}
    prepared = prepare(source.network, DRY)
    tables["predicted_hops"] = predict_hops(prepared)
    tables["predicted_services"] = predict_services(prepared)
    request = RunRequest(years=2, seed=1, block_years=1, options=DRY)
    tables["differences"] = compare(source, [ComparedPlan("same", source)], request, tmp_path / "plans")
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
    shares = {"availability", "availability_ratio", "severely_errored_ratio", "year_break_chance"}
    for name, words in TABLES.items():
        for word in (word for word in words.columns.split() if word.endswith("*")):
            column = word[:-1]
            assert column in shares or COLUMNS[column].unit, (name, column)
