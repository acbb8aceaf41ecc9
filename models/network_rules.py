"""Rules between the entries of a network: one small function per rule, each listing its faults.

``RULES`` must hold before anything is computed; ``DOUBTS`` are legal but outside the range in which a
Recommendation was tested, and give a warning each.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise

import networkx as nx

from models.faults import Fault, suggestion
from models.geometry import path_length_km
from models.part_kind import PART_KINDS
from models.network import MAXIMUM_PATH_LENGTH_KM, MINIMUM_PATH_LENGTH_KM, Hop, Network, Service

Rule = Callable[[Network], Iterator[Fault]]

_LISTS = {
    "site": "sites",
    "hop": "hops",
    "radio": "radios",
    "antenna": "antennas",
    "service": "services",
    "power": "power",
    "crew": "crews",
    "depot": "depots",
}


def _named(kind: str, entry_id: str) -> str:
    return f'{kind} "{entry_id}"'


def _reference(entry: str, field: str, found: str, known: Iterable[str], what: str) -> Iterator[Fault]:
    known = list(known)
    if found not in known:
        yield Fault(entry, field, f'"{found}"', f"{what} id", suggestion(found, known))


def unique_ids(network: Network) -> Iterator[Fault]:
    """Every id names one entry of its kind."""
    for kind, attribute in _LISTS.items():
        counts = Counter(entry.id for entry in getattr(network, attribute))
        for entry_id, count in counts.items():
            if count > 1:
                yield Fault(_named(kind, entry_id), "id", f"used {count} times", "unique")


def known_references(network: Network) -> Iterator[Fault]:
    """Whatever an entry refers to exists."""
    sites = [site.id for site in network.sites]
    radios = [radio.id for radio in network.radios]
    antennas = [antenna.id for antenna in network.antennas]
    for hop in network.hops:
        entry = _named("hop", hop.id)
        yield from _reference(entry, "from", hop.site_a, sites, "a site")
        yield from _reference(entry, "to", hop.site_b, sites, "a site")
        yield from _reference(entry, "radio", hop.radio, radios, "a radio")
        yield from _reference(entry, "antenna", hop.antenna, antennas, "an antenna")
        if hop.antenna_b is not None:
            yield from _reference(entry, "antenna_b", hop.antenna_b, antennas, "an antenna")
    for service in network.services:
        entry = _named("service", service.id)
        yield from _reference(entry, "from", service.site_a, sites, "a site")
        yield from _reference(entry, "to", service.site_b, sites, "a site")
    for crew in network.crews:
        yield from _reference(_named("crew", crew.id), "base", crew.base, sites, "a site")
    for depot in network.depots:
        yield from _reference(_named("depot", depot.id), "base", depot.base, sites, "a site")
        for kind in depot.stock:
            yield from _reference(_named("depot", depot.id), "stock", kind, PART_KINDS, "a part kind, not an")
    for number, window in enumerate(network.maintenance, start=1):
        yield from _reference(f"maintenance {number}", "site", window.site, sites, "a site")
    feeds = [entry.id for entry in network.power] + ["standard"]
    for site in network.sites:
        yield from _reference(_named("site", site.id), "power", site.power, feeds, "a power")
    for change in network.parts:
        yield from _reference(
            _named("part", change.kind), "kind", change.kind, PART_KINDS, "a kind of part, not an"
        )


def hop_lengths(network: Network) -> Iterator[Fault]:
    """A hop joins two different sites a possible distance apart."""
    places = {site.id: (site.latitude_deg, site.longitude_deg) for site in network.sites}
    for hop in network.hops:
        if hop.site_a not in places or hop.site_b not in places:
            continue
        entry = _named("hop", hop.id)
        if hop.site_a == hop.site_b:
            yield Fault(entry, "to", f'"{hop.site_b}", the same as from', "another site")
            continue
        length = float(path_length_km(*places[hop.site_a], *places[hop.site_b]))
        if not MINIMUM_PATH_LENGTH_KM <= length <= MAXIMUM_PATH_LENGTH_KM:
            allowed = f"{MINIMUM_PATH_LENGTH_KM:g} to {MAXIMUM_PATH_LENGTH_KM:g} km"
            yield Fault(entry, "path length", f"{length:.3f} km", allowed, "Check both sites' coordinates")


def hop_equipment(network: Network) -> Iterator[Fault]:
    """A hop's reference modulation is one of its radio's."""
    radios = {radio.id: radio for radio in network.radios}
    for hop in network.hops:
        radio = radios.get(hop.radio)
        if radio is None:
            continue
        states = [step.states for step in radio.modulations]
        if hop.reference_states is not None and hop.reference_states not in states:
            yield Fault(
                _named("hop", hop.id),
                "reference_states",
                f"{hop.reference_states}",
                f"one of {', '.join(map(str, states))}",
            )


def measured_rain(network: Network) -> Iterator[Fault]:
    """Measured percentiles are per cents of the year and fall as the attenuation rises."""
    for hop in network.hops:
        if hop.rain_exceedance_db is None:
            continue
        entry = _named("hop", hop.id)
        try:
            points = sorted((float(p), a) for p, a in hop.rain_exceedance_db.items())
        except ValueError:
            yield Fault(entry, "rain_exceedance_db", "not by per cent", "a table of per cent = dB")
            continue
        if len(points) < 2 or not all(1e-5 <= p <= 5 for p, _ in points):
            yield Fault(entry, "rain_exceedance_db", f"{points}", "two points or more, 0.00001 to 5 per cent")
        elif any(a <= b for (_, a), (_, b) in pairwise(points)) or points[-1][1] <= 0:
            yield Fault(entry, "rain_exceedance_db", f"{points}", "above 0 dB and rising as per cent falls")


def hop_graph(network: Network) -> "nx.MultiGraph[str]":
    """Sites as nodes, hops as edges keyed by their ids."""
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    graph.add_nodes_from(site.id for site in network.sites)
    for hop in network.hops:
        graph.add_edge(hop.site_a, hop.site_b, key=hop.id)
    return graph


def services_have_routes(network: Network) -> Iterator[Fault]:
    """Some chain of hops joins the ends of each service; a stated route is such a chain."""
    graph = hop_graph(network)
    hops = {hop.id: hop for hop in network.hops}
    for service in network.services:
        entry = _named("service", service.id)
        if service.site_a not in graph or service.site_b not in graph:
            continue
        if service.site_a == service.site_b:
            yield Fault(entry, "to", f'"{service.site_b}", the same as from', "another site")
        elif not nx.has_path(graph, service.site_a, service.site_b):
            found = f'none between "{service.site_a}" and "{service.site_b}"'
            yield Fault(entry, "route", found, "a chain of hops")
        for field in ("route", "protecting_route"):
            yield from _route_fault(entry, field, service, hops)


def _route_fault(entry: str, field: str, service: Service, hops: dict[str, Hop]) -> Iterator[Fault]:
    here = service.site_a
    for hop_id in getattr(service, field):
        hop = hops.get(hop_id)
        if hop is None:
            yield Fault(entry, field, f'"{hop_id}"', "a hop id", suggestion(hop_id, hops))
            return
        if here not in (hop.site_a, hop.site_b):
            yield Fault(entry, field, f'broken at "{here}", where "{hop_id}" does not end', "a chain of hops")
            return
        here = hop.site_b if here == hop.site_a else hop.site_a
    if getattr(service, field) and here != service.site_b:
        yield Fault(entry, field, f'a chain that ends at "{here}"', f'one that ends at "{service.site_b}"')


RULES: tuple[Rule, ...] = (
    unique_ids,
    known_references,
    hop_lengths,
    hop_equipment,
    measured_rain,
    services_have_routes,
)


def outside_tested_range(network: Network) -> Iterator[Fault]:
    """Path lengths and diversity beyond what ITU-R P.530-18 states its methods for."""
    places = {site.id: (site.latitude_deg, site.longitude_deg) for site in network.sites}
    for hop in network.hops:
        length = float(path_length_km(*places[hop.site_a], *places[hop.site_b]))
        entry = _named("hop", hop.id)
        if length > 60:
            yield Fault(entry, "path length", f"{length:.1f} km", "up to 60 km for the rain method of P.530")
        diversity = hop.protection.diversity
        if diversity in ("space", "both") and not (
            25 <= length <= 240 and 2 <= hop.frequency_ghz <= 11 and 3 <= hop.antenna_separation_m <= 23
        ):
            yield Fault(
                entry,
                "space diversity",
                f"{hop.frequency_ghz:g} GHz, {length:.1f} km, {hop.antenna_separation_m:g} m",
                "2 to 11 GHz, 25 to 240 km, 3 to 23 m for the improvement of P.530",
            )
        if diversity in ("frequency", "both") and not (30 <= length <= 70 and 2 <= hop.frequency_ghz <= 11):
            yield Fault(
                entry,
                "frequency diversity",
                f"{hop.frequency_ghz:g} GHz, {length:.1f} km",
                "2 to 11 GHz, 30 to 70 km for the improvement of P.530",
            )


DOUBTS: tuple[Rule, ...] = (outside_tested_range,)
