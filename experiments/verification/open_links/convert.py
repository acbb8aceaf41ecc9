"""Turns the 500 real links that ship with the package pycomlink into a network file for hopyears.

    python experiments/verification/open_links/convert.py OUTDIR

writes network.toml, sites.csv, hops.csv and services.csv. Known of each link: where its ends stand
(obscured by those who published it), its frequencies and its polarisation. Everything else is a stated
default; README.md beside this file lists them.
"""

import argparse
import csv
import importlib.util
import sys
from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import networkx as nx
import numpy as np

from hopyears.models.basics.geometry import path_length_km
from hopyears.models.network.network import MINIMUM_PATH_LENGTH_KM, Network
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.inputs.network_file import read_network
from hopyears.sim.textbook.predict import predict_hops

DATA_FILE = "io/example_data/example_cml_data.nc"
JOINED_BELOW_KM = 0.1
N_CLUSTERS = 10

CHANNEL_WIDTH_MHZ = 28
ANTENNA_HEIGHT_M = 30
BANDS = {  # up to GHz: name, transmit power [dBm], noise figure [dB] (common practice, no source)
    8: ("r7", 29, 5),
    14: ("r13", 25, 5.5),
    16: ("r15", 24, 6),
    20: ("r18", 22, 6),
    24: ("r23", 20, 6.5),
    28: ("r26", 19, 7),
    34: ("r32", 18, 7),
    42: ("r38", 17, 7.5),
}
BACKOFF_DB = {4: 0, 16: 2, 64: 3, 256: 4, 1024: 5}
DIAMETERS_M = (0.3, 0.6, 0.9, 1.2, 1.8)
PLANNED_STATES = 64
PLANNED_OUTAGE_MIN_PER_YEAR = 0.0001 * 365.25 * 24 * 60
CLUSTER_RATE_MBIT_S = (20, 60)
SINGLE_RATE_MBIT_S = (50, 100)


class Link(NamedTuple):
    """A link as the data set has it: ends [degrees], carriers of both ways [GHz], length stated [km]."""

    id: str
    end_a: tuple[float, float]
    end_b: tuple[float, float]
    frequency_ghz: tuple[float, float]
    polarisation: str
    length_km: float


def data_path() -> Path:
    """The data file of the installed package, found without importing it."""
    found = importlib.util.find_spec("pycomlink")
    if found is None or not found.submodule_search_locations:
        raise SystemExit(
            "convert.py: package pycomlink is missing; must be installed: pip install 'hopyears[verify]'"
        )
    return Path(found.submodule_search_locations[0]) / DATA_FILE


def read_links(path: Path) -> list[Link]:
    """All links of the data set, with what is known of each."""
    import xarray

    names = ("site_a_latitude", "site_a_longitude", "site_b_latitude", "site_b_longitude")
    with xarray.open_dataset(path) as data:
        ends = np.stack([data[name].values for name in names], axis=1)
        carriers = data["frequency"].transpose("cml_id", "channel_id").values / 1e9
        polarisation = data["polarization"].transpose("cml_id", "channel_id").values[:, 0]
        links = zip(
            data["cml_id"].values.tolist(), ends, carriers, polarisation, data["length"].values, strict=True
        )
        return [
            Link(
                id=f"link-{int(name):03d}",
                end_a=(float(place[0]), float(place[1])),
                end_b=(float(place[2]), float(place[3])),
                frequency_ghz=(float(carrier[0]), float(carrier[1])),
                polarisation=str(tilt),
                length_km=float(length),
            )
            for name, place, carrier, tilt, length in links
        ]


def usable(links: Sequence[Link]) -> list[Link]:
    """Links that can be a hop: known places, frequencies and polarisation, and ends apart."""
    ends = np.array([(*link.end_a, *link.end_b) for link in links])
    length = path_length_km(ends[:, 0], ends[:, 1], ends[:, 2], ends[:, 3])
    return [
        link
        for link, apart in zip(links, length, strict=True)
        if apart >= MINIMUM_PATH_LENGTH_KM
        and np.isfinite([*link.end_a, *link.end_b, *link.frequency_ghz]).all()
        and link.polarisation in ("H", "V")
    ]


def joined_sites(links: Sequence[Link]) -> tuple[list[tuple[float, float]], list[tuple[int, int]]]:
    """Sites in the order of the links, each the mean of the ends it joins, and the two sites of each link.

    Ends closer to each other than ``JOINED_BELOW_KM`` are one site, and so are chains of such ends.
    """
    places = np.array([end for link in links for end in (link.end_a, link.end_b)])
    latitude, longitude = places.T
    near: nx.Graph[int] = nx.Graph()
    near.add_nodes_from(range(len(places)))
    for end in range(len(places)):
        apart = path_length_km(latitude[end], longitude[end], latitude[end + 1 :], longitude[end + 1 :])
        near.add_edges_from((end, end + 1 + int(other)) for other in np.flatnonzero(apart < JOINED_BELOW_KM))
    groups = sorted((sorted(group) for group in nx.connected_components(near)), key=lambda group: group[0])
    site_of = {end: number for number, group in enumerate(groups) for end in group}
    sites = [(float(a), float(b)) for a, b in (places[group].mean(axis=0) for group in groups)]
    return sites, [(site_of[2 * i], site_of[2 * i + 1]) for i in range(len(links))]


def site_id(number: int) -> str:
    """Name of a site by its number."""
    return f"site-{number:03d}"


def hop_rows(links: Sequence[Link], ends: Sequence[tuple[int, int]]) -> list[dict[str, Any]]:
    """One row of hops.csv per link, each with the smallest antenna to begin with."""
    return [
        {
            "id": link.id,
            "from": site_id(a),
            "to": site_id(b),
            "frequency_ghz": round(sum(link.frequency_ghz) / 2, 6),
            "duplex_spacing_mhz": round(abs(link.frequency_ghz[1] - link.frequency_ghz[0]) * 1e3, 3),
            "channel_width_mhz": CHANNEL_WIDTH_MHZ,
            "polarisation": link.polarisation,
            "radio": band_radio(link.frequency_ghz[0]),
            "antenna": antenna_id(DIAMETERS_M[0]),
            "scheme": "1+0",
        }
        for link, (a, b) in zip(links, ends, strict=True)
    ]


def band_radio(frequency_ghz: float) -> str:
    """Radio of the band in which a carrier lies."""
    return next(name for top, (name, _, _) in BANDS.items() if frequency_ghz < top)


def services_of(hops: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Services from the outer ends of the largest clusters to their hubs; one over each other hop.

    The hub of a cluster is its site with most hops (of these, the one most routes cross).
    """
    graph: nx.Graph[str] = nx.Graph()
    for hop in hops:
        graph.add_edge(hop["from"], hop["to"])
    clusters = [graph.subgraph(part) for part in nx.connected_components(graph)]
    clusters.sort(key=lambda part: (-part.number_of_nodes(), min(part)))
    rows = []
    for cluster in clusters[:N_CLUSTERS]:
        crossed = nx.betweenness_centrality(cluster)
        hub = max(sorted(cluster), key=lambda site: (cluster.degree(site), crossed[site]))
        outer = [site for site in sorted(cluster) if cluster.degree(site) == 1 and site != hub]
        rows += [_service(f"{site}_{hub}", site, hub, CLUSTER_RATE_MBIT_S) for site in outer]
    served = {site for cluster in clusters[:N_CLUSTERS] for site in cluster}
    single = [hop for hop in hops if hop["from"] not in served]
    return rows + [
        _service(hop["id"], hop["from"], hop["to"], SINGLE_RATE_MBIT_S, hop["id"]) for hop in single
    ]


def _service(name: str, start: str, end: str, rate: tuple[int, int], route: str = "") -> dict[str, Any]:
    committed, peak = rate
    return {
        "id": name,
        "from": start,
        "to": end,
        "committed_mbit_s": committed,
        "peak_mbit_s": peak,
        "route": route,
    }


def network_text() -> str:
    """The TOML file: what all hops share."""
    lines = [
        "# Made by convert.py from the open link data of pycomlink 0.6.0; the places are obscured there.",
        "# Radios, antennas, schemes, heights, rates and channel widths are assumed: see README.md.",
        'title = "500 real links, obscured places, assumed equipment"',
        'site_table = "sites.csv"',
        'hop_table = "hops.csv"',
        'service_table = "services.csv"',
    ]
    steps = ", ".join(f"{{states = {n}, transmit_backoff_db = {loss}}}" for n, loss in BACKOFF_DB.items())
    for name, power_dbm, noise_db in BANDS.values():
        lines += ["", "[[radios]]", f'id = "{name}"', f"transmit_power_dbm = {power_dbm}"]
        lines += [f"noise_figure_db = {noise_db}", f"modulations = [{steps}]"]
    for diameter_m in DIAMETERS_M:
        lines += ["", "[[antennas]]", f'id = "{antenna_id(diameter_m)}"', f"diameter_m = {diameter_m}"]
    return "\n".join(lines) + "\n"


def antenna_id(diameter_m: float) -> str:
    """Name of an antenna by its diameter."""
    return f"dish-{round(diameter_m * 10):02d}"


def write_rows(path: Path, rows: Iterable[dict[str, Any]]) -> None:
    """A CSV file of rows that all have the same columns."""
    rows = list(rows)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def planned_outage_met(network: Network) -> list[bool]:
    """Whether P.530's rain and multipath outage of each hop is short enough at the planned modulation."""
    table = predict_hops(prepare(network, ModelOptions(anchoring=False, failures=False)))
    table = table[table["states"] == PLANNED_STATES].set_index("hop")
    outage = table["rain_min_per_year"] + table["multipath_min_per_year"]
    return [bool(outage[hop.id] <= PLANNED_OUTAGE_MIN_PER_YEAR) for hop in network.hops]


def chosen_antennas(network: Network) -> dict[str, str]:
    """By hop id, the smallest antenna with which P.530 meets the planned outage, or the largest there is."""
    chosen: dict[str, str] = {}
    left = network.hops
    for diameter_m in DIAMETERS_M:
        tried = tuple(hop.model_copy(update={"antenna": antenna_id(diameter_m)}) for hop in left)
        met = planned_outage_met(network.model_copy(update={"hops": tried, "services": ()}))
        last = diameter_m == DIAMETERS_M[-1]
        chosen |= {hop.id: hop.antenna for hop, enough in zip(tried, met, strict=True) if enough or last}
        left = tuple(hop for hop in left if hop.id not in chosen)
        if not left:
            break
    return chosen


def convert(folder: Path) -> None:
    """Write the network and print what became of the links."""
    links = read_links(data_path())
    kept = usable(links)
    sites, ends = joined_sites(kept)
    # Ends that were joined over several others may have drawn a short link together.
    hops = [row for row, (a, b) in zip(hop_rows(kept, ends), ends, strict=True) if a != b]
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "network.toml").write_text(network_text(), encoding="utf-8")
    used = {row[end] for row in hops for end in ("from", "to")}
    write_rows(
        folder / "sites.csv",
        (
            {
                "id": site_id(i),
                "latitude_deg": round(latitude, 6),
                "longitude_deg": round(longitude, 6),
                "antenna_height_m": ANTENNA_HEIGHT_M,
            }
            for i, (latitude, longitude) in enumerate(sites)
            if site_id(i) in used
        ),
    )
    services = services_of(hops)
    write_rows(folder / "services.csv", services)
    write_rows(folder / "hops.csv", hops)
    antennas = chosen_antennas(read_network(folder / "network.toml").network)
    write_rows(folder / "hops.csv", [{**hop, "antenna": antennas[hop["id"]]} for hop in hops])
    print(f"{len(links)} links: {len(hops)} hops, {len(links) - len(hops)} skipped (no hop: ends together)")
    print(f"{len(used)} sites, ends closer than {JOINED_BELOW_KM * 1000:g} m joined")
    singles = sum(1 for service in services if service["route"])
    print(
        f"{len(services) - singles} services in the {N_CLUSTERS} largest clusters, {singles} over single hops"
    )
    counts = Counter(antennas.values())
    print("antennas: " + ", ".join(f"{counts[name]} {name}" for name in sorted(counts)))
    print(folder / "network.toml")


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", metavar="OUTDIR", type=Path, help="folder for the network, made if missing")
    convert(parser.parse_args(arguments).folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
