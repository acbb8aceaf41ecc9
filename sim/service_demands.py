"""What each service asks of the hops: its routes as chains of links, its rates, its switching."""

from collections.abc import Mapping, Sequence

from models.network import Network, Service
from sim.hop_design import HopDesign
from sim.plant_builder import BuiltPlant
from sim.route_finder import Link, RouteFinder
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
    finder = RouteFinder([Link(d.hop.site_a, d.hop.site_b, d.length_km) for d in designs])
    cards = sorted(set(built.line_cards.values()))
    link_of_card = {part: len(designs) + i for i, part in enumerate(cards)}
    demands = tuple(_demand(service, finder, designs, built, link_of_card) for service in network.services)
    return demands, tuple(cards)


def _demand(
    service: Service,
    finder: RouteFinder,
    designs: Sequence[HopDesign],
    built: BuiltPlant,
    link_of_card: Mapping[int, int],
) -> ServiceDemand:
    chains = service_routes(service, finder, designs, {design.hop.id: i for i, design in enumerate(designs)})
    first, last = (
        [(link_of_card[card], FORWARD)]
        if (card := built.line_cards.get((service.id, site))) is not None
        else []
        for site in (service.site_a, service.site_b)
    )
    routes = [(*first, *chain, *last) for chain in chains]
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
    service: Service, finder: RouteFinder, designs: Sequence[HopDesign], index_of: Mapping[str, int]
) -> list[Route]:
    """Routes of a service over the hops, the working one first.

    The working route is the user's, or the one of fewest hops and then least length. The protecting route
    is the user's, or the best that shares as little with the working one as can be. Free rerouting chooses
    among the shortest routes and one that shares no hop with the working one, if there is any.
    """
    a, b = service.site_a, service.site_b
    stated = _directed([index_of[hop] for hop in service.route], a, designs)
    working = stated or finder.working(a, b)
    assert working is not None  # models.network_rules.services_have_routes
    if service.protection == "none":
        return [working]
    if service.protection == "protected":
        stated = _directed([index_of[hop] for hop in service.protecting_route], a, designs)
        protecting = stated or finder.protecting(a, b, working)
        if protecting is None and not service.route and (pair := finder.disjoint_pair(a, b)) is not None:
            return list(pair)
        protecting = protecting or finder.least_shared(a, b, working)
        return [working] if protecting is None or protecting == working else [working, protecting]
    # The finder takes one of parallel hops; a way that shares nothing with the working one may be another.
    apart = finder.protecting(a, b, working)
    others = [route for route in finder.rerouting(a, b, REROUTED_CANDIDATES) if route not in (working, apart)]
    kept = others[: REROUTED_CANDIDATES - (1 if apart is None else 2)]
    return [working, *sorted([*kept, *([] if apart is None else [apart])], key=finder.cost)]


def _directed(chain: Sequence[int], start: str, designs: Sequence[HopDesign]) -> Route:
    here, route = start, []
    for index in chain:
        hop = designs[index].hop
        forward = hop.site_a == here
        route.append((index, FORWARD if forward else BACKWARD))
        here = hop.site_b if forward else hop.site_a
    return tuple(route)
