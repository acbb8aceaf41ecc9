"""Both ways round a ring for a service, and the ring's switch."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from hopyears.models.network.network import Network, Ring, Service
from hopyears.models.network.network_rules import ring_sites
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.services.service_data import BACKWARD, FORWARD, RingSwitch, Route, ServiceDemand


def on_its_ring(
    network: Network,
    service: Service,
    demand: ServiceDemand,
    designs: Sequence[HopDesign],
    index_of: Mapping[str, int],
) -> ServiceDemand:
    """A demand with one route, given both ways round the ring that most of its route lies on.

    Up to the first site of the ring, and from the last on, both are as the route was. The way that is open
    while all is well comes first.

    Raises
    ------
    InputError
        If no ring lies on its way.
    """
    (working,) = demand.routes
    crossed = {link for link, _ in working}
    shared = [sum(index_of[hop] in crossed for hop in ring.hops) for ring in network.rings]
    if not any(shared):
        raise InputError.one(
            f'{network.title}: service "{service.id}": protection is "ring"; must be another where no ring '
            "of [[rings]] lies on its way"
        )
    ring = network.rings[shared.index(max(shared))]
    links = tuple(index_of[hop] for hop in ring.hops)
    protection = len(links) - 1 if ring.blocked is None else ring.hops.index(ring.blocked)
    ways = _ways(working, links, ring_sites([network.hop(hop) for hop in ring.hops]) or [], designs, service)
    blocked = links[protection]
    return replace(
        demand,
        routes=tuple(sorted(ways, key=lambda way: blocked in {link for link, _ in way})),
        switching_s=ring.switching_time_s,
        commanded_s=ring.commanded_switching_time_s,
        hold_off_s=ring.hold_off_s,
        wait_to_restore_s=_wait_to_restore_s(ring),
        switch_below_mbit_s=0.0,
        ring=RingSwitch(links, protection, ring.hold_off_s, ring.guard_s, _wait_to_restore_s(ring)),
    )


def _wait_to_restore_s(ring: Ring) -> float:
    return ring.wait_to_restore_s if ring.reverts else math.inf


def _ways(
    working: Route, links: Sequence[int], sites: list[str], designs: Sequence[HopDesign], service: Service
) -> tuple[Route, Route]:
    """Both ways from the first to the last site of a ring that a route meets, with the rest of the route."""
    passed = _sites_along(working, designs, service.site_a)
    met = [place for place, site in enumerate(passed) if site in sites]
    first, last = sites.index(passed[met[0]]), sites.index(passed[met[-1]])
    n = len(links)
    onward = [(first + i) % n for i in range((last - first) % n)]
    back = [(first - 1 - i) % n for i in range((first - last) % n)]
    before, after = working[: met[0]], working[met[-1] :]
    arcs = [tuple(_step(links[place], sites[place], designs) for place in onward)]
    arcs.append(tuple(_step(links[place], sites[(place + 1) % n], designs) for place in back))
    return (*before, *arcs[0], *after), (*before, *arcs[1], *after)


def _sites_along(route: Route, designs: Sequence[HopDesign], start: str) -> list[str]:
    """Sites that a route passes; a line card at an end stays where it is."""
    sites = [start]
    for link, direction in route:
        here = sites[-1]
        if link < len(designs):
            hop = designs[link].hop
            here = hop.site_b if direction == FORWARD else hop.site_a
        sites.append(here)
    return sites


def _step(link: int, start: str, designs: Sequence[HopDesign]) -> tuple[int, int]:
    return link, FORWARD if designs[link].hop.site_a == start else BACKWARD
