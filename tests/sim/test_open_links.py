"""The main job on the 500 real links of experiments/verification/open_links."""

import importlib.util
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from hopyears.models.network.network_rules import hop_graph
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.inputs.network_file import NetworkSource, read_network
from hopyears.sim.runs.results import Results
from hopyears.sim.textbook.predict import predict_hops

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        any(importlib.util.find_spec(name) is None for name in ("pycomlink", "xarray", "netCDF4")),
        reason="the verify extra is not installed",
    ),
]

CONVERTER = Path(__file__).parents[2] / "experiments" / "verification" / "open_links" / "convert.py"
COMMAND = [sys.executable, "-c", "import sys; from hopyears.sim.commands import main; sys.exit(main())"]


def run(call: Sequence[str | Path]) -> str:
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("links")
    said = run([sys.executable, CONVERTER, folder])
    assert said.startswith("500 links: 500 hops, 0 skipped")
    return folder


@pytest.fixture(scope="module")
def source(folder: Path) -> NetworkSource:
    return read_network(folder / "network.toml")


@pytest.fixture(scope="module")
def converter() -> ModuleType:
    spec = importlib.util.spec_from_file_location("convert", CONVERTER)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_network_is_that_of_the_data(source: NetworkSource, converter: ModuleType) -> None:
    network = source.network
    links = {link.id: link for link in converter.read_links(converter.data_path())}
    assert len(links) == len(network.hops) == 500
    for hop in network.hops:
        link = links[hop.id]
        assert hop.frequency_ghz == pytest.approx(np.mean(link.frequency_ghz), abs=1e-6)
        assert hop.polarisation == link.polarisation
        for site_id, (latitude, longitude) in ((hop.site_a, link.end_a), (hop.site_b, link.end_b)):
            site = network.site(site_id)
            # A joined site is the mean of a chain of ends, each less than 100 m from the next.
            assert site.latitude_deg == pytest.approx(latitude, abs=0.003)
            assert site.longitude_deg == pytest.approx(longitude, abs=0.006)
    assert source.warnings == ()


def test_links_that_cannot_be_a_hop_are_left_out(converter: ModuleType) -> None:
    good = converter.Link("link-000", (50.0, 10.0), (50.1, 10.0), (18.0, 19.0), "V", 11.1)
    bad = [
        good._replace(end_b=good.end_a),
        good._replace(end_b=(50.00001, 10.0)),
        good._replace(end_b=(50.0, float("nan"))),
        good._replace(frequency_ghz=(18.0, float("nan"))),
        good._replace(polarisation=""),
    ]
    assert converter.usable([good, *bad]) == [good]


def test_ends_closer_than_a_hundred_metres_are_one_site(source: NetworkSource) -> None:
    sites = source.network.sites
    latitude = np.radians([site.latitude_deg for site in sites])
    longitude = np.radians([site.longitude_deg for site in sites])
    # On a sphere of 6371 km, fair to half a per cent: an independent second way to the distance.
    north = 6371.0 * (latitude[:, None] - latitude[None, :])
    east = 6371.0 * np.cos(latitude)[:, None] * (longitude[:, None] - longitude[None, :])
    apart = np.hypot(north, east) + np.diag(np.full(len(sites), np.inf))
    # Means of chains may come a little nearer to each other than ends may.
    assert apart.min() > 0.09


def test_services_cover_every_hop_outside_the_clusters(source: NetworkSource) -> None:
    network = source.network
    direct = {service.route[0] for service in network.services if service.route}
    clusters = [service for service in network.services if not service.route]
    hubs = {service.site_b for service in clusters}
    assert len(hubs) == 10
    covered = {hop.id for hop in network.hops if not ({hop.site_a, hop.site_b} & _reached(source, hubs))}
    assert direct == covered
    degree = dict(hop_graph(network).degree())
    assert all(degree[service.site_a] <= 2 for service in clusters)


def _reached(source: NetworkSource, hubs: set[str]) -> set[str]:
    """Sites that a walk from the hubs meets."""
    met, edge = set(hubs), set(hubs)
    while edge:
        edge = {
            there
            for hop in source.network.hops
            for here, there in ((hop.site_a, hop.site_b), (hop.site_b, hop.site_a))
            if here in edge and there not in met
        }
        met |= edge
    return met


def test_antennas_are_the_smallest_that_meet_the_plan(source: NetworkSource, converter: ModuleType) -> None:
    table = predict_hops(prepare(source.network, ModelOptions(anchoring=False, failures=False)))
    table = table[table["states"] == converter.PLANNED_STATES].set_index("hop")
    outage = table["rain_min_per_year"] + table["multipath_min_per_year"]
    largest = converter.antenna_id(converter.DIAMETERS_M[-1])
    met = [outage[hop.id] <= 0.0001 * 365.25 * 1440 for hop in source.network.hops if hop.antenna != largest]
    assert len(met) >= 490
    assert all(met)
    assert {hop.antenna for hop in source.network.hops} >= {"dish-03", "dish-06"}


def test_check_and_simulate(folder: Path, source: NetworkSource) -> None:
    network = folder / "network.toml"
    shown = run([*COMMAND, "check", network])
    assert "657 sites, 500 hops, 476 services" in shown
    out = folder / "run"
    run([*COMMAND, "simulate", network, "--years", "2", "--block-years", "1", "--workers", "2", "--out", out])
    results = Results.load(out)
    assert len(results.services) == len(source.network.services)
    assert len(results.hops) == 500
    minutes = results.services["unavailable_min_per_year"]
    assert minutes.between(0, 525_960).all()
    # Single hops of 1+0 with power, equipment and fading: hours a year each, neither none nor days.
    assert 60 < minutes.mean() < 1440
