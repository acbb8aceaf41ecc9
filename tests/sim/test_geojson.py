"""GeoJSON out and in again; the rules of RFC 7946 that are easily broken."""

import json
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from network_text import small, write
from synthetic_results import SERVICES, made_up_results

from hopyears.sim.commands import main
from hopyears.sim.inputs.network_file import read_network
from hopyears.sim.wording.geojson_out import collection
from hopyears.sim.wording.names import for_readers, id_of, labels_of, relabelled, with_id


def test_out_and_in_again_is_the_same_network(tmp_path: Path) -> None:
    data = small()
    data["sites"][0]["name"] = "On the Hill"
    data["sites"][1]["ground_height_m"] = 120.0
    path = write(tmp_path, data)
    assert main(["geojson", str(path), "--out", str(tmp_path / "places.geojson")]) == 0
    words = ["--hops", str(tmp_path / "places.geojson"), "--out", str(tmp_path / "again.toml")]
    assert main(["import", *words]) == 0
    before, after = read_network(path).network, read_network(tmp_path / "again.toml").network
    assert [(s.id, s.name, s.ground_height_m) for s in after.sites] == [
        (s.id, s.name, s.ground_height_m) for s in before.sites
    ]
    for one, other in zip(before.hops, after.hops, strict=True):
        assert (other.id, other.site_a, other.site_b) == (one.id, one.site_a, one.site_b)
        assert (other.frequency_ghz, other.scheme) == (one.frequency_ghz, one.scheme)
        assert after.antenna(other.antenna).diameter_m == before.antenna(one.antenna).diameter_m


def test_longitude_comes_first_and_services_are_lines(tmp_path: Path) -> None:
    """RFC 7946, 3.1.1."""
    found = collection(read_network(write(tmp_path, small())).network)
    kinds = [feature["properties"]["kind"] for feature in found["features"]]
    assert kinds == ["site"] * 4 + ["hop"] * 3 + ["service"]
    assert found["features"][0]["geometry"] == {"type": "Point", "coordinates": [10.0, 50.0, 0.0]}
    assert found["features"][-1]["geometry"]["type"] == "LineString"


@pytest.mark.parametrize(("east", "west"), [(179.9, -179.9), (-179.9, 179.9)])
def test_a_hop_over_the_date_line_is_cut(east: float, west: float, tmp_path: Path) -> None:
    """RFC 7946, 3.1.9: a line over the 180th meridian is in two parts, neither over it."""
    data = small()
    data["sites"][0] |= {"latitude_deg": 50.0, "longitude_deg": east}
    data["sites"][1] |= {"latitude_deg": 50.2, "longitude_deg": west}
    data["hops"] = data["hops"][:1]
    data["services"] = []
    data["sites"] = data["sites"][:2]
    data["maintenance"] = []
    line = collection(read_network(write(tmp_path, data)).network)["features"][2]["geometry"]
    assert line["type"] == "MultiLineString"
    first, second = line["coordinates"]
    assert first == [[east, 50.0], [180.0 if east > 0 else -180.0, pytest.approx(50.1)]]
    assert second == [[-180.0 if east > 0 else 180.0, pytest.approx(50.1)], [west, 50.2]]


def test_figures_of_a_run_are_properties_and_no_figure_is_null(tmp_path: Path) -> None:
    network = read_network(write(tmp_path, small())).network
    tables = {
        "sites": pd.DataFrame({"site": ["hill"], "failures_per_year": [0.25]}),
        "hops": pd.DataFrame({"hop": ["hill-mill"], "textbook_min_per_year": [float("nan")]}),
        "services": pd.DataFrame({"service": ["s1"], "unavailable_min_per_year": [12.5]}),
    }
    found = collection(network, tables)
    by_id = {(f["properties"]["kind"], f["id"]): f["properties"] for f in found["features"]}
    assert by_id["site", "hill"]["failures_per_year"] == 0.25
    assert by_id["hop", "hill-mill"]["textbook_min_per_year"] is None
    assert by_id["service", "s1"]["unavailable_min_per_year"] == 12.5
    assert "failures_per_year" not in by_id["site", "mill"]
    assert "null" in json.dumps(found, allow_nan=False)


def test_readers_see_names_and_tables_keep_ids() -> None:
    network = {
        "hops": [
            {"id": "h1", "name": "Hill to Mill"},
            {"id": "h2", "name": "twin"},
            {"id": "h3", "name": "twin"},
        ],
        "services": [{"id": "a", "name": "b"}, {"id": "b", "name": None}],
        "sites": [{"id": "s"}],
    }
    labels = labels_of(network)
    assert labels["hops"] == {"h1": "Hill to Mill", "h2": "twin (h2)", "h3": "twin (h3)"}
    assert labels["services"] == {"a": "b (a)", "b": "b (b)"}
    table = pd.DataFrame({"hop": ["h1", "h9"], "from": ["s", "s"]})
    assert relabelled(table, labels)["hop"].tolist() == ["Hill to Mill", "h9"]
    assert table["hop"].tolist() == ["h1", "h9"]
    assert id_of("Hill to Mill", labels["hops"]) == id_of("h1", labels["hops"]) == "h1"
    assert with_id("hop=Hill to Mill", labels) == "hop=h1"
    assert with_id("scheme=1+0", labels) == "scheme=1+0"
    results = replace(made_up_results(), network={"services": [{"id": SERVICES[0][0], "name": "The first"}]})
    read = for_readers(results)
    assert "The first" in read.services["service"].tolist()
    assert "The first" in read.tables["service_causes"]["service"].tolist()
    assert "The first" not in results.services["service"].tolist()
