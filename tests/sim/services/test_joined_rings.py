"""Rings that meet in a site, and chains that end on another ring (sub-rings of ITU-T G.8032, from memory)."""

import json

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from slow_rings import slow_openings
from small_networks import hop, triangle

from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import Ring, Service, Site
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.inputs.input_errors import FaultList, InputError
from hopyears.sim.inputs.network_build import build_network
from hopyears.sim.services.route_choice import FAILED, GOOD
from hopyears.sim.services.service import sweep_services

N_SECONDS = 60
ONE, OTHER = ("ab", "bc", "cd", "da"), ("ce", "ef", "fg", "gc")
"""Two rings of four that meet in site c."""
CHAIN = ("bh", "hi", "id")
"""A chain over h and i between sites b and d of the first."""


def network(rings, **service):
    """The rings on a grid of sites some km apart."""
    names = "abcdefghi"
    sites = [
        Site(id=name, latitude_deg=45.0 + 0.05 * (n // 3), longitude_deg=11.0 + 0.07 * (n % 3))
        for n, name in enumerate(names)
    ]
    hops = [hop(each, each[0], each[1], 18.0) for each in (*ONE, *OTHER, *CHAIN)]
    own = {"id": "s", "site_a": "a", "site_b": "f", "committed_mbit_s": 20.0, "protection": "ring", **service}
    timers = {"guard_s": 0.0, "switching_time_s": 0.0, "commanded_switching_time_s": 0.0}
    return triangle(
        sites=tuple(sites),
        hops=tuple(hops),
        crews=(),
        services=(Service(**own),),
        rings=tuple(Ring(id=f"r{n}", hops=each, **timers) for n, each in enumerate(rings)),
    )


def demand_of(rings, **service):
    (demand,) = prepare(network(rings, **service), ModelOptions(rain=False, anchoring=False)).demands
    return demand


NAMES = (*ONE, *OTHER, *CHAIN)


def named(demand):
    return ["-".join(NAMES[link] for link, _ in route) for route in demand.routes]


def test_a_service_across_two_rings_has_both_ways_round_each():
    """Open at da and gc while all is well."""
    found = named(demand_of([ONE, OTHER]))
    assert found[0] == "ab-bc-ce-ef"
    assert sorted(found[1:]) == ["ab-bc-gc-fg", "da-cd-ce-ef", "da-cd-gc-fg"]


def test_a_service_from_a_chain_goes_over_its_ring():
    """From h on the chain to c: by b or by d, and round the ring from either."""
    found = named(demand_of([ONE, CHAIN], site_a="h", site_b="c"))
    assert found[0] == "bh-bc"
    assert sorted(found[1:]) == ["bh-ab-da-cd", "hi-id-cd", "hi-id-da-ab-bc"]


def test_a_service_within_one_ring_does_not_leave_it():
    assert len(demand_of([ONE, OTHER], site_b="c").rings) == 1


CASES = {
    "two rings": ([ONE, OTHER], "a", "f"),
    "chain to ring": ([ONE, CHAIN], "h", "c"),
    "within the chain": ([ONE, CHAIN], "h", "i"),
    "chain, ring and ring": ([ONE, OTHER, CHAIN], "i", "f"),
}


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES)
def test_traffic_flows_where_the_tree_of_open_rings_carries_it(case):
    """Each second: every ring open where a look at every second opens it, and the one way of that tree."""
    rings, start, end = CASES[case]
    demand = demand_of(rings, site_a=start, site_b=end)
    capacity, causes = np.array([[100.0, 100.0], [0.0, 0.0]]), np.array([0, int(Cause.RAIN)])

    @settings(deadline=None, max_examples=60)
    @given(
        st.lists(st.tuples(st.sampled_from(NAMES), st.integers(0, N_SECONDS), st.integers(1, 25)), max_size=7)
    )
    def check(failures):
        dead = np.zeros((N_SECONDS + 30 + 25, len(NAMES)), dtype=bool)
        for name, begin, length in failures:
            dead[begin : begin + length, NAMES.index(name)] = True
        dead = dead[:N_SECONDS]
        hops = []
        for column in dead.T:
            at = np.append(0, np.flatnonzero(np.diff(column.astype(int))) + 1)
            hops.append(HopHistory(at.astype(float), column[at].astype(np.int32), capacity, causes))
        (history,) = sweep_services(hops, [demand], float(N_SECONDS), record_rates=True)
        openings = [
            slow_openings(
                np.where(dead[:, [NAMES.index(each) for each in ring]], FAILED, GOOD),
                len(ring) - 1,
                0.0,
                0.0,
                300.0,
            )
            for ring in rings
        ]
        place = np.searchsorted(history.time_s, np.arange(N_SECONDS), side="right") - 1
        got = history.rate_mbit_s[history.result[place], 0] > 0
        for now in range(N_SECONDS):
            blocked = {ring[each[now]] for ring, each in zip(rings, openings, strict=True)}
            on_rings = {each for ring in rings for each in ring}
            whole = nx.Graph([tuple(name) for name in on_rings - blocked])
            assert nx.is_forest(whole)
            whole.remove_edges_from(
                [tuple(n) for n, bad in zip(NAMES, dead[now], strict=True) if bad and n in on_rings - blocked]
            )
            whole.add_nodes_from((start, end))
            assert got[now] == nx.has_path(whole, start, end)

    check()


@pytest.mark.parametrize(
    ("rings", "message"),
    [
        ([ONE, ("bh", "hi", "id", "cd", "bc")], '"cd" again; must be hops of one ring'),
        ([CHAIN], 'an open chain from "b" to "d"; must be a closed ring, or a chain between two sites'),
        ([ONE, ("ce", "ef", "fg", "gc"), ("bh", "hi")], 'an open chain from "b" to "i"'),
    ],
)
def test_rings_meet_so_that_one_blocked_hop_each_leaves_a_tree(rings, message):
    raw = json.loads(network([ONE]).model_dump_json(by_alias=True, exclude_none=True))
    raw["rings"] = [{"id": f"r{n}", "hops": list(hops)} for n, hops in enumerate(rings)]
    with pytest.raises(InputError, match=message):
        build_network(raw, "network.toml", {}, FaultList(), {})


@pytest.mark.parametrize(
    ("more", "ring", "message"),
    [
        (("bd",), ("bh", "hi", "id", "bd"), "two sites or more of other rings; must be a ring that meets"),
        (("he", "ei"), ("bh", "he", "ei", "id"), "another ring between its ends; must be a ring that meets"),
    ],
)
def test_rings_that_would_leave_a_loop_are_refused(more, ring, message):
    raw = json.loads(network([ONE, OTHER]).model_dump_json(by_alias=True, exclude_none=True))
    raw["hops"] += [{**raw["hops"][0], "id": each, "from": each[0], "to": each[1]} for each in more]
    raw["rings"].append({"id": "r2", "hops": list(ring)})
    with pytest.raises(InputError, match=message):
        build_network(raw, "network.toml", {}, FaultList(), {})
