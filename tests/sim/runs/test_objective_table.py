"""Objectives beside results, worked by hand from the forms of the Recommendations."""

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from figures_of_blocks import FiguresOfBlocks
from scipy.stats import gamma, norm, poisson, t
from small_networks import triangle

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.judging.objectives import STATED
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.figures import outage_columns
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.result_tables import columns_of
from hopyears.sim.counting.tallies import Run, Tally
from hopyears.sim.counting.tally_rows import BOTH, TOTAL
from hopyears.sim.runs.objective_counts import least_sure_first, objectives_summary
from hopyears.sim.runs.objective_table import objective_table


def tallies(lost_s, severe_s, outages):
    """Blocks of two years in which the first service lost this and the second nothing."""
    run = Run("run", 2, ("one", "two"), ("a-b", "a-c", "c-b"))
    blocks = []
    for number, row in enumerate(zip(lost_s, severe_s, outages, strict=True)):
        values = [[2 * SECONDS_PER_YEAR, row[0], row[1], row[1], row[2], row[0]]]
        table = KeyedTable.collect(TOTAL, np.array([[0, BOTH]]), np.array(values))
        blocks.append(Tally(run, (number,), {**Tally().tables, "service_total": table}))
    return blocks


def objectives(blocks, **changes):
    """The table by service, for a triangle whose services state these fields."""
    network = triangle()
    services = [each.model_copy(update=changes.get(each.id, {})) for each in network.services]
    prepared = prepare(network.model_copy(update={"services": tuple(services)}), ModelOptions(rain=False))
    figures = FiguresOfBlocks(blocks)
    below = {f"below_committed_min_per_year{end}": 5.0 for end in ("", "_low", "_high")}
    rows = [{**outage_columns(figures.intervals(i), 0.0), **below} for i in range(2)]
    table = objective_table(prepared, pd.DataFrame(rows), figures)
    assert [*table.columns] == columns_of("service_objectives")
    return table.set_index("service")


BLOCKS = tallies([600.0, 1200.0, 900.0, 300.0, 1500.0, 900.0] * 3, [60.0] * 18, [1, 2, 1, 1, 3, 1] * 3)


def test_short_haul():
    table = objectives(BLOCKS)
    one, two = table.loc["one"], table.loc["two"]
    assert one["length_km"] == pytest.approx(39.4, abs=0.1)
    assert (one["portion"], one["availability_objective"]) == ("national short haul", 1.0 - 4e-4)
    assert one["allowed_min_per_year"] == pytest.approx(4e-4 * 525_960)
    assert one["unavailable_min_per_year"] == pytest.approx(900 / 2 / 60)
    assert one["availability_met"]
    assert one["availability_met_confidence"] > 0.999
    assert one["severely_errored_ratio_objective"] == pytest.approx(0.002 * 0.08)
    assert one["severely_errored_ratio"] == pytest.approx(30.0 / (SECONDS_PER_YEAR - 450.0))
    assert one["outages_per_year"] == pytest.approx(1.5 / 2)
    assert one["outages_per_year_low"] < 0.75 < one["outages_per_year_high"]
    # Nothing seen: met, yet only as surely as the bound allows.
    assert two["availability_met"]
    assert 0.5 < two["availability_met_confidence"] < 1.0
    for name in ("availability", "severely_errored"):
        assert "unverified" in one[f"{name}_source"]


def test_grades_have_their_own_objectives():
    table = objectives(BLOCKS, one={"grade": "long haul"}, two={"grade": "access"})
    length_km = table.loc["one", "length_km"]
    allowed = 1.9e-3 * length_km / 2500 + 1.1e-4
    assert table.loc["one", "availability_objective"] == pytest.approx(1 - allowed)
    assert table.loc["one", "severely_errored_ratio_objective"] == pytest.approx(
        0.002 * (0.02 + 0.01 * length_km / 500)
    )
    assert table.loc["two", "availability_objective"] == pytest.approx(1 - 5e-4)


def test_a_missed_objective_is_surely_missed():
    rng = np.random.default_rng(1)
    blocks = tallies(rng.gamma(4.0, 1e4, 20), rng.gamma(4.0, 1e4, 20), [5] * 20)
    one = objectives(blocks).loc["one"]
    assert not one["availability_met"]
    assert one["availability_met_confidence"] < 0.01
    assert not one["severely_errored_met"]
    assert one["severely_errored_met_confidence"] < 0.01


def test_outages_have_no_objective_unless_one_is_stated():
    table = objectives(BLOCKS)
    assert table["outages_per_year_objective"].isna().all()
    assert table["outages_met"].isna().all()
    assert table["outages_met_confidence"].isna().all()
    assert (table["outages_source"] == "").all()
    # An empty column keeps its type on disk.
    stored = pa.Table.from_pandas(table.reset_index(), preserve_index=False)
    assert stored.schema.field("outages_met").type == pa.bool_()
    assert stored.schema.field("outages_met_confidence").type == pa.float64()


def test_stated_objectives_take_the_place_of_those_of_the_recommendations():
    stated = {
        "availability_objective": 0.99999,
        "severely_errored_ratio_objective": 1e-7,
        "outages_per_year_objective": 0.5,
    }
    plain, table = objectives(BLOCKS), objectives(BLOCKS, one=stated)
    one = table.loc["one"]
    assert one["allowed_min_per_year"] == pytest.approx(5.2596)
    for name, value in stated.items():
        assert one[name] == value
    for name in ("availability", "severely_errored", "outages"):
        assert one[f"{name}_source"] == STATED
        assert not one[f"{name}_met"]
        assert one[f"{name}_met_confidence"] < 0.5
    pd.testing.assert_series_equal(table.loc["two"], plain.loc["two"])
    assert table["below_committed_min_per_year"].tolist() == [5.0, 5.0]
    found = ["unavailable_min_per_year", "severely_errored_ratio", "outages_per_year"]
    assert one[found].tolist() == plain.loc["one", found].tolist()


def outage_confidence(counts, allowed):
    """Confidence that at most so many outages a year are met, of counts in blocks of two years."""
    blocks = tallies([1.0] * len(counts), [0.0] * len(counts), counts)
    one = objectives(blocks, one={"outages_per_year_objective": allowed}).loc["one"]
    assert bool(one["outages_met"]) == (sum(counts) <= allowed * 2 * len(counts))
    return one["outages_met_confidence"]


@pytest.mark.parametrize("allowed", [0.1, 0.15, 0.3, 0.7])
@pytest.mark.parametrize("seen", [0, 1, 3])
def test_confidence_of_rare_outages_is_that_of_the_exact_poisson_test(seen, allowed):
    """One-sided: a rate at the limit would show more than was seen with this chance, or less."""
    n_blocks = 10
    found = outage_confidence([1] * seen + [0] * (n_blocks - seen), allowed)
    expected = allowed * 2 * n_blocks
    if seen <= expected:
        exact = max(poisson.sf(seen, expected), 0.5)
    else:
        exact = min(poisson.sf(seen - 1, expected), 0.5)
    assert found == pytest.approx(exact, abs=1.1e-3)


def test_confidence_of_frequent_outages_is_that_of_their_spread_over_blocks():
    """Counts that gather in some blocks: less sure than a Poisson law of the same number would be."""
    counts = np.random.default_rng(3).negative_binomial(2, 0.1, 30)
    allowed = 1.15 * counts.mean() / 2.0
    found = outage_confidence(counts.tolist(), allowed)
    # Gamma law of the sum, its deviation widened as Student's t is, with one more large value unseen.
    spread, unseen = counts.size * counts.var(ddof=1), counts.max() - counts.mean()

    def limit(confidence):
        wider = (t.ppf(confidence, counts.size - 1) / norm.ppf(confidence)) ** 2
        variance, mean = spread * wider + unseen**2, counts.sum() + unseen
        return gamma.ppf(confidence, mean**2 / variance, scale=variance / mean) / 2.0 / counts.size

    assert limit(found - 1e-3) <= allowed <= limit(found + 1e-3)
    assert found < poisson.sf(counts.sum(), allowed * 2.0 * counts.size) - 0.05


def test_the_limit_of_the_interval_is_met_with_half_of_what_lacks():
    """The interval shown beside and the confidence are of one law, also where nothing was seen."""
    for seen in (0, 1, 4, 10):
        counts = [1] * seen + [0] * (12 - seen)
        high = objectives(tallies([1.0] * 12, [0.0] * 12, counts)).loc["one", "outages_per_year_high"]
        assert outage_confidence(counts, high) == pytest.approx(0.975, abs=1e-3)


def test_counts_of_objectives_met():
    one, two = {"outages_per_year_objective": 0.85}, {"availability_objective": 0.99999}
    table = objectives(BLOCKS, one=one, two=two).reset_index()
    assert objectives_summary(table) == (
        "Objectives with the whole 95 % interval: availability 1 met, 1 open; "
        "severely errored seconds 2 met; outages a year 1 open."
    )
    assert least_sure_first(table)["service"].tolist() == ["two", "one"]
    assert "outages" not in objectives_summary(objectives(BLOCKS).reset_index())
    assert objectives_summary(table.iloc[:0]) == ""
    missed = objectives(BLOCKS, one={"availability_objective": 0.999999}).reset_index()
    assert "availability 1 met, 1 missed;" in objectives_summary(missed)
    assert least_sure_first(missed)["service"].tolist() == ["one", "two"]
