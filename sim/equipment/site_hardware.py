"""Indoor hardware of every site, as the network's hops and services need it."""

from collections import Counter, defaultdict

from hopyears.models.equipment.indoor_unit import HopEnd, IndoorUnit, SiteHardware
from hopyears.models.equipment.unit_placing import place_indoor_units
from hopyears.models.network.network import Network, Service

UNIT = IndoorUnit()
"""What one indoor unit offers everywhere in the network."""


def sites_hardware(network: Network) -> dict[str, SiteHardware]:
    """Indoor units, modem cards and line cards of each site, by site id."""
    ends: dict[str, list[HopEnd]] = defaultdict(list)
    for hop in network.hops:
        for site_id in (hop.site_a, hop.site_b):
            ends[site_id].append(HopEnd(hop.id, hop.protection))
    ports: dict[str, Counter[str]] = defaultdict(Counter)
    for service in network.services:
        for site_id in (service.site_a, service.site_b):
            ports[site_id][service.kind] += 1
    return {
        site.id: place_indoor_units(
            site.id,
            ends[site.id],
            unit=UNIT,
            n_units=site.indoor_units,
            duplicated_controller=site.duplicated_controller,
            line_ports=ports[site.id],
        )
        for site in network.sites
    }


def line_card_of(network: Network, hardware: dict[str, SiteHardware]) -> dict[tuple[str, str], str]:
    """Line card that carries each service at each of its ends: (service id, site id) to part id.

    Ports of the indoor units themselves are used first, in the order of the services; a service on one of
    those has no entry.
    """
    used: Counter[tuple[str, str]] = Counter()
    cards = {
        (site_id, kind): [
            f"{site_id}/line-card-{number}"
            for number, (card_kind, _) in enumerate(plan.line_cards, start=1)
            if card_kind == kind
        ]
        for site_id, plan in hardware.items()
        for kind in {service.kind for service in network.services}
    }
    carried: dict[tuple[str, str], str] = {}
    for service in network.services:
        for site_id in (service.site_a, service.site_b):
            place = used[site_id, service.kind]
            used[site_id, service.kind] += 1
            card = _card(service, hardware[site_id], place, cards[site_id, service.kind])
            if card is not None:
                carried[service.id, site_id] = card
    return carried


def _card(service: Service, plan: SiteHardware, place: int, cards: list[str]) -> str | None:
    beyond = place - plan.n_units * UNIT.own_line_ports.get(service.kind, 0)
    if beyond < 0 or not cards:
        return None
    return cards[min(beyond // UNIT.ports_per_line_card[service.kind], len(cards) - 1)]
