"""Hops side by side in a bundle share their load: traffic goes on at less while one of them is down."""

import pytest
from small_networks import hop, source_of, triangle

from hopyears.models.network.network import Service
from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.runs.results import Results
from hopyears.sim.runs.simulate import RunRequest, simulate

FAILURES_ONLY = ModelOptions(rain=False, multipath=False)


def worst_capacity(tmp_path, bundle):
    """Results of two 7 GHz hops side by side, bundled or not, with a service that one of them can carry."""
    pair = tuple(hop(name, "a", "b", 7.0, antenna="large", bundle=bundle) for name in ("p", "q"))
    services = (Service(id="s", site_a="a", site_b="b", committed_mbit_s=20.0, peak_mbit_s=400.0),)
    network = triangle(hops=(*pair, hop("a-c", "a", "c", 23.0)), services=services)
    folder = tmp_path / (bundle or "apart")
    request = RunRequest(years=60, seed=2, block_years=20, options=FAILURES_ONLY)
    simulate(source_of(network), request, folder)
    return Results.load(folder).services.iloc[0]


def test_a_bundle_carries_more_and_outlives_one_of_its_hops(tmp_path):
    together, apart = worst_capacity(tmp_path, "ab"), worst_capacity(tmp_path, None)
    assert together["mean_throughput_mbit_s"] == pytest.approx(400.0, rel=0.01)
    assert apart["mean_throughput_mbit_s"] == pytest.approx(220.0, rel=0.01)
    assert together["unavailable_min_per_year"] < apart["unavailable_min_per_year"]
