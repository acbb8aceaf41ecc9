"""Indoor units of a site: which port and card serves each radio, and what falls together.

The common parts of an indoor unit take down every radio that it serves, in all directions at once: a
network effect, not a hop's. A second controller stands in for the first; a second unit, with each main
radio in one and its standby in the other, leaves a protected hop up when either fails. Radios on one card
fall together, and so do those that are fed over the ports of one line card.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

from hopyears.models.basics.faults import Doubt
from hopyears.models.equipment.hardware import BillRow, SharedCard
from hopyears.models.equipment.part_kind import Place, kinds_at
from hopyears.models.network.hardware_entries import IndoorUnit, LineKind
from hopyears.models.radio.scheme import Scheme

LINE_KINDS: tuple[LineKind, ...] = get_args(LineKind)
"""Kinds of local traffic, each with line ports of its own."""


@dataclass(frozen=True)
class HopEnd:
    """A radio direction of a site: the hop that ends there, its scheme, and whether line ports feed it."""

    hop_id: str
    scheme: Scheme
    fed: bool = False


@dataclass(frozen=True)
class RadioPort:
    """Where a radio is joined: its indoor unit (from 0) and the card there, None for a port of the unit.

    ``fed`` says that it is a line port, which feeds a radio with its modem within; else a modem port. Modem
    cards are counted in their unit, line cards at their site, from 0.
    """

    hop_id: str
    radio: int
    unit: int
    card: int | None
    fed: bool = False


@dataclass(frozen=True)
class SitePart:
    """A common part of a site.

    Parameters
    ----------
    id : str
        Site and part, for instance ``mill/unit-1/controller-1``.
    kind : str
        A kind of part that stands in an indoor unit.
    unit : int
        Indoor unit it belongs to, from 0.
    radios : tuple of (hop id, radio)
        Radios that are down while the part is and nothing stands in for it; none for a line card.
    service : str
        Kind of local traffic that a line card serves, else empty.
    group : str
        Parts of one group stand in for each other: all must be down to take the radios down.
    """

    id: str
    kind: str
    unit: int
    radios: tuple[tuple[str, int], ...]
    service: str
    group: str


@dataclass(frozen=True)
class SiteHardware:
    """Indoor units of a site and all that stands in them.

    Parameters
    ----------
    site_id : str
    offer : IndoorUnit
        What each unit is.
    n_units : int
    ports : tuple of RadioPort
    modem_cards : tuple of int
        In each unit.
    line_cards : tuple of (kind, unit)
    service_cards : mapping of str to tuple of (int or None)
        By kind of traffic, the line card of the first service's port, the second's ...; None for a port of
        a unit itself.
    warnings : tuple of Doubt
        Ways in which the site outgrows its units.
    """

    site_id: str
    offer: IndoorUnit
    n_units: int
    ports: tuple[RadioPort, ...]
    modem_cards: tuple[int, ...]
    line_cards: tuple[tuple[LineKind, int], ...]
    service_cards: Mapping[LineKind, tuple[int | None, ...]]
    warnings: tuple[Doubt, ...]

    def unit_of(self, hop_id: str, radio: int) -> int:
        """Indoor unit that serves a radio. Raises KeyError where the site has no such radio."""
        for port in self.ports:
            if (port.hop_id, port.radio) == (hop_id, radio):
                return port.unit
        raise KeyError((hop_id, radio))

    def served_by(self, unit: int) -> tuple[tuple[str, int], ...]:
        """Radios (hop id, radio) that a unit serves."""
        return tuple((port.hop_id, port.radio) for port in self.ports if port.unit == unit)

    def stopping(self, unit: int) -> tuple[tuple[str, int], ...]:
        """Radios whose modem port is mended with the whole unit out of service."""
        if not self.offer.own_port_stops_unit:
            return ()
        own = (port for port in self.ports if port.unit == unit and port.card is None and not port.fed)
        return tuple((port.hop_id, port.radio) for port in own)

    def modems_of(self, hop_id: str) -> dict[int, SharedCard | None]:
        """Radios of a hop end without a modem part of their own: the card that they need, None for none."""
        found: dict[int, SharedCard | None] = {}
        for port in self.ports:
            if port.hop_id != hop_id:
                continue
            if port.fed:
                found[port.radio] = None if port.card is None else self.line_card(port.card)
            elif port.card is not None and self.offer.ports_per_modem_card > 1:
                name = f"{self.site_id}/unit-{port.unit + 1}/modem-card-{port.card + 1}"
                found[port.radio] = SharedCard(name, "modem_card")
        return found

    def line_card(self, number: int) -> SharedCard:
        """A line card of the site, from 0."""
        return SharedCard(f"{self.site_id}/line-card-{number + 1}", "line_card")


def parts_of_site(hardware: SiteHardware) -> tuple[SitePart, ...]:
    """Common parts of a site's indoor units, one of each kind or as many as the unit has, and line cards."""
    parts: list[SitePart] = []
    counts = {"controller": hardware.offer.controllers, "fan": hardware.offer.fans}
    for unit in range(hardware.n_units):
        place, served = f"{hardware.site_id}/unit-{unit + 1}", hardware.served_by(unit)
        parts += [
            SitePart(f"{place}/{kind.key}-{number}", kind.key, unit, served, "", f"{place}/{kind.key}")
            for kind in kinds_at(Place.UNIT)
            for number in range(1, counts.get(kind.key, 1) + 1)
        ]
    for number, (service, unit) in enumerate(hardware.line_cards):
        card = hardware.line_card(number)
        parts.append(SitePart(card.id, card.kind, unit, (), service, card.id))
    return tuple(parts)


def site_bill(hardware: SiteHardware) -> tuple[BillRow, ...]:
    """Bill of materials of a site's indoor units; hop ends have bills of their own."""
    counts = Counter(kind for kind, _ in hardware.line_cards)
    second = hardware.n_units * (hardware.offer.controllers - 1)
    rows = [
        ("indoor_unit", hardware.n_units, "with its chassis, fans, one controller and ports of its own"),
        ("controller", second, "a second one in each indoor unit"),
        ("modem_card", sum(hardware.modem_cards), "radios beyond the indoor units' own modem ports"),
        *(
            (f"line_card_{kind}", counts[kind], f"{kind} ports beyond the indoor units' own")
            for kind in LINE_KINDS
        ),
    ]
    return tuple(BillRow(hardware.site_id, item, count, why) for item, count, why in rows if count)
