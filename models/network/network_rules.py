"""Rules between the entries of a network: one small function per rule, each listing its faults.

``RULES`` must hold before anything is computed.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import pairwise

import networkx as nx
import numpy as np

from hopyears.models.air.multipath import SHORTEST_PATH_KM
from hopyears.models.basics.faults import Fault
from hopyears.models.basics.geometry import network_centre, path_length_km
from hopyears.models.network.law_ranges import lengths_km
from hopyears.models.network.network import (
    MAXIMUM_PATH_LENGTH_KM,
    MINIMUM_PATH_LENGTH_KM,
    Hop,
    Network,
    Service,
)
from hopyears.models.network.network_references import (
    antenna_references,
    contract_references,
    demand_profile_references,
    indoor_unit_references,
    named,
    part_references,
    power_references,
    price_references,
    radio_references,
    site_references,
    unique_ids,
)

Rule = Callable[[Network], Iterator[Fault]]

MAXIMUM_EXTENT_KM = 2000.0
"""Farthest a site may stand from the middle of the network: beyond, a local plane no longer fits."""


def hop_lengths(network: Network) -> Iterator[Fault]:
    """A hop joins two different sites a possible distance apart."""
    lengths = lengths_km(network)
    for hop in network.hops:
        entry = named("hop", hop.id)
        if hop.site_a == hop.site_b:
            yield Fault(entry, "to", f'"{hop.site_b}", the same as from', "another site")
            continue
        length = lengths.get(hop.id, MINIMUM_PATH_LENGTH_KM)
        if not MINIMUM_PATH_LENGTH_KM <= length <= MAXIMUM_PATH_LENGTH_KM:
            allowed = f"{MINIMUM_PATH_LENGTH_KM:g} to {MAXIMUM_PATH_LENGTH_KM:g} km"
            yield Fault(entry, "path length", f"{length:.3f} km", allowed, "Check both sites' coordinates")


def hop_equipment(network: Network) -> Iterator[Fault]:
    """A hop's reference modulation is one of its radio's."""
    radios = {radio.id: radio for radio in network.radios}
    for hop in network.hops:
        radio = radios.get(hop.radio)
        if radio is None or hop.reference_states is None:
            continue
        states = [step.states for step in radio.modulations]
        if hop.reference_states not in states:
            allowed = f"one of {', '.join(map(str, states))} of radio {radio.id}"
            yield Fault(named("hop", hop.id), "reference_states", f"{hop.reference_states}", allowed)


def bundled_hops(network: Network) -> Iterator[Fault]:
    """Hops of a bundle run side by side, from the same site to the same site; no hop has a bundle's name."""
    ends: dict[str, Hop] = {}
    names = {hop.id for hop in network.hops}
    for hop in network.hops:
        if hop.bundle is None:
            continue
        if hop.bundle in names:
            yield Fault(named("hop", hop.id), "bundle", f'"{hop.bundle}"', "a name that no hop has")
        first = ends.setdefault(hop.bundle, hop)
        if (hop.site_a, hop.site_b) != (first.site_a, first.site_b):
            found = f'"{hop.bundle}" from "{hop.site_a}" to "{hop.site_b}"'
            allowed = f'from "{first.site_a}" to "{first.site_b}" as hop "{first.id}"'
            yield Fault(named("hop", hop.id), "bundle", found, allowed)


MEASURED: Mapping[str, str] = {
    "rain_exceedance_db": "per cents of the year",
    "multipath_exceedance_db": "per cents of the worst month",
}
"""Fields of a hop with measured percentiles, and of what they are."""


def measured_percentiles(network: Network) -> Iterator[Fault]:
    """Measured percentiles are per cents of the time and fall as the attenuation rises."""
    for hop in network.hops:
        for field, percents in MEASURED.items():
            by_percent: Mapping[str, float] | None = getattr(hop, field)
            if by_percent is not None:
                yield from _percentile_faults(named("hop", hop.id), field, percents, by_percent)


def _percentile_faults(
    entry: str, field: str, percents: str, by_percent: Mapping[str, float]
) -> Iterator[Fault]:
    try:
        points = sorted((float(p), a) for p, a in by_percent.items())
    except ValueError:
        found = ", ".join(f'"{percent}"' for percent in by_percent)
        yield Fault(entry, field, f"given for {found}", f"given for {percents}, as 0.01 = 32")
        return
    found = ", ".join(f"{p:g} = {a:g}" for p, a in points) or "empty"
    if len(points) < 2 or not all(1e-5 <= p <= 5 for p, _ in points):
        yield Fault(entry, field, found, "two points or more, 0.00001 to 5 per cent")
    elif any(p == q for (p, _), (q, _) in pairwise(points)):
        yield Fault(entry, field, found, "one value for each per cent")
    elif any(a <= b for (_, a), (_, b) in pairwise(points)) or points[-1][1] <= 0:
        yield Fault(entry, field, found, "above 0 dB and rising as per cent falls")


def multipath_edition(network: Network) -> Iterator[Fault]:
    """Edition 18 of P.530 is given what its maps hold, for every hop with multipath that was not measured."""
    if network.climate.multipath_edition != 18:
        return
    lengths = lengths_km(network)
    for hop in network.hops:
        if lengths.get(hop.id, 0.0) <= SHORTEST_PATH_KM or hop.multipath_exceedance_db is not None:
            continue
        for field, symbol in (("geoclimatic_factor", "K"), ("refractivity_75", "dN75")):
            if getattr(hop, field) is None:
                allowed = f"{symbol} of P.530-18's map at the hop's middle, with multipath_edition 18"
                yield Fault(named("hop", hop.id), field, "not given", allowed)


def extent(network: Network) -> Iterator[Fault]:
    """Every site lies near enough to the middle for one local plane."""
    allowed = f"at most {MAXIMUM_EXTENT_KM:g} km"
    for site_id, distance in distances_km(network).items():
        if distance > MAXIMUM_EXTENT_KM:
            entry, field = named("site", site_id), "distance from the middle of the network"
            yield Fault(entry, field, f"{distance:.0f} km", allowed, "Check its coordinates")


def distances_km(network: Network) -> dict[str, float]:
    """Distance of each site from the middle of all sites [km]."""
    if not network.sites:
        return {}
    latitude = np.array([site.latitude_deg for site in network.sites])
    longitude = np.array([site.longitude_deg for site in network.sites])
    distance = path_length_km(latitude, longitude, *network_centre(latitude, longitude))
    return {site.id: float(d) for site, d in zip(network.sites, distance, strict=True)}


def hop_graph(network: Network) -> "nx.MultiGraph[str]":
    """Sites as nodes, hops as edges keyed by their ids."""
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    graph.add_nodes_from(site.id for site in network.sites)
    for hop in network.hops:
        graph.add_edge(hop.site_a, hop.site_b, key=hop.id)
    return graph


def component_of(graph: "nx.Graph[str]") -> dict[str, int]:
    """Number of the connected part in which each site lies."""
    return {site: i for i, part in enumerate(nx.connected_components(graph)) for site in part}


def services_have_routes(network: Network) -> Iterator[Fault]:
    """Some chain of hops joins the ends of each service; a stated route is such a chain."""
    component = component_of(hop_graph(network))
    hops = {hop.id: hop for hop in network.hops}
    sites = {site.id for site in network.sites}
    whole = all({hop.site_a, hop.site_b} <= sites and hop.site_a != hop.site_b for hop in network.hops)
    for service in network.services:
        entry = named("service", service.id)
        if service.site_a not in component or service.site_b not in component:
            continue
        if service.site_a == service.site_b:
            yield Fault(entry, "to", f'"{service.site_b}", the same as from', "another site")
        elif whole and component[service.site_a] != component[service.site_b]:
            found = f'none between "{service.site_a}" and "{service.site_b}"'
            yield Fault(entry, "route", found, "a chain of hops")
            continue
        for field in ("route", "protecting_route"):
            if all({hop.site_a, hop.site_b} <= sites for hop in _known_hops(service, field, hops)):
                yield from _route_fault(entry, field, service, hops)


def rings_close(network: Network) -> Iterator[Fault]:
    """Hops of a ring follow each other and close, by themselves or over another ring; one is blocked."""
    hops = {hop.id: hop for hop in network.hops}
    ring_of: dict[str, str] = {}
    sites_of: dict[str, list[str]] = {}
    for ring in network.rings:
        entry = named("ring", ring.id)
        unknown = [(n, hop) for n, hop in enumerate(ring.hops, start=1) if hop not in hops]
        for number, hop in unknown:
            yield Fault(entry, f"hops[{number}]", f'"{hop}"', "a hop id", sought=hop, known=hops)
        if unknown:
            continue
        for hop in ring.hops:
            link = hops[hop].bundle or hop
            if ring_of.setdefault(link, ring.id) != ring.id or ring.hops.count(hop) > 1:
                yield Fault(entry, "hops", f'"{hop}" again', "hops of one ring, each once")
                break
        else:
            sites = ring_sites([hops[hop] for hop in ring.hops])
            if sites is None:
                allowed = "hops in order, round a ring or to another ring, that meet no site twice"
                yield Fault(entry, "hops", "no such chain", allowed)
            else:
                sites_of[ring.id] = sites
        if ring.blocked is not None and ring.blocked not in ring.hops:
            known = dict.fromkeys(ring.hops)
            found = f'"{ring.blocked}"'
            yield Fault(entry, "blocked", found, "one of its hops", sought=ring.blocked, known=known)
    if len(sites_of) == len(network.rings):
        yield from _ring_meetings(sites_of)


def _ring_meetings(sites_of: Mapping[str, list[str]]) -> Iterator[Fault]:
    """Chains end on rings, and each ring adds one loop, so that one blocked hop each leaves a tree."""
    met: nx.Graph[str] = nx.Graph()
    # Rings first, then chains whose ends both lie on what is there.
    waiting = sorted(sites_of, key=lambda name: sites_of[name][0] != sites_of[name][-1])
    while waiting:
        name = next(
            (
                each
                for each in waiting
                if sites_of[each][0] == sites_of[each][-1] or _ends_on(sites_of[each], met)
            ),
            None,
        )
        if name is None:
            found = f'an open chain from "{sites_of[waiting[0]][0]}" to "{sites_of[waiting[0]][-1]}"'
            allowed = "a closed ring, or a chain between two sites of other rings"
            yield Fault(named("ring", waiting[0]), "hops", found, allowed)
            return
        waiting.remove(name)
        sites = sites_of[name]
        inner = sites[1:] if sites[0] == sites[-1] else sites[1:-1]
        parts = [next(i for i, part in enumerate(nx.connected_components(met)) if site in part)
                 for site in inner if site in met]  # fmt: skip
        allowed_meetings = len(set(parts)) if sites[0] == sites[-1] else 0
        if len(parts) > allowed_meetings:
            found = (
                "two sites or more of other rings" if allowed_meetings else "another ring between its ends"
            )
            allowed = "a ring that meets others in one site, or a chain that meets them at its ends"
            yield Fault(named("ring", name), "hops", found, allowed)
            return
        nx.add_path(met, sites)


def _ends_on(sites: list[str], met: "nx.Graph[str]") -> bool:
    """Whether a chain ends on rings that hang together."""
    return sites[0] in met and sites[-1] in met and nx.has_path(met, sites[0], sites[-1])


def ring_sites(hops: Sequence[Hop]) -> list[str] | None:
    """Sites along a ring, the last again the first where it closes; None where its hops are no chain."""
    for start in (hops[0].site_a, hops[0].site_b):
        sites = [start]
        for hop in hops:
            here = sites[-1]
            if here not in (hop.site_a, hop.site_b):
                break
            sites.append(hop.site_b if here == hop.site_a else hop.site_a)
        twice = len(sites) - len(set(sites))
        if len(sites) == len(hops) + 1 and twice == (sites[0] == sites[-1]):
            return sites
    return None


def _known_hops(service: Service, field: str, hops: Mapping[str, Hop]) -> list[Hop]:
    return [hops[hop_id] for hop_id in getattr(service, field) if hop_id in hops]


def _route_fault(entry: str, field: str, service: Service, hops: Mapping[str, Hop]) -> Iterator[Fault]:
    here, passed = service.site_a, {service.site_a}
    for number, hop_id in enumerate(getattr(service, field), start=1):
        hop = hops.get(hop_id)
        if hop is None:
            yield Fault(entry, f"{field}[{number}]", f'"{hop_id}"', "a hop id", sought=hop_id, known=hops)
            return
        if here not in (hop.site_a, hop.site_b):
            yield Fault(entry, field, f'broken at "{here}", where "{hop_id}" does not end', "a chain of hops")
            return
        here = hop.site_b if here == hop.site_a else hop.site_a
        if here in passed:
            yield Fault(entry, field, f'back at "{here}" with "{hop_id}"', "a chain that meets no site twice")
            return
        passed.add(here)
    if getattr(service, field) and here != service.site_b:
        yield Fault(entry, field, f'a chain that ends at "{here}"', f'one that ends at "{service.site_b}"')


RULES: tuple[Rule, ...] = (
    unique_ids,
    site_references,
    radio_references,
    antenna_references,
    power_references,
    indoor_unit_references,
    part_references,
    price_references,
    demand_profile_references,
    contract_references,
    hop_lengths,
    extent,
    hop_equipment,
    bundled_hops,
    measured_percentiles,
    multipath_edition,
    services_have_routes,
    rings_close,
)
NEEDS: Mapping[Rule, tuple[str, ...]] = {
    site_references: ("sites",),
    radio_references: ("radios",),
    antenna_references: ("antennas",),
    power_references: ("power",),
    indoor_unit_references: ("indoor_units", "radios"),
    price_references: ("hops", "radios", "antennas", "indoor_units", "power", "crews"),
    services_have_routes: ("sites", "hops"),
    contract_references: ("services",),
    rings_close: ("hops", "rings"),
    demand_profile_references: ("demand_profiles",),
}
"""Lists in which no entry may lack for a rule to be judged; the others hold for the entries there are."""
