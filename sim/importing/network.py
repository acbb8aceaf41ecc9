"""A network from tables: entries made, what no network takes left out and told, services to a hub added."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import cast

import networkx as nx

from hopyears.models.basics.faults import Fault
from hopyears.sim.importing.entries import Entries
from hopyears.sim.importing.hop_rows import rows_of_hops, together
from hopyears.sim.importing.made import Ids, Made
from hopyears.sim.importing.proposal import Source
from hopyears.sim.importing.row_reader import Findings, readers
from hopyears.sim.importing.service_rows import services_of_rows
from hopyears.sim.importing.site_rows import Sites, sites_of_ends, sites_of_rows
from hopyears.sim.inputs.input_errors import FaultList, InputError, shown
from hopyears.sim.inputs.network_build import build_network, entry_label

LISTS = ("radios", "antennas", "sites", "hops", "services")


@dataclass(frozen=True)
class Imported:
    """Entries of a network by list, and what there is to say of them."""

    made: dict[str, list[Made]]
    findings: Findings

    def plain(self) -> dict[str, list[dict[str, object]]]:
        """The network as plain data."""
        return {key: [entry.data for entry in entries] for key, entries in self.made.items()}


def network_of(source: Source, hubs: Iterable[str]) -> Imported:
    """Entries of a network that ``check`` accepts.

    Parameters
    ----------
    source : Source
        Tables with their mapping.
    hubs : iterable of str
        Ids or names of sites; every other site gets a service to each that it is joined to.

    Raises
    ------
    InputError
        If nothing is left of the tables, or a hub is no site.
    """
    findings = Findings()
    mapping = source.mapping
    uses = {key: getattr(mapping, key) for key in source.tables}
    hows = {key: getattr(mapping, f"{key}_table") for key in source.tables}
    reader = readers(source.tables, uses, hows, findings)
    sites = Sites(findings)
    if "sites" in reader:
        sites_of_rows(reader["sites"], sites)
    sites_of_ends(reader["hops"], sites)
    entries = Entries(sites, mapping.assumed, findings)
    rows = together(
        list(rows_of_hops(reader["hops"], sites, mapping.assumed)), reader["hops"], mapping.assumed
    )
    entries.add_all(rows)
    ids = Ids()
    made = {
        "radios": list(entries.radios.values()),
        "antennas": list(entries.antennas.values()),
        "sites": list(sites.made.values()),
        "hops": entries.hops,
        "services": [],
    }
    if "services" in reader:
        made["services"] += services_of_rows(reader["services"], sites, mapping.assumed, ids)
    if "antenna_height_a" not in mapping.hops:
        _assume_heights(made["sites"], mapping.assumed.antenna_height_m, findings)
    _leave_out_faulty(made, findings)
    if not made["hops"]:
        told = "\n".join(findings.unread[:20])
        file = source.tables["hops"].file
        raise InputError(
            f"{file}: hops is empty after reading; must be one hop that can be read\n{told}".strip()
        )
    made["services"] += _to_hubs(made, hubs, sites, source, ids)
    return Imported(made, findings)


def _assume_heights(sites: list[Made], height_m: float, findings: Findings) -> None:
    for site in sites:
        if "antenna_height_m" not in site.data:
            site.data["antenna_height_m"] = height_m
            findings.guess(f"antenna height is assumed, {height_m:g} m", site.origin)


def _leave_out_faulty(made: dict[str, list[Made]], findings: Findings) -> None:
    """Drop entries that the network file does not take, until the rest is a network, and tell each."""
    for _ in range(5):
        bad = dict(_faulty(made))
        if not bad:
            return
        for (key, entry_id), sentence in bad.items():
            entry = next(each for each in made[key] if each.data["id"] == entry_id)
            made[key].remove(entry)
            findings.unread.append(f"{entry.origin}: {sentence}; left out")


def _faulty(made: dict[str, list[Made]]) -> Iterator[tuple[tuple[str, str], str]]:
    """(list, id) of entries with a fault, and the fault."""
    labels = {
        entry_label(key, entry.data["id"], ""): (key, str(entry.data["id"]))
        for key in LISTS
        for entry in made[key]
    }
    plain = {key: [_without_name(entry.data) for entry in made[key]] for key in LISTS}
    faults = FaultList()
    try:
        build_network(plain, "", {}, faults, {})
    except InputError:
        for _, fault in faults.found:
            if isinstance(fault, Fault) and fault.entry in labels:
                yield labels[fault.entry], fault.sentence()


def _without_name(data: Mapping[str, object]) -> dict[str, object]:
    """Fields of an entry by which messages then name it by its id alone."""
    return {key: value for key, value in data.items() if key != "name"}


def _to_hubs(
    made: dict[str, list[Made]], hubs: Iterable[str], sites: Sites, source: Source, ids: Ids
) -> Iterator[Made]:
    """A service from every site to each hub that a chain of hops joins it to."""
    assumed = source.mapping.assumed
    graph: nx.Graph[str] = nx.MultiGraph()
    for hop in made["hops"]:
        graph.add_edge(hop.data["from"], hop.data["to"], key=hop.data["id"])
    for word in hubs:
        hub = word if word in sites.made else sites.find(word)
        if hub is None or hub not in graph:
            found = sorted(map(str, graph), key=lambda site: -graph.degree[site])[:3]
            raise InputError.one(f"--hub is {shown(word)}; must be a site with a hop, as {', '.join(found)}")
        bridged = _only_ways(graph)
        joined = nx.node_connected_component(graph, hub)
        for site in made["sites"]:
            site_id = str(site.data["id"])
            if site_id == hub or site_id not in joined:
                continue
            new = ids.new(f"{site_id}-to-{hub}"[:40].rstrip("-"), "service")
            called = (str(each.data.get("name", each.data["id"])) for each in (site, sites.made[hub]))
            data = {"id": new, "name": " to ".join(called)[:80], "from": site_id, "to": hub,
                    "committed_mbit_s": assumed.committed_mbit_s}  # fmt: skip
            if bridged.get(site_id) != bridged.get(hub, ""):
                data["protection"] = assumed.service_protection
            yield Made(data, "every site to its hub")


def _only_ways(graph: "nx.Graph[str]") -> dict[str, int]:
    """Number of the part, joined by hops without another way, in which each site lies."""
    pairs = nx.Graph(graph)
    tree: nx.Graph[str] = nx.Graph()
    tree.add_nodes_from(pairs)
    bridges = cast("Iterable[tuple[str, str]]", nx.bridges(pairs))
    tree.add_edges_from(pair for pair in bridges if graph.number_of_edges(*pair) == 1)
    return {site: number for number, part in enumerate(nx.connected_components(tree)) for site in part}
