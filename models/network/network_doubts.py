"""Doubts about the entries of a network: legal, but outside a tested range or likely not meant.

Each is a warning; there is one for an entry.
"""

from collections.abc import Callable, Iterable, Iterator
from typing import cast

import networkx as nx

from hopyears.models.basics.faults import Doubt, grouped
from hopyears.models.network.entry_slips import (
    lower_antennas,
    narrow_channels,
    short_lives,
    unordered_modulations,
)
from hopyears.models.network.law_ranges import outside_law_ranges
from hopyears.models.network.network import Network
from hopyears.models.network.network_references import named, with_names
from hopyears.models.network.network_rules import component_of, distances_km, hop_graph

ONE_CLIMATE_KM = 300.0
"""Distance from the middle up to which one rain climate is taken to serve all (our own choice)."""


def wide_network(network: Network) -> Iterator[Doubt]:
    """A network so wide that the rain climate of its middle hardly serves all of it."""
    site, distance = max(distances_km(network).items(), key=lambda item: item[1])
    if distance > ONE_CLIMATE_KM:
        yield Doubt(
            "",
            f'site "{site}" is {distance:.0f} km from the middle of the network; one rain field, of the '
            f"climate in the middle, serves all sites, which suits some {ONE_CLIMATE_KM:g} km",
        )


def idle_entries(network: Network) -> Iterator[Doubt]:
    """Sites without a hop, and protecting routes of services that are not protected."""
    used = {site for hop in network.hops for site in (hop.site_a, hop.site_b)}
    for site in network.sites:
        if site.id not in used:
            yield Doubt(named("site", site.id), "no hop ends here", "such a site changes nothing")
    for service in network.services:
        if service.protecting_route and service.protection != "protected":
            yield Doubt(
                named("service", service.id),
                f'protection is "{service.protection}", so its protecting_route changes nothing',
            )


def protection_without_effect(network: Network) -> Iterator[Doubt]:
    """Services that ask for a second route where there is none on any part of the way."""
    graph = hop_graph(network)
    pairs = nx.Graph(graph)
    only_ways: nx.Graph[str] = nx.Graph()
    bridges = cast("Iterable[tuple[str, str]]", nx.bridges(pairs))
    only_ways.add_edges_from(pair for pair in bridges if graph.number_of_edges(*pair) == 1)
    component = component_of(only_ways)
    for service in network.services:
        if service.protection == "none" or service.site_a not in component:
            continue
        if component[service.site_a] == component.get(service.site_b):
            yield Doubt(
                named("service", service.id),
                f'protection is "{service.protection}", but only one route joins its ends',
            )


DOUBTS: tuple[Callable[[Network], Iterator[Doubt]], ...] = (
    outside_law_ranges,
    unordered_modulations,
    short_lives,
    narrow_channels,
    lower_antennas,
    wide_network,
    idle_entries,
    protection_without_effect,
)


def doubts_of(network: Network) -> list[Doubt]:
    """Doubts of all rules, one an entry and one a law that many entries overstretch."""
    return list(grouped(with_names((doubt for rule in DOUBTS for doubt in rule(network)), network)))
