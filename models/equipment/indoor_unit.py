"""Indoor units of a site: which modem port and card serves each radio, and what falls together.

The common parts of an indoor unit take down every radio that it serves, in all directions at once: a
network effect, not a hop's. A duplicated controller removes one such part; a second unit, with each main
radio in one and its standby in the other, leaves a protected hop up when either fails.

All defaults are common practice, no source.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from hopyears.models.basics.faults import Fault
from hopyears.models.equipment.hardware import BillRow
from hopyears.models.radio.scheme import Scheme

SERVICE_KINDS = ("ethernet", "circuit", "optical")
"""Kinds of local traffic: Ethernet; native or packet-carried circuits; channelised optical."""


@dataclass(frozen=True)
class IndoorUnit:
    """What one indoor unit offers.

    Parameters
    ----------
    own_modem_ports : int
        Radios that it serves without an added card.
    modem_card_slots, ports_per_modem_card : int
        Added modem cards, and radios that each serves.
    maximum_directions : int
        Radio directions (hop ends) that it takes.
    line_card_slots : int
        Line cards that it takes.
    own_line_ports, ports_per_line_card : mapping of str to int
        Local ports of each of ``SERVICE_KINDS``, without a line card and on each line card.
    """

    own_modem_ports: int = 2
    modem_card_slots: int = 4
    ports_per_modem_card: int = 1
    maximum_directions: int = 6
    line_card_slots: int = 4
    own_line_ports: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({"ethernet": 4}))
    ports_per_line_card: Mapping[str, int] = field(
        default_factory=lambda: MappingProxyType({"ethernet": 4, "circuit": 16, "optical": 1})
    )

    def __post_init__(self) -> None:
        """Refuse a unit that can serve nothing."""
        for name, least in (
            ("own_modem_ports", 0),
            ("modem_card_slots", 0),
            ("ports_per_modem_card", 1),
            ("modem_ports", 1),
            ("maximum_directions", 1),
            ("line_card_slots", 0),
        ):
            if getattr(self, name) < least:
                raise ValueError(f"{name} is {getattr(self, name)}; must be at least {least}")

    @property
    def modem_ports(self) -> int:
        """Radios that it serves with every modem card added."""
        return self.own_modem_ports + self.modem_card_slots * self.ports_per_modem_card


@dataclass(frozen=True)
class HopEnd:
    """A radio direction of a site: the hop that ends there and its scheme."""

    hop_id: str
    scheme: Scheme


@dataclass(frozen=True)
class ModemPort:
    """Where a radio's modem stands: its indoor unit (from 0), on an added card or on the unit itself."""

    hop_id: str
    radio: int
    unit: int
    on_card: bool


@dataclass(frozen=True)
class SitePart:
    """A common part of a site.

    Parameters
    ----------
    id : str
        Site and part, for instance ``mill/unit-1/controller-1``.
    kind : str
        controller, chassis, fan or line_card.
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
    """Indoor units of a site and all that stands in them."""

    site_id: str
    n_units: int
    duplicated_controller: bool
    modem_ports: tuple[ModemPort, ...]
    modem_cards: tuple[int, ...]
    line_cards: tuple[tuple[str, int], ...]
    warnings: tuple[Fault, ...]

    def unit_of(self, hop_id: str, radio: int) -> int:
        """Indoor unit that serves a radio. Raises KeyError where the site has no such radio."""
        for port in self.modem_ports:
            if (port.hop_id, port.radio) == (hop_id, radio):
                return port.unit
        raise KeyError((hop_id, radio))


def parts_of_site(hardware: SiteHardware) -> tuple[SitePart, ...]:
    """Common parts of a site's indoor units: controllers, chassis, fan and line cards of each."""
    parts: list[SitePart] = []
    for unit in range(hardware.n_units):
        place = f"{hardware.site_id}/unit-{unit + 1}"
        served = tuple((port.hop_id, port.radio) for port in hardware.modem_ports if port.unit == unit)
        controllers = 2 if hardware.duplicated_controller else 1
        names = [("controller", number + 1) for number in range(controllers)] + [("chassis", 1), ("fan", 1)]
        parts += [
            SitePart(f"{place}/{kind}-{number}", kind, unit, served, "", f"{place}/{kind}")
            for kind, number in names
        ]
    for number, (service, unit) in enumerate(hardware.line_cards, start=1):
        name = f"{hardware.site_id}/line-card-{number}"
        parts.append(SitePart(name, "line_card", unit, (), service, name))
    return tuple(parts)


def site_bill(hardware: SiteHardware) -> tuple[BillRow, ...]:
    """Bill of materials of a site's indoor units; hop ends have bills of their own."""
    counts = Counter(kind for kind, _ in hardware.line_cards)
    rows = [
        ("indoor_unit", hardware.n_units, "with one controller, chassis, fan and modem ports of its own"),
        (
            "controller",
            hardware.n_units if hardware.duplicated_controller else 0,
            "a second one in each indoor unit",
        ),
        ("modem_card", sum(hardware.modem_cards), "radios beyond the indoor units' own modem ports"),
        *(
            (f"line_card_{kind}", counts[kind], f"{kind} ports beyond the indoor units' own")
            for kind in SERVICE_KINDS
        ),
    ]
    return tuple(BillRow(hardware.site_id, item, count, why) for item, count, why in rows if count)
