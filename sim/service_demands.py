"""What each service asks of the hops: its routes as chains of links, its rates, its switching."""

from collections.abc import Mapping, Sequence
from itertools import islice, pairwise

import networkx as nx

from models.network import Network, Service
from sim.hop_design import HopDesign
from sim.plant_builder import BuiltPlant
from sim.service_data import BACKWARD, FORWARD, Route, ServiceDemand

REROUTED_CANDIDATES = 6
"""Routes that free rerouting may choose from, shortest first."""

SWITCHING_S = {"none": 0.0, "protected": 0.05, "rerouted": 5.0}
"""Default time without traffic at a change of route [s]: ITU-T G.8031 and G.8032 aim below 50 ms;
restoration by routing takes 1 to 60 s (common practice, no source)."""


def service_demands(
    network: Network, designs: Sequence[HopDesign], built: BuiltPlant
) -> tuple[tuple[ServiceDemand, ...], tuple[int, ...]]:
    """Demands of all services, and the parts behind the links after the hops.

    Returns
    -------
    demands : tuple of ServiceDemand
        Links 0 to n_hops - 1 are the network's hops; later ones are line cards, at the ends of the
        services that they carry.
    line_cards : tuple of int
        Plant part of each such later link.
    """
    graph = _graph(designs)
    cards = sorted(set(built.line_cards.values()))
    link_of_card = {part: len(designs) + i for i, part in enumerate(cards)}
    demands = tuple(_demand(service, graph, designs, built, link_of_card) for service in network.services)
    return demands, tuple(cards)


def _graph(designs: Sequence[HopDesign]) -> "nx.MultiGraph[str]":
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    for index, design in enumerate(designs):
        graph.add_edge(
            design.hop.site_a, design.hop.site_b, key=index, length_km=design.length_km, hop=design.hop.id
        )
    return graph


def _demand(
    service: Service,
    graph: "nx.MultiGraph[str]",
    designs: Sequence[HopDesign],
    built: BuiltPlant,
    link_of_card: Mapping[int, int],
) -> ServiceDemand:
    chains = service_routes(service, graph, {design.hop.id: i for i, design in enumerate(designs)})
    first, last = (
        [(link_of_card[card], FORWARD)]
        if (card := built.line_cards.get((service.id, site))) is not None
        else []
        for site in (service.site_a, service.site_b)
    )
    routes: list[Route] = [(*first, *_directed(chain, service.site_a, designs), *last) for chain in chains]
    switching_s = service.switching_time_s
    return ServiceDemand(
        id=service.id,
        committed_mbit_s=service.committed_mbit_s,
        peak_mbit_s=service.full_rate_mbit_s,
        priority=service.priority,
        routes=tuple(routes),
        switching_s=SWITCHING_S[service.protection] if switching_s is None else switching_s,
        hold_off_s=service.hold_off_s,
        switch_below_mbit_s=service.required_share * service.committed_mbit_s,
        required_share=service.required_share,
    )


def service_routes(
    service: Service, graph: "nx.MultiGraph[str]", index_of: Mapping[str, int]
) -> list[list[int]]:
    """Routes of a service as lists of hop indices, the working one first.

    The working route is the user's, or the one of fewest hops and then least length. The protecting route
    is the user's, or the best that shares as few hops and sites with the working one as can be. Free
    rerouting chooses among the shortest simple routes.
    """
    simple = _simple_graph(graph)
    stated = [index_of[hop] for hop in service.route]
    working = stated or _hops(nx.shortest_path(simple, service.site_a, service.site_b, weight="cost"), simple)
    if service.protection == "none":
        return [working]
    if service.protection == "protected":
        stated = [index_of[hop] for hop in service.protecting_route]
        protecting = stated or _protecting(service, graph, working)
        return [working] if protecting == working else [working, protecting]
    found = nx.shortest_simple_paths(simple, service.site_a, service.site_b, weight="cost")
    routes = [_hops(path, simple) for path in islice(found, REROUTED_CANDIDATES)]
    return [working, *(route for route in routes if route != working)][:REROUTED_CANDIDATES]


_HOP_COST = 1e6
"""Cost of a hop against its length: the number of hops decides, the length breaks ties."""
_SHARED_COST = 1e9
"""Added cost of a hop or site that the working route uses too."""


def _simple_graph(graph: "nx.MultiGraph[str]") -> "nx.Graph[str]":
    """One edge a pair of sites: the first hop of those side by side."""
    simple: nx.Graph[str] = nx.Graph()
    for a, b, index, data in sorted(graph.edges(keys=True, data=True), key=lambda edge: edge[2]):
        if not simple.has_edge(a, b):
            simple.add_edge(a, b, index=index, cost=_HOP_COST + data["length_km"])
    return simple


def _hops(path: Sequence[str], simple: "nx.Graph[str]") -> list[int]:
    return [int(simple.edges[a, b]["index"]) for a, b in pairwise(path)]


def _protecting(service: Service, graph: "nx.MultiGraph[str]", working: Sequence[int]) -> list[int]:
    used = set(working)
    crossed = {site for a, b, index in graph.edges(keys=True) if index in used for site in (a, b)}
    crossed -= {service.site_a, service.site_b}
    simple: nx.Graph[str] = nx.Graph()
    for a, b, index, data in sorted(graph.edges(keys=True, data=True), key=lambda edge: edge[2]):
        shared = _SHARED_COST * ((index in used) + 0.25 * (a in crossed) + 0.25 * (b in crossed))
        cost = _HOP_COST + data["length_km"] + shared
        if not simple.has_edge(a, b) or cost < simple.edges[a, b]["cost"]:
            simple.add_edge(a, b, index=index, cost=cost)
    return _hops(nx.shortest_path(simple, service.site_a, service.site_b, weight="cost"), simple)


def _directed(chain: Sequence[int], start: str, designs: Sequence[HopDesign]) -> Route:
    here, route = start, []
    for index in chain:
        hop = designs[index].hop
        forward = hop.site_a == here
        route.append((index, FORWARD if forward else BACKWARD))
        here = hop.site_b if forward else hop.site_a
    return tuple(route)
