"""Degraded is not dark: time below the committed rate beside time without service.

ITU-T Y.1563 and G.826 from memory.
"""

import numpy as np
import pytest

from hopyears.models.judging.cause import Cause
from hopyears.sim.counting.tally_rows import BOTH, FORWARD, TRAFFIC, UNDELIVERED, three_ways, traffic_rows
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service import sweep_services
from hopyears.sim.services.service_data import ServiceDemand

DAY_S = 86_400.0
YEAR_S = 365.25 * DAY_S
RADIO, RAIN = int(Cause.OUTDOOR_RADIO), int(Cause.RAIN)


def judged(required_share, severe_share=0.3):
    """30 Mbit/s committed, 60 asked for: 19 days at 25.7, an hour at 50, an hour at 10, 0.4 s at nothing."""
    ends_s = np.cumsum([19 * DAY_S, 3600.0, 3600.0, 60.0, 0.4])
    time_s = np.array([0.0, *(100.0 + np.concatenate([[0.0], ends_s]))])
    capacity = np.array([60.0, 25.7, 50.0, 10.0, 60.0, 0.0, 60.0])
    causes = np.array([0, RADIO, RAIN, RAIN, 0, RADIO, 0])
    hop = HopHistory(time_s, np.arange(7, dtype=np.int32), np.stack([capacity] * 2, axis=1), causes)
    shares = {"required_share": required_share, "severe_share": severe_share}
    demand = ServiceDemand("s", 30.0, 60.0, 1, (((0, 0),),), **shares)
    return demand, sweep_services([hop], [demand], YEAR_S)[0]


def seconds(rows, columns, name, **keys):
    total = 0.0
    for key, value in rows[columns]:
        here = np.ones(len(key), bool)
        for column, wanted in keys.items():
            here &= key[:, columns.keys.index(column)] == wanted
        total += value[here, columns.values.index(name)].sum()
    return total


@pytest.mark.parametrize(("share", "dark_s"), [(0.5, 3600.0), (1.0, 19 * DAY_S + 3600.0)])
def test_a_contract_says_whether_below_committed_is_an_outage(share, dark_s):
    """The hour at 10 of 30 is dark either way: more than half of the frames are lost (Y.1563)."""
    demand, history = judged(share)
    lost = three_ways(history, YEAR_S)[BOTH]
    assert lost.unavailable_s == pytest.approx(dark_s, abs=2.0)
    rows = traffic_rows(0, demand, history)
    below_s = seconds(rows, TRAFFIC, "below_committed_s", direction=BOTH)
    assert below_s == pytest.approx(19 * DAY_S + 3600.0 - dark_s)
    by_radio = seconds(rows, UNDELIVERED, "below_committed_s", direction=FORWARD, causes=RADIO)
    assert by_radio == pytest.approx(below_s)


def test_how_much_of_a_second_makes_it_severe_goes_by_kind():
    """0.4 s of a second is severe for a circuit (30 % of blocks, G.826), not for frames (half, Y.1563)."""
    severe = [three_ways(judged(0.5, share)[1], YEAR_S)[BOTH].severely_errored_s for share in (0.3, 0.5)]
    assert severe == [1, 0]


def test_a_committed_rate_between_two_whole_kbit_is_had_in_full():
    """Rates come to the nearest kbit/s; what rounding takes is no shortfall."""
    hop = HopHistory(np.zeros(1), np.zeros(1, np.int32), np.full((1, 2), 60.0), np.zeros(1, np.int64))
    demand = ServiceDemand("s", 1.5444, 1.5444, 1, (((0, 0),),))
    rows = traffic_rows(0, demand, sweep_services([hop], [demand], 1000.0)[0])
    assert seconds(rows, TRAFFIC, "below_committed_s", direction=BOTH) == 0.0


def test_a_residue_of_rounding_is_no_traffic():
    """A service without a committed rate is down where it gets less than a bit a second."""
    capacity = np.full((1, 2), 1e-9)
    hop = HopHistory(np.zeros(1), np.zeros(1, np.int32), capacity, np.full(1, RADIO))
    demand = ServiceDemand("s", 0.0, 10.0, 1, (((0, 0),),))
    assert sweep_services([hop], [demand], 1000.0)[0].down.all()
