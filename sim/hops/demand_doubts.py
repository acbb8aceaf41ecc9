"""Services that ask for more than any way through the network carries, even in clear air."""

from collections import Counter
from collections.abc import Iterator, Sequence

import networkx as nx

from hopyears.models.basics.faults import Doubt
from hopyears.models.network.network import Network
from hopyears.models.network.network_references import named
from hopyears.sim.hops.hop_design import HopDesign


def demands_above_capacity(network: Network, designs: Sequence[HopDesign]) -> Iterator[Doubt]:
    """Services whose committed rate is above the narrowest link of the widest way between their ends.

    Hops of one bundle carry together. The widest ways from everywhere run along one spanning tree (Hu, The
    maximum capacity route problem, Operations Research 9, 1961).
    """
    together: Counter[tuple[str, str, str]] = Counter()
    for design in designs:
        hop = design.hop
        first, second = sorted((hop.site_a, hop.site_b))
        together[first, second, hop.bundle or f"hop {hop.id}"] += design.clear_capacity_mbit_s  # type: ignore[assignment]
    widest: nx.Graph[str] = nx.Graph()
    for (first, second, _), capacity in together.items():
        known = widest.edges[first, second]["capacity"] if widest.has_edge(first, second) else 0.0
        widest.add_edge(first, second, capacity=max(capacity, known))
    tree = nx.maximum_spanning_tree(widest, weight="capacity")
    least_from: dict[str, dict[str, float]] = {}
    for service in network.services:
        if service.site_a not in least_from:
            least_from[service.site_a] = _narrowest(tree, service.site_a)
        most = least_from[service.site_a].get(service.site_b, 0.0)
        committed = max(service.committed_ways_mbit_s)
        if committed > most:
            law = "the committed rate is above what any way between the ends carries in clear air"
            text = f"committed_mbit_s is {committed:g}, where the widest way carries {most:.4g}"
            yield Doubt(named("service", service.id), text, law)


def _narrowest(tree: "nx.Graph[str]", start: str) -> dict[str, float]:
    """Least capacity on the way from a site to every other of a tree [Mbit/s]."""
    found = {start: float("inf")}
    for here, there in nx.bfs_edges(tree, start):
        found[there] = min(found[here], tree.edges[here, there]["capacity"])
    return found
