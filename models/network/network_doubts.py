"""Doubts about the entries of a network: legal, but outside a tested range or likely not meant.

Each is a warning; there is one for an entry.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise
from typing import cast

import networkx as nx

from hopyears.models.basics.faults import Doubt, grouped
from hopyears.models.network.law_ranges import outside_law_ranges
from hopyears.models.network.network import Modulation, Network
from hopyears.models.network.network_references import named, with_names
from hopyears.models.network.network_rules import component_of, distances_km, hop_graph

SHORT_LIFE_H = 1000.0
"""Mean life below which a part of a network in service is doubted (our own: six weeks)."""

NARROWEST_MHZ = {3.0: 0.25, 110.0: 1.75}
"""Narrowest channels of ITU-R plans up to so many GHz (F.1242 at 1.4 GHz; F.595, F.636; from memory)."""


def unordered_modulations(network: Network) -> Iterator[Doubt]:
    """Radios of which a higher modulation needs less, or carries less, than a lower one."""
    for radio in network.radios:
        for field in ("required_snr_db", "threshold_dbm", "capacity_mbit_s"):
            pair = _first_fall(radio.modulations, field)
            if pair:
                low, high = pair
                yield Doubt(
                    named("radio", radio.id),
                    f"{field} is {getattr(high, field):g} at {high.states} states, not above "
                    f"{getattr(low, field):g} at {low.states}",
                )


def _first_fall(steps: Sequence[Modulation], field: str) -> tuple[Modulation, Modulation] | None:
    stated = [step for step in steps if getattr(step, field) is not None]
    falls = (pair for pair in pairwise(stated) if getattr(pair[1], field) <= getattr(pair[0], field))
    return next(falls, None)


def short_lives(network: Network) -> Iterator[Doubt]:
    """Kinds of part that fail every few weeks."""
    for change in network.parts:
        if change.mtbf_h is not None and change.mtbf_h < SHORT_LIFE_H:
            law = f"a mean life below {SHORT_LIFE_H:g} h is likely a slip (hours are meant)"
            yield Doubt(named("part", change.kind), f"mtbf_h is {change.mtbf_h:g}", law)


def narrow_channels(network: Network) -> Iterator[Doubt]:
    """Channels narrower than those of any plan of the band."""
    for hop in network.hops:
        least = next(width for limit, width in NARROWEST_MHZ.items() if hop.frequency_ghz <= limit)
        if hop.channel_width_mhz < least:
            law = f"no ITU-R plan of that band has channels narrower than {least:g} MHz"
            text = f"channel_width_mhz is {hop.channel_width_mhz:g} at {hop.frequency_ghz:g} GHz"
            yield Doubt(named("hop", hop.id), text, law)


def lower_antennas(network: Network) -> Iterator[Doubt]:
    """Hops with space diversity whose lower antenna would stand in the ground."""
    heights = {site.id: site.antenna_height_m for site in network.sites}
    for hop in network.hops:
        if not hop.protection.space_diversity:
            continue
        ends = ((hop.antenna_height_a_m, hop.site_a), (hop.antenna_height_b_m, hop.site_b))
        lowest = min(heights[site] if own is None else own for own, site in ends)
        if lowest <= hop.antenna_separation_m:
            law = "the lower antenna would stand in the ground"
            text = f"antenna_separation_m is {hop.antenna_separation_m:g} below an antenna at {lowest:g} m"
            yield Doubt(named("hop", hop.id), text, law)


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
