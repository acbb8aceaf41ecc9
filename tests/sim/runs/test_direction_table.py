"""Figures of each direction, by hand and against the rest of a run."""

from types import SimpleNamespace

import numpy as np
import pytest
from figures_of_blocks import FiguresOfBlocks

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.result_tables import columns_of
from hopyears.sim.counting.tallies import Run, Tally
from hopyears.sim.counting.tally_rows import BOTH, TOTAL
from hopyears.sim.runs.direction_table import direction_table

PREPARED = SimpleNamespace(demands=(SimpleNamespace(id="one"), SimpleNamespace(id="two")))


def block(number, forward, backward, both):
    """A block of two years in which the first service lost this (unavailable, SES, ES, outages)."""
    rows = [
        [2 * SECONDS_PER_YEAR, lost, severe, errored, outages, lost]
        for lost, severe, errored, outages in (forward, backward, both)
    ]
    keys = np.array([[0, 0], [0, 1], [0, BOTH]])
    table = KeyedTable.collect(TOTAL, keys, np.array(rows))
    run = Run("run", 2, ("one", "two"), ())
    return Tally(run, (number,), {**Tally().tables, "service_total": table})


BLOCKS = [
    block(number, (600.0 + 100 * number, 6, 8, 2), (0.0, 2, 2, 0), (600.0 + 100 * number, 7, 9, 2))
    for number in range(3)
]


def test_each_direction_by_hand():
    table = direction_table(PREPARED, BLOCKS, FiguresOfBlocks(BLOCKS))
    assert [*table.columns] == columns_of("service_directions")
    assert table["direction"].tolist() == ["forward", "backward", "both"] * 2
    table = table.set_index(["service", "direction"])
    forward = table.loc[("one", "forward")]
    assert forward["unavailable_min_per_year"] == pytest.approx(350.0 / 60.0)
    assert forward["availability_ratio"] == pytest.approx(1.0 - 350.0 / SECONDS_PER_YEAR)
    assert forward["severely_errored_s_per_year"] == pytest.approx(3.0)
    assert forward["errored_s_per_year"] == pytest.approx(4.0)
    assert forward["severely_errored_ratio"] == pytest.approx(3.0 / (SECONDS_PER_YEAR - 350.0))
    assert forward["outages_per_year"] == pytest.approx(1.0)
    assert forward["mean_time_between_outages_h"] == pytest.approx(8766.0)
    assert forward["mean_time_to_restore_s"] == pytest.approx(350.0)
    assert table.loc[("one", "both"), "severely_errored_s_per_year"] == pytest.approx(3.5)


def test_the_time_between_outages_has_the_interval_of_their_number():
    blocks = [block(i, *[(60.0 * n, 0, 0, n)] * 3) for i, n in enumerate((3, 5, 4, 2, 6, 4, 3, 5, 4, 4, 6))]
    row = direction_table(PREPARED, blocks, FiguresOfBlocks(blocks)).iloc[0]
    for end, other in (("_low", "_high"), ("", ""), ("_high", "_low")):
        product = row[f"mean_time_between_outages_h{end}"] * row[f"outages_per_year{other}"]
        assert product == pytest.approx(8766.0)
    assert row["mean_time_between_outages_h_low"] < row["mean_time_between_outages_h"]


def test_a_direction_that_never_failed_has_a_bound():
    row = (
        direction_table(PREPARED, BLOCKS, FiguresOfBlocks(BLOCKS))
        .set_index(["service", "direction"])
        .loc[("one", "backward")]
    )
    assert row["availability_ratio"] == 1.0
    assert np.isinf(row["mean_time_between_outages_h"])
    assert np.isinf(row["mean_time_between_outages_h_high"])
    # At most 3.7 outages in six years, at 95 %: at least 1.6 years apart.
    assert 8766.0 < row["mean_time_between_outages_h_low"] < 3 * 8766.0
    assert np.isnan(row["mean_time_to_restore_s"])
    assert row["unavailable_min_per_year_high"] > 0.0
