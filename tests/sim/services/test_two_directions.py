"""Services that ask for other rates backward than forward."""

import json

import numpy as np
import pytest
from small_networks import triangle

from hopyears.models.network.network import Service
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.tally_rows import BOTH, TRAFFIC, UNDELIVERED, traffic_rows
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.inputs.input_errors import FaultList, InputError
from hopyears.sim.inputs.network_build import build_network
from hopyears.sim.services.service import ServiceDemand, sweep_services
from hopyears.sim.services.service_data import BACKWARD, FORWARD
from hopyears.sim.services.service_frame import frame_of

DAY_S = 86_400.0


def hop(forward_mbit_s, backward_mbit_s):
    capacity = np.array([[forward_mbit_s, backward_mbit_s]], dtype=np.float64)
    return HopHistory(np.zeros(1), np.zeros(1, np.int32), capacity, np.zeros(1, np.int64))


def value(rows, columns, name, direction):
    return sum(
        values[keys[:, columns.keys.index("direction")] == direction, columns.values.index(name)].sum()
        for keys, values in rows[columns]
    )


def test_each_direction_is_judged_by_its_own_rates():
    """90 down and 10 up fit a link of 100 and 20; turned round they do not."""
    for turned, short in ((0, ()), (1, (FORWARD,))):
        demand = ServiceDemand("s", 60.0, 90.0, 1, (((0, turned),),), backward_mbit_s=(5.0, 10.0))
        (history,) = sweep_services([hop(100.0, 20.0)], [demand], DAY_S)
        rows = traffic_rows(0, demand, history)
        lacking = [value(rows, UNDELIVERED, "undelivered_mbit", way) for way in (FORWARD, BACKWARD)]
        assert lacking == [70.0 * DAY_S if way in short else 0.0 for way in (FORWARD, BACKWARD)]
        assert history.down.any(axis=0).tolist() == [way in short for way in (FORWARD, BACKWARD)]
        assert value(rows, TRAFFIC, "delivered_mbit", BOTH) == 10.0 * DAY_S


def test_two_services_the_other_way_round_share_what_each_leaves():
    """Down 80 of 100 each: one runs forward, one backward, so both fit; side by side they do not."""
    one = ServiceDemand("one", 80.0, 80.0, 1, (((0, 0),),), backward_mbit_s=(20.0, 20.0))
    other = ServiceDemand("other", 80.0, 80.0, 1, (((0, 1),),), backward_mbit_s=(20.0, 20.0))
    for history in sweep_services([hop(100.0, 100.0)], [one, other], DAY_S):
        assert not history.causes.any()
    beside = sweep_services([hop(100.0, 100.0)], [one, one], DAY_S)
    assert all(history.rate_mbit_s[history.result[0]].tolist() == [50.0, 20.0] for history in beside)


def test_a_link_is_asked_for_each_direction():
    demand = ServiceDemand("s", 60.0, 90.0, 1, (((0, 0),), ((1, 1),)), backward_mbit_s=(5.0, 10.0))
    assert frame_of([demand], [(0,), (1,)], 2).enough_mbit_s.tolist() == [[90.0, 10.0], [10.0, 90.0]]


@pytest.mark.parametrize(
    ("fields", "backward"),
    [
        ({}, None),
        ({"committed_backward_mbit_s": 10.0}, (10.0, 10.0)),
        ({"committed_backward_mbit_s": 10.0, "peak_backward_mbit_s": 25.0}, (10.0, 25.0)),
        ({"peak_backward_mbit_s": 70.0}, (50.0, 70.0)),
        ({"committed_backward_mbit_s": 50.0, "peak_backward_mbit_s": 120.0}, None),
    ],
)
def test_what_is_not_stated_backward_is_as_forward(fields, backward):
    own = Service(id="s", site_a="a", site_b="b", committed_mbit_s=50.0, peak_mbit_s=120.0, **fields)
    (demand,) = prepare(triangle(services=(own,)), ModelOptions(rain=False, anchoring=False)).demands
    assert demand.backward_mbit_s == backward


def test_a_peak_backward_below_its_committed_rate_is_refused():
    raw = json.loads(triangle().model_dump_json(by_alias=True, exclude_none=True))
    raw["services"][0]["peak_backward_mbit_s"] = 20.0
    with pytest.raises(InputError, match="peak_backward_mbit_s is 20; must be at least committed_mbit_s, 30"):
        build_network(raw, "network.toml", {}, FaultList(), {})
