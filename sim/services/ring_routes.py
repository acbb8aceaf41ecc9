"""All ways of a service over the rings on its way, and the rings' switches."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import islice
from typing import Any

import networkx as nx

from hopyears.models.network.network import Network, Ring, Service
from hopyears.models.network.network_rules import ring_sites
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.services.service_data import BACKWARD, FORWARD, RingSwitch, Route, ServiceDemand

MOST_WAYS = 64
"""Ways over rings that a service may have: each ring doubles them."""


def on_its_rings(
    network: Network,
    service: Service,
    demand: ServiceDemand,
    designs: Sequence[HopDesign],
    index_of: Mapping[str, int],
) -> ServiceDemand:
    """A demand with one route, given all ways over the rings that it crosses, and those that these end on.

    What of its route lies on no ring, before, between and after them, is common to all ways. The way that is
    open while all is well comes first.

    Raises
    ------
    InputError
        If no ring lies on its way, or too many.
    """
    (working,) = demand.routes
    refused = f'{network.title}: service "{service.id}": protection is "ring"; must be another where'
    rings = [_switch(ring, index_of) for ring in _rings_on(network, {link for link, _ in working}, index_of)]
    if not rings:
        raise InputError.one(f"{refused} no ring of [[rings]] lies on its way")
    found = _ways(working, {link for ring in rings for link in ring.links}, designs, service)
    if len(found) > MOST_WAYS:
        raise InputError.one(f"{refused} there are more than {MOST_WAYS} ways over rings")
    cards = [tuple(step for step in end if step[0] >= len(designs)) for end in (working[:1], working[-1:])]
    crossed = {link for way in found for link in way}
    rings = [ring for ring in rings if not crossed.isdisjoint(ring.links)]
    blocked = {ring.links[ring.protection] for ring in rings}
    found.sort(key=lambda way: (len(blocked.intersection(way)), len(way), way))
    return replace(
        demand,
        routes=tuple((*cards[0], *directed(way, designs, service.site_a), *cards[1]) for way in found),
        switch_below_mbit_s=0.0,
        leaves_congestion=False,
        rings=tuple(rings),
    )


def _rings_on(network: Network, crossed: set[int], index_of: Mapping[str, int]) -> list[Ring]:
    """Rings that a route crosses; where a chain is among them, all that hang together with it."""
    sites = {ring.id: ring_sites([network.hop(hop) for hop in ring.hops]) or [] for ring in network.rings}
    own = [ring for ring in network.rings if any(index_of[hop] in crossed for hop in ring.hops)]
    if all(sites[ring.id][0] == sites[ring.id][-1] for ring in own):
        return own
    met: nx.Graph[str] = nx.Graph()
    for each in sites.values():
        nx.add_path(met, each)
    near = {site for ring in own for site in nx.node_connected_component(met, sites[ring.id][0])}
    return [ring for ring in network.rings if sites[ring.id][0] in near]


def _switch(ring: Ring, index_of: Mapping[str, int]) -> RingSwitch:
    return RingSwitch(
        links=tuple(index_of[hop] for hop in ring.hops),
        protection=len(ring.hops) - 1 if ring.blocked is None else ring.hops.index(ring.blocked),
        hold_off_s=ring.hold_off_s,
        guard_s=ring.guard_s,
        wait_to_restore_s=ring.wait_to_restore_s if ring.reverts else math.inf,
        switching_s=ring.switching_time_s,
        commanded_s=ring.commanded_switching_time_s,
        degraded_below_mbit_s=ring.degraded_below_mbit_s or 0.0,
    )


def _ways(
    working: Route, on_rings: set[int], designs: Sequence[HopDesign], service: Service
) -> list[tuple[int, ...]]:
    """Links of all ways without loops over the rings and what of the route joins them."""
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    for link in on_rings:
        graph.add_edge(designs[link].hop.site_a, designs[link].hop.site_b, key=link)
    free: list[int] = []
    start = here = service.site_a
    for link, _ in working:
        if link >= len(designs):
            continue
        hop = designs[link].hop
        here = hop.site_b if hop.site_a == here else hop.site_a
        free += [link] * (link not in on_rings)
        if here in graph or here == service.site_b:
            # A way round that leaves a ring and comes back to it is none of its ways.
            if not (start in graph and here in graph and nx.has_path(graph, start, here)):
                for each in free:
                    graph.add_edge(designs[each].hop.site_a, designs[each].hop.site_b, key=each)
            free, start = [], here
    paths: Any = nx.all_simple_edge_paths(graph, service.site_a, service.site_b)
    return [tuple(int(link) for _, _, link in path) for path in islice(paths, MOST_WAYS + 1)]


def directed(way: Sequence[int], designs: Sequence[HopDesign], start: str) -> Route:
    """Links in a row from a site, each with its direction."""
    here, route = start, []
    for link in way:
        hop = designs[link].hop
        forward = hop.site_a == here
        route.append((link, FORWARD if forward else BACKWARD))
        here = hop.site_b if forward else hop.site_a
    return tuple(route)
