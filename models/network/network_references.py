"""Rules on names in a network: every id is used once, and whatever an entry refers to exists."""

from collections import Counter
from collections.abc import Collection, Iterator

from hopyears.models.basics.faults import Fault
from hopyears.models.equipment.part_kind import PART_KINDS
from hopyears.models.network.network import IndoorUnit, Network

ID_FIELDS = {"parts": "kind", "maintenance": "site"}
"""Lists whose entries are told apart by another field than ``id``."""

KINDS = {
    "sites": "site",
    "hops": "hop",
    "radios": "radio",
    "antennas": "antenna",
    "services": "service",
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


def part_references(network: Network) -> Iterator[Fault]:
    """Kinds of part that are changed or kept in stock exist."""
    kinds = f"one of {', '.join(PART_KINDS)}"
    spares = {kind.spare: None for kind in PART_KINDS.values() if kind.spare}
    for change in network.parts:
        yield from _unknown(named("part", change.kind), "kind", change.kind, PART_KINDS, kinds)
    types = {f"outdoor_radio/{hop.radio}": None for hop in network.hops}
    types |= {f"outdoor_radio/{hop.radio}/{hop.sub_band}": None for hop in network.hops if hop.sub_band}
    for depot in network.depots:
        for kind in depot.stock:
            known = types if "/" in kind else spares
            allowed = f"of kinds {', '.join(known)}"
            yield from _unknown(named("depot", depot.id), "stock", kind, known, allowed)
