"""Tables of undelivered megabits: sums by hand, by cause and by priority, and against the rest of a run."""

from types import SimpleNamespace

import numpy as np
import pytest
from small_networks import source_of, triangle

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.judging.cause import Cause
from hopyears.sim.counting.tallies import Run, add_tallies, tally_block
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.runs.results import Results
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.runs.summary_traffic import priority_table, undelivered_table
from hopyears.sim.services.service import ServiceDemand, sweep_services

RUN = Run("digest", 1, ("first", "second", "third"), ("hop",))
DEMANDS = (
    ServiceDemand("first", 20.0, 60.0, 1, (((0, 0),),)),
    ServiceDemand("second", 20.0, 40.0, 1, (((0, 0),),)),
    ServiceDemand("third", 50.0, 50.0, 3, (((0, 0),),)),
)
PREPARED = SimpleNamespace(demands=DEMANDS)


def block(number, low_s, down_s):
    """A hop of 150 Mbit/s, with 100 in rain for a while, and none without power for another."""
    hop = HopHistory(
        np.array([0.0, 1000.0, 1000.0 + low_s, 50_000.0, 50_000.0 + down_s]),
        np.array([0, 1, 0, 2, 0], dtype=np.int32),
        np.array([[150.0, 100.0, 0.0]] * 2).T,
        np.array([0, int(Cause.RAIN), int(Cause.POWER)]),
    )
    histories = sweep_services([hop], DEMANDS, SECONDS_PER_YEAR)
    return tally_block(RUN, number, services=DEMANDS, histories=histories, hops=[hop])


BLOCKS = [block(0, 600.0, 100.0), block(1, 1200.0, 300.0)]


def test_megabits_by_service_and_cause():
    table = undelivered_table(add_tallies(BLOCKS)).set_index(["service", "direction", "cause"])
    # In rain 100 Mbit/s give all their committed 20, 20 and 50, and the first two 5 more each.
    rain = table.loc["first", "forward", "rain"]
    assert rain["undelivered_mbit_per_year"] == pytest.approx(35.0 * 900.0)
    assert rain["undelivered_committed_mbit_per_year"] == 0.0
    assert rain["hours_per_year"] == pytest.approx(900.0 / 3600.0)
    assert table.loc[("second", "backward", "rain"), "undelivered_mbit_per_year"] == pytest.approx(15.0 * 900)
    assert ("third", "forward", "rain") not in table.index
    power = table.loc["first", "backward", "power"]
    assert power["undelivered_mbit_per_year"] == pytest.approx(60.0 * 200.0)
    assert power["undelivered_committed_mbit_per_year"] == pytest.approx(20.0 * 200.0)
    assert table.groupby(["service", "direction"])["share"].sum().to_numpy() == pytest.approx(1.0)


def test_megabits_by_priority_and_cause():
    table = priority_table(PREPARED, BLOCKS).set_index(["priority", "cause"])
    assert table.loc[(1, "power"), "undelivered_mbit_per_year"] == pytest.approx(2 * 100.0 * 200.0)
    assert table.loc[(1, "rain"), "undelivered_mbit_per_year"] == pytest.approx(2 * 50.0 * 900.0)
    assert (3, "rain") not in table.index
    assert table.loc[(3, "all"), "undelivered_mbit_per_year"] == pytest.approx(2 * 50.0 * 200.0)
    for level in (1, 3):
        own = table.loc[level]
        assert own["undelivered_mbit_per_year"].drop("all").sum() == pytest.approx(
            own.loc["all", "undelivered_mbit_per_year"]
        )
        assert own.index[0] == "all"
    assert table.loc[(3, "all"), "share"] == pytest.approx(200.0 / SECONDS_PER_YEAR)
    # Rain takes nothing of the committed rates of priority 1, power all of them.
    committed = table["undelivered_committed_mbit_per_year"]
    assert committed[(1, "rain")] == 0.0
    assert committed[(1, "power")] == committed[(1, "all")] == pytest.approx(2 * 40.0 * 200.0)
    assert table.loc[(1, "all"), "committed_share"] == pytest.approx(200.0 / SECONDS_PER_YEAR)
    low, best, high = (
        table.loc[(3, "all"), f"undelivered_mbit_per_year{end}"] for end in ("_low", "", "_high")
    )
    assert low < best < high


def test_nothing_lost_is_a_bound():
    table = priority_table(PREPARED, [block(0, 0.0, 0.0), block(1, 0.0, 0.0)])
    assert table["cause"].tolist() == ["all", "all"]
    assert (table["undelivered_mbit_per_year"] == 0.0).all()
    assert (table["undelivered_mbit_per_year_high"] > 0.0).all()


def test_what_is_not_delivered_is_what_is_asked_less_what_is(tmp_path):
    simulate(source_of(triangle()), RunRequest(years=4, seed=2, block_years=2), tmp_path / "run")
    results = Results.load(tmp_path / "run")
    lost = results.tables["service_undelivered"].groupby(["service", "direction"])
    lost = lost["undelivered_mbit_per_year"].sum()
    for _, service in results.services.iterrows():
        worse = max(lost.get((service["service"], direction), 0.0) for direction in ("forward", "backward"))
        delivered = service["mean_throughput_mbit_s"] * SECONDS_PER_YEAR
        assert delivered + worse == pytest.approx(service["peak_mbit_s"] * SECONDS_PER_YEAR, rel=1e-9)
    by_priority = results.tables["priority_undelivered"]
    total = by_priority.loc[by_priority["cause"] == "all", "undelivered_mbit_per_year"].sum()
    assert total == pytest.approx(lost.sum())
