"""What each service asks of the hops: its routes as chains of links, its rates, its switching."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.judging.demand_clock import DemandClock, clock_at
from hopyears.models.judging.outage_rule import SEVERE_SHARE
from hopyears.models.network.network import Network, Service
from hopyears.sim.equipment.plant_builder import BuiltPlant
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.services.mesh_routes import Link
from hopyears.sim.services.ring_routes import directed, on_its_rings
from hopyears.sim.services.route_finder import RouteFinder
from hopyears.sim.services.service_data import FORWARD, Route, ServiceDemand

REROUTED_CANDIDATES = 6
"""Routes that free rerouting may choose from, shortest first."""

SWITCHING_S = {"none": 0.0, "protected": 0.05, "rerouted": 5.0}
"""Default time without traffic when a failed route is left [s]: ITU-T G.8031 and G.8032 aim below 50 ms;
restoration by routing takes 1 to 60 s (common practice, no source)."""

SEVERE_SHARES = {"packet": 0.5, "circuit": SEVERE_SHARE, "optical": SEVERE_SHARE}
"""Lost share of a second that makes it severely errored, by kind: more than half of the frames of packet
services (ITU-T Y.1563, from memory), 30 % of the blocks of circuits (G.826)."""

COMMANDED_S = {"none": 0.0, "protected": 0.05, "rerouted": 0.0}
"""Default time without traffic at a change by command [s]. A protection switch moves by command as it does
for a failure (ITU-T G.8031, G.8032: from memory); routing makes the new route ready before the old one is
left (common practice, no source)."""


def service_demands(
    network: Network, designs: Sequence[HopDesign], built: BuiltPlant
) -> tuple[tuple[ServiceDemand, ...], tuple[int, ...]]:
    """Demands of all services, and the parts behind the links after the hops.

    Returns
    -------
    demands : tuple of ServiceDemand
        Links 0 to n_hops - 1 are the network's hops (of a bundle, the first stands for all: see
        ``hop_bundles``); later ones are line cards, at the ends of the services that they carry.
    line_cards : tuple of int
        Plant part of each such later link.
    """
    cards = sorted(set(built.line_cards.values()))
    link_of_card = {part: len(designs) + i for i, part in enumerate(cards)}
    finders = _Finders(designs)
    bundle_of = {member: index for index, each in enumerate(hop_bundles(designs)) for member in each}
    index_of = {design.hop.id: bundle_of[i] for i, design in enumerate(designs)}
    placed = finders.placed(network, index_of) if network.sharing.routes == "by load" else {}
    demands = []
    for service in network.services:
        routes = service_routes(service, finders.of(service), designs, index_of, placed.get(service.id))
        clock, weight = demand_clock(network, service), sharing_weight(network, service)
        demand = _demand(service, routes, built, link_of_card, clock, weight)
        on_ring = service.protection == "ring"
        demands.append(on_its_rings(network, service, demand, designs, index_of) if on_ring else demand)
    return tuple(demands), tuple(cards)


def hop_bundles(designs: Sequence[HopDesign]) -> list[tuple[int, ...]]:
    """Hops behind each hop's link: itself; all of a bundle for its first hop, none for the others."""
    first: dict[str, int] = {}
    members: list[list[int]] = []
    for index, design in enumerate(designs):
        members.append([])
        name = design.hop.bundle
        members[index if name is None else first.setdefault(name, index)].append(index)
    return [tuple(each) for each in members]


def demand_clock(network: Network, service: Service) -> DemandClock | None:
    """Hours of a service's demand, by the solar time of its first end; None without a profile."""
    profile = network.demand_profile_of(service)
    if profile is None:
        return None
    return clock_at(
        profile.working_day,
        profile.working_day if profile.day_off is None else profile.day_off,
        profile.working_days_per_week,
        network.site(service.site_a).longitude_deg,
    )


def sharing_weight(network: Network, service: Service) -> float:
    """Weight of a service where capacity is shared: its own, else by the network's rule."""
    if service.sharing_weight is not None:
        return service.sharing_weight
    return service.committed_mbit_s if network.sharing.within_priority == "by committed rate" else 1.0


class _Finders:
    """Routes over links that can carry a service in clear air; over all if those do not suffice."""

    def __init__(self, designs: Sequence[HopDesign]) -> None:
        self._designs = designs
        self._links = [
            Link(design.hop.site_a, design.hop.site_b, design.path.length_km) for design in designs
        ]
        bundles = hop_bundles(designs)
        self._absent = frozenset(index for index, members in enumerate(bundles) if not members)
        self._clear_mbit_s = np.array(
            [sum(designs[member].clear_capacity_mbit_s for member in members) for members in bundles]
        )
        self._known: dict[frozenset[int], RouteFinder] = {}

    def of(self, service: Service) -> RouteFinder:
        """The finder for a service."""
        small = np.flatnonzero(self._clear_mbit_s < _kept_mbit_s(service)).tolist()
        able = self._without(self._absent | frozenset(small))
        if able.working(service.site_a, service.site_b) is not None:
            return able
        return self._without(self._absent)

    def placed(self, network: Network, index_of: Mapping[str, int]) -> dict[str, Route]:
        """Working route of each service, so that most of its narrowest link's capacity is left.

        One after the other by priority, each on top of what those before it committed to; of equal ones the
        shortest.
        """
        left_mbit_s = np.stack([self._clear_mbit_s] * 2, axis=1)
        found: dict[str, Route] = {}
        for service in sorted(network.services, key=lambda each: each.priority):
            a, b = service.site_a, service.site_b
            stated = directed([index_of[hop] for hop in service.route], self._designs, a)
            ways = [stated] if stated else self.of(service).rerouting(a, b, REROUTED_CANDIDATES)
            asked = service.committed_ways_mbit_s
            left = [_least_left(way, left_mbit_s, asked) for way in ways]
            best = ways[left.index(max(left))]
            for link, direction in best:
                left_mbit_s[link, direction] -= asked[0]
                left_mbit_s[link, 1 - direction] -= asked[1]
            found[service.id] = best
        return found

    def _without(self, unused: frozenset[int]) -> RouteFinder:
        if unused not in self._known:
            self._known[unused] = RouteFinder(self._links, unused)
        return self._known[unused]


def _demand(
    service: Service,
    chains: Sequence[Route],
    built: BuiltPlant,
    link_of_card: Mapping[int, int],
    clock: DemandClock | None,
    weight: float,
) -> ServiceDemand:
    first, last = (
        [(link_of_card[card], FORWARD)]
        if (card := built.line_cards.get((service.id, site))) is not None
        else []
        for site in (service.site_a, service.site_b)
    )
    routes = [(*first, *chain, *last) for chain in chains]
    switching_s, commanded_s = service.switching_time_s, service.commanded_switching_time_s
    return ServiceDemand(
        id=service.id,
        committed_mbit_s=service.committed_mbit_s,
        peak_mbit_s=service.full_rate_mbit_s,
        backward_mbit_s=_backward_mbit_s(service),
        priority=service.priority,
        routes=tuple(routes),
        switching_s=SWITCHING_S.get(service.protection, 0.0) if switching_s is None else switching_s,
        commanded_s=COMMANDED_S.get(service.protection, 0.0) if commanded_s is None else commanded_s,
        hold_off_s=service.hold_off_s,
        wait_to_restore_s=service.wait_to_restore_s if service.reverts else math.inf,
        switch_below_mbit_s=0.0 if service.switch_trigger == "signal fail" else _kept_mbit_s(service),
        leaves_congestion=service.switch_trigger == "congestion",
        preempts=service.preempts,
        required_share=service.share_to_be_up,
        severe_share=SEVERE_SHARES[service.kind],
        clock=clock,
        sharing_weight=weight,
    )


def _backward_mbit_s(service: Service) -> tuple[float, float] | None:
    """Committed and peak rate backward; None where they are those forward."""
    committed, peak = service.committed_ways_mbit_s, service.full_ways_mbit_s
    same = committed[0] == committed[1] and peak[0] == peak[1]
    return None if same else (committed[1], peak[1])


def _kept_mbit_s(service: Service) -> float:
    """What a route should carry both ways: the larger committed rate, or that share of it which is stated."""
    share = 1.0 if service.required_share is None else service.required_share
    return share * max(service.committed_ways_mbit_s)


def service_routes(
    service: Service,
    finder: RouteFinder,
    designs: Sequence[HopDesign],
    index_of: Mapping[str, int],
    placed: Route | None = None,
) -> list[Route]:
    """Routes of a service over the hops, the working one first.

    The working route is the user's, or the one ``placed`` by load, or the one of fewest hops and then least
    length among hops that carry the service in clear air. The protecting route is the user's, or the best
    that shares as little with the working one as can be. Free rerouting chooses among the shortest routes,
    one that shares no hop with the working one, if there is any, and the working one over each parallel hop.
    On a ring it is the working one: see ``ring_routes``.
    """
    a, b = service.site_a, service.site_b
    stated = directed([index_of[hop] for hop in service.route], designs, a)
    working = stated or placed or finder.working(a, b)
    assert working is not None  # hopyears.models.network.network_rules.services_have_routes
    if service.protection in ("none", "ring"):
        return [working]
    if service.protection == "protected":
        stated = directed([index_of[hop] for hop in service.protecting_route], designs, a)
        protecting = stated or finder.protecting(a, b, working)
        if protecting is None and not service.route and (pair := finder.disjoint_pair(a, b)) is not None:
            return list(pair)
        protecting = protecting or finder.least_shared(a, b, working)
        return [working] if protecting is None or protecting == working else [working, protecting]
    apart = finder.protecting(a, b, working)
    others = [route for route in finder.rerouting(a, b, REROUTED_CANDIDATES) if route not in (working, apart)]
    kept = others[: REROUTED_CANDIDATES - (1 if apart is None else 2)]
    if apart is not None:
        kept.append(apart)
    # Of parallel hops the finder takes one: the others stand in for it on the working route, beyond the few.
    parallel = [route for route in finder.over_parallel_links(working) if route not in kept]
    return [working, *sorted([*kept, *parallel], key=finder.cost)]


def _least_left(route: Route, left_mbit_s: Floats, committed_mbit_s: tuple[float, float]) -> float:
    """Least capacity left on a route, either way, with a service on it [Mbit/s]."""
    forward, backward = committed_mbit_s
    return min(
        float(min(left_mbit_s[link, way] - forward, left_mbit_s[link, 1 - way] - backward))
        for link, way in route
    )
