"""Indoor hardware of every site, as the network's hops and services need it."""

from collections import Counter, defaultdict
from collections.abc import Mapping

from hopyears.models.equipment.indoor_unit import HopEnd, SiteHardware
from hopyears.models.equipment.unit_placing import place_indoor_units
from hopyears.models.network.hardware_entries import LineKind
from hopyears.models.network.network import Network


def sites_hardware(network: Network) -> dict[str, SiteHardware]:
    """Indoor units, modem cards and line cards of each site, by site id."""
    ends: dict[str, list[HopEnd]] = defaultdict(list)
    for hop in network.hops:
        end = HopEnd(hop.id, hop.protection, network.radio(hop.radio).powered_by_line_card)
        for site_id in (hop.site_a, hop.site_b):
            ends[site_id].append(end)
    ports: dict[str, Counter[LineKind]] = defaultdict(Counter)
    for service in network.services:
        for site_id in (service.site_a, service.site_b):
            ports[site_id][service.kind] += 1
    return {
        site.id: place_indoor_units(
            site.id,
            ends[site.id],
            unit=network.indoor_unit_of(site),
            n_units=site.indoor_units,
            line_ports=ports[site.id],
        )
        for site in network.sites
    }


def line_card_of(network: Network, hardware: Mapping[str, SiteHardware]) -> dict[tuple[str, str], str]:
    """Line card that carries each service at each of its ends: (service id, site id) to part id.

    Ports of the indoor units themselves are used first, in the order of the services; a service on one of
    those has no entry.
    """
    used: Counter[tuple[str, LineKind]] = Counter()
    carried: dict[tuple[str, str], str] = {}
    for service in network.services:
        for site_id in (service.site_a, service.site_b):
            plan = hardware[site_id]
            card = plan.service_cards[service.kind][used[site_id, service.kind]]
            used[site_id, service.kind] += 1
            if card is not None:
                carried[service.id, site_id] = plan.line_card(card).id
    return carried
