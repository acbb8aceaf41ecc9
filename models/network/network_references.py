"""Rules on names in a network: every id is used once, and whatever an entry refers to exists."""

import dataclasses
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from typing import TypeVar

from hopyears.models.basics.faults import Doubt, Fault, one_of, some_of
from hopyears.models.equipment.part_kind import PART_KINDS
from hopyears.models.money.items import PRICED, WIDTHS, band_of, width_of
from hopyears.models.network.network import Hop, IndoorUnit, Network, Service, Site

Noted = TypeVar("Noted", Fault, Doubt)

ID_FIELDS = {"parts": "kind", "maintenance": "site"}
"""Lists whose entries are told apart by another field than ``id``."""

KINDS = {
    "sites": "site",
    "hops": "hop",
    "radios": "radio",
    "antennas": "antenna",
    "services": "service",
    "rings": "ring",
    "demand_profiles": "demand profile",
    "contracts": "contract",
    "parts": "part",
    "power": "power",
    "indoor_units": "indoor unit",
    "crews": "crew",
    "depots": "depot",
    "maintenance": "maintenance",
}
"""List of a network file to what one entry of it is called."""


def named(kind: str, entry_id: str) -> str:
    """How messages name an entry: ``hop "mill-ridge"``."""
    return f'{kind} "{entry_id}"'


def with_names(found: Iterable[Noted], network: Network) -> Iterator[Noted]:
    """Faults or doubts with the name of their entry behind its id, where it has one."""
    lists: dict[str, tuple[Site | Hop | Service, ...]] = {
        "site": network.sites,
        "hop": network.hops,
        "service": network.services,
    }
    names = {
        named(kind, each.id): each.name for kind, entries in lists.items() for each in entries if each.name
    }
    for each in found:
        name = names.get(each.entry)
        yield dataclasses.replace(each, entry=f"{each.entry} ({name})") if name else each


def _unknown(entry: str, field: str, found: str, known: Collection[str], what: str) -> Iterator[Fault]:
    if found not in known:
        yield Fault(entry, field, f'"{found}"', what, sought=found, known=known)


def unique_ids(network: Network) -> Iterator[Fault]:
    """Every id names one entry of its kind; a site may have several windows of maintenance."""
    for attribute, kind in KINDS.items():
        if attribute == "maintenance":
            continue
        field = ID_FIELDS.get(attribute, "id")
        counts = Counter(getattr(entry, field) for entry in getattr(network, attribute))
        for entry_id, count in counts.items():
            if count > 1:
                yield Fault(named(kind, entry_id), field, f"used {count} times", "unique")


def site_references(network: Network) -> Iterator[Fault]:
    """Ends of hops and services, bases of crews and depots, and places of maintenance are sites."""
    sites = {site.id: None for site in network.sites}
    for kind, entries in (("hop", network.hops), ("service", network.services)):
        for entry in entries:
            yield from _unknown(named(kind, entry.id), "from", entry.site_a, sites, "a site id")
            yield from _unknown(named(kind, entry.id), "to", entry.site_b, sites, "a site id")
    for crew in network.crews:
        yield from _unknown(named("crew", crew.id), "base", crew.base, sites, "a site id")
    for depot in network.depots:
        yield from _unknown(named("depot", depot.id), "base", depot.base, sites, "a site id")
    for number, window in enumerate(network.maintenance, start=1):
        yield from _unknown(f"maintenance {number}", "site", window.site, sites, "a site id")


def radio_references(network: Network) -> Iterator[Fault]:
    """A hop's radio exists."""
    radios = {radio.id: None for radio in network.radios}
    for hop in network.hops:
        yield from _unknown(named("hop", hop.id), "radio", hop.radio, radios, "a radio id")


def antenna_references(network: Network) -> Iterator[Fault]:
    """A hop's antennas exist."""
    antennas = {antenna.id: None for antenna in network.antennas}
    for hop in network.hops:
        entry = named("hop", hop.id)
        yield from _unknown(entry, "antenna", hop.antenna, antennas, "an antenna id")
        if hop.antenna_b is not None:
            yield from _unknown(entry, "antenna_b", hop.antenna_b, antennas, "an antenna id")


def power_references(network: Network) -> Iterator[Fault]:
    """A site's power is described, or the standard one."""
    feeds = {"standard": None, **{entry.id: None for entry in network.power}}
    for site in network.sites:
        yield from _unknown(named("site", site.id), "power", site.power, feeds, 'a power id or "standard"')


def indoor_unit_references(network: Network) -> Iterator[Fault]:
    """A site's indoor unit is described, or the standard one, and has ports for what ends there."""
    units = {"standard": IndoorUnit(id="standard"), **{unit.id: unit for unit in network.indoor_units}}
    for site in network.sites:
        what = 'an indoor unit id or "standard"'
        yield from _unknown(named("site", site.id), "indoor_unit", site.indoor_unit, units, what)
    unit_at = {site.id: units[site.indoor_unit] for site in network.sites if site.indoor_unit in units}
    for service in network.services:
        for site_id in (service.site_a, service.site_b):
            if site_id in unit_at:
                entry = named("service", service.id)
                yield from _no_ports(entry, "kind", service.kind, service.kind, site_id, unit_at[site_id])
    fed = {radio.id for radio in network.radios if radio.powered_by_line_card}
    for hop in network.hops:
        for site_id in (hop.site_a, hop.site_b):
            if hop.radio in fed and site_id in unit_at:
                entry = named("hop", hop.id)
                found = f'"{hop.radio}", powered by line card'
                yield from _no_ports(entry, "radio", "packet", found, site_id, unit_at[site_id])


def _no_ports(
    entry: str, field: str, kind: str, found: str, site_id: str, unit: IndoorUnit
) -> Iterator[Fault]:
    offered = {*unit.own_line_ports, *unit.ports_per_line_card}
    if kind not in offered:
        ports = ", ".join(sorted(offered)) or "none"
        allowed = f'one that needs line ports of indoor unit "{unit.id}" at site "{site_id}": {ports}'
        yield Fault(entry, field, found if " " in found else f'"{found}"', allowed)


def demand_profile_references(network: Network) -> Iterator[Fault]:
    """Demand profiles that services name exist, and circuits have none: a circuit is always busy."""
    profiles = {profile.id: None for profile in network.demand_profiles}
    for service in network.services:
        if service.demand_profile is None:
            continue
        entry = named("service", service.id)
        if service.kind != "packet":
            allowed = f"left out with kind {service.kind}, which asks for all of its rate at all times"
            yield Fault(entry, "demand_profile", f'"{service.demand_profile}"', allowed)
        else:
            what = "a demand profile id"
            yield from _unknown(entry, "demand_profile", service.demand_profile, profiles, what)


def contract_references(network: Network) -> Iterator[Fault]:
    """Services of a contract exist, each once."""
    services = {service.id: None for service in network.services}
    for contract in network.contracts:
        entry = named("contract", contract.id)
        for service, count in Counter(contract.services).items():
            yield from _unknown(entry, "services", service, services, "service ids")
            if count > 1:
                yield Fault(entry, "services", f'"{service}" {count} times', "different service ids")


def part_references(network: Network) -> Iterator[Fault]:
    """Kinds of part that are changed or kept in stock exist."""
    kinds = one_of(PART_KINDS)
    spares = {kind.spare: None for kind in PART_KINDS.values() if kind.spare}
    for change in network.parts:
        yield from _unknown(named("part", change.kind), "kind", change.kind, PART_KINDS, kinds)
    types = {f"outdoor_radio/{hop.radio}": None for hop in network.hops}
    types |= {f"outdoor_radio/{hop.radio}/{hop.sub_band}": None for hop in network.hops if hop.sub_band}
    for depot in network.depots:
        for kind in depot.stock:
            known = types if "/" in kind else spares
            allowed = f"of kinds {some_of(known)}"
            yield from _unknown(named("depot", depot.id), "stock", kind, known, allowed)


def price_references(network: Network) -> Iterator[Fault]:
    """Whatever has a price exists: the item, and the type and band that tell its price apart."""
    types = {
        "": set[str](),
        WIDTHS: {width_of(hop.channel_width_mhz) for hop in network.hops},
        **{key: {entry.id for entry in getattr(network, key)} for key in ("radios", "antennas", "crews")},
        **{
            key: {"standard", *(entry.id for entry in getattr(network, key))}
            for key in ("indoor_units", "power")
        },
    }
    bands = {band_of(hop.frequency_ghz) for hop in network.hops}
    for field in ("once", "yearly"):
        for name in getattr(network.prices, field):
            item, *rest = name.split("/")
            if item not in PRICED:
                items = f"of items {', '.join(PRICED)}"
                yield Fault("prices", field, f'"{name}"', items, sought=item, known=PRICED)
                continue
            known = types[PRICED[item].type_of]
            known_bands = bands if PRICED[item].banded else set[str]()
            right = (
                not rest
                or (len(rest) == 1 and rest[0] in known | known_bands)
                or (len(rest) == 2 and rest[0] in known and rest[1] in known_bands)
            )
            if not right:
                yield Fault("prices", field, f'"{name}"', _names_of_price(item, known, known_bands))


def _names_of_price(item: str, known: Collection[str], bands: Collection[str]) -> str:
    """What the name of a price of an item may be."""
    forms = [item]
    if known:
        forms.append(f"{item}/TYPE with TYPE one of {', '.join(sorted(known))}")
    if bands:
        forms.append(f"{item}/{'TYPE/' if known else ''}BAND with BAND one of {', '.join(sorted(bands))}")
    return ", or ".join(forms)
