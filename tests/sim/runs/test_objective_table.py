"""Objectives beside results, worked by hand from the forms of the Recommendations."""

import numpy as np
import pytest
from small_networks import triangle

from models.units import SECONDS_PER_YEAR
from sim.blocks.prepared import ModelOptions, prepare
from sim.counting.keyed_table import KeyedTable
from sim.counting.tallies import Run, Tally
from sim.counting.tally_rows import BOTH, TOTAL
from sim.runs.objective_table import objective_table


def tallies(lost_s, severe_s, outages):
    """Blocks of two years in which the first service lost this and the second nothing."""
    run = Run("run", 2, ("one", "two"), ("a-b", "a-c", "c-b"))
    blocks = []
    for number, row in enumerate(zip(lost_s, severe_s, outages, strict=True)):
        values = [[2 * SECONDS_PER_YEAR, row[0], row[1], row[1], row[2], row[0]]]
        table = KeyedTable.collect(TOTAL, np.array([[0, BOTH]]), np.array(values))
        blocks.append(Tally(run, (number,), {**Tally().tables, "service_total": table}))
    return blocks


def prepared(**grades):
    network = triangle()
    services = tuple(
        each.model_copy(update={"grade": grades.get(each.id, "short haul")}) for each in network.services
    )
    return prepare(network.model_copy(update={"services": services}), ModelOptions(rain=False))


BLOCKS = tallies([600.0, 1200.0, 900.0, 300.0, 1500.0, 900.0] * 3, [60.0] * 18, [1, 2, 1, 1, 3, 1] * 3)


def test_short_haul():
    table = objective_table(prepared(), BLOCKS).set_index("service")
    one, two = table.loc["one"], table.loc["two"]
    assert one["length_km"] == pytest.approx(39.4, abs=0.1)
    assert (one["portion"], one["availability_objective"]) == ("national short haul", 1.0 - 4e-4)
    assert one["allowed_min_per_year"] == pytest.approx(4e-4 * 525_960)
    assert one["unavailable_min_per_year"] == pytest.approx(900 / 2 / 60)
    assert one["availability_met"]
    assert one["availability_met_confidence"] > 0.999
    assert one["severely_errored_ratio_objective"] == pytest.approx(0.002 * 0.08)
    assert one["severely_errored_ratio"] == pytest.approx(30.0 / (SECONDS_PER_YEAR - 450.0))
    assert one["mean_time_between_outages_h"] == pytest.approx(8766 / (1.5 / 2))
    # Nothing seen: met, yet only as surely as the bound allows.
    assert np.isinf(two["mean_time_between_outages_h"])
    assert two["availability_met"]
    assert 0.5 < two["availability_met_confidence"] < 1.0
    assert "unverified" in one["source"]


def test_grades_have_their_own_objectives():
    table = objective_table(prepared(one="long haul", two="access"), BLOCKS).set_index("service")
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
    one = objective_table(prepared(), blocks).set_index("service").loc["one"]
    assert not one["availability_met"]
    assert one["availability_met_confidence"] < 0.01
    assert not one["severely_errored_met"]
    assert one["severely_errored_met_confidence"] < 0.01
