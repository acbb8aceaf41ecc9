"""Indoor units of a site: which modem port and card serves each radio, and what falls together.

The common parts of an indoor unit take down every radio that it serves, in all directions at once: a
network effect, not a hop's. A duplicated controller removes one such part; a second unit, with each main
radio in one and its standby in the other, leaves a protected hop up when either fails.

All defaults are common practice, no source.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from types import MappingProxyType

from models.faults import Fault
from models.hardware import BillRow
from models.scheme import Scheme, radios_of

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


def place_indoor_units(
    site_id: str,
    hop_ends: Sequence[HopEnd],
    *,
    unit: IndoorUnit | None = None,
    n_units: int = 0,
    duplicated_controller: bool = False,
    line_ports: Mapping[str, int] | None = None,
) -> SiteHardware:
    """Place modem ports, modem cards and line cards in the indoor units of a site.

    Parameters
    ----------
    site_id : str
    hop_ends : sequence of HopEnd
        Radio directions, in the order of their placing.
    unit : IndoorUnit, optional
        What one unit offers.
    n_units : int
        Units that the site is given; 0 takes as many as its directions need. With more than they need,
        every main radio stands in another unit than its standby, and working channels than protection.
    duplicated_controller : bool
        Every unit has a second controller.
    line_ports : mapping of str to int, optional
        Local ports wanted of each of ``SERVICE_KINDS``.

    Returns
    -------
    SiteHardware
        With a warning for each way in which the site outgrows a unit, or the units it was given.

    Raises
    ------
    ValueError
        If ``n_units`` is negative or a kind of local port is unknown.
    """
    offer = unit or IndoorUnit()
    wanted = dict(line_ports or {})
    if n_units < 0:
        raise ValueError(f"n_units is {n_units}; must be at least 0")
    for kind in wanted:
        if kind not in SERVICE_KINDS:
            raise ValueError(f'line_ports has "{kind}"; must be of {", ".join(SERVICE_KINDS)}')
    compact = _compact(hop_ends, offer)
    needed = max((place for _, _, place in compact), default=0) + 1
    total = max(needed, n_units)
    apart = _apart(hop_ends, offer, total) if total > needed else compact
    places = compact if apart is None else apart
    ports = _modem_ports(places, offer)
    used = Counter(port.unit for port in ports)
    cards = tuple(
        ceil(max(0, used[u] - offer.own_modem_ports) / offer.ports_per_modem_card) for u in range(total)
    )
    line_cards, line_warnings = _line_cards(site_id, wanted, offer, total)
    return SiteHardware(
        site_id=site_id,
        n_units=total,
        duplicated_controller=duplicated_controller,
        modem_ports=ports,
        modem_cards=cards,
        line_cards=line_cards,
        warnings=(
            *_outgrown(site_id, hop_ends, offer, needed, n_units, kept_apart=apart is not None),
            *line_warnings,
        ),
    )


_Place = tuple[str, int, int]


class _Room:
    """What is left in each unit while it is filled."""

    def __init__(self, offer: IndoorUnit) -> None:
        self.offer = offer
        self.ports: Counter[int] = Counter()
        self.directions: dict[int, set[str]] = {}

    def fits(self, unit: int, hop_id: str, radios: int) -> bool:
        others = self.directions.get(unit, set()) - {hop_id}
        return (
            self.ports[unit] + radios <= self.offer.modem_ports
            and len(others) < self.offer.maximum_directions
        )

    def take(self, unit: int, hop_id: str, radio: int) -> _Place:
        self.ports[unit] += 1
        self.directions.setdefault(unit, set()).add(hop_id)
        return (hop_id, radio, unit)


def _compact(hop_ends: Sequence[HopEnd], offer: IndoorUnit) -> list[_Place]:
    """First unit with room for the whole hop end; one too large for any unit is split over several."""
    room = _Room(offer)
    places: list[_Place] = []
    for end in hop_ends:
        radios = radios_of(end.scheme)
        whole = len(radios) <= offer.modem_ports
        unit = 0
        for radio in radios:
            while not room.fits(unit, end.hop_id, len(radios) - radio.index if whole else 1):
                unit += 1
            places.append(room.take(unit, end.hop_id, radio.index))
    return places


def _apart(hop_ends: Sequence[HopEnd], offer: IndoorUnit, n_units: int) -> list[_Place] | None:
    """Second radios and protection channels in the next unit to the main radios'; None where room lacks."""
    room = _Room(offer)
    places: list[_Place] = []
    for number, end in enumerate(hop_ends):
        for radio in radios_of(end.scheme):
            second = radio.order > 0 or radio.channel >= end.scheme.working
            order = [(number + second + step) % n_units for step in range(n_units)]
            free = next((u for u in order if room.fits(u, end.hop_id, 1)), None)
            if free is None:
                return None
            places.append(room.take(free, end.hop_id, radio.index))
    return places


def _modem_ports(places: Iterable[_Place], offer: IndoorUnit) -> tuple[ModemPort, ...]:
    filled: Counter[int] = Counter()
    ports = []
    for hop_id, radio, unit in places:
        filled[unit] += 1
        ports.append(ModemPort(hop_id, radio, unit, filled[unit] > offer.own_modem_ports))
    return tuple(ports)


def _line_cards(
    site_id: str, wanted: Mapping[str, int], offer: IndoorUnit, n_units: int
) -> tuple[tuple[tuple[str, int], ...], list[Fault]]:
    """(kind, unit) of every line card, dealt over the units; a warning where slots run out."""
    kinds = [
        kind
        for kind in SERVICE_KINDS
        for _ in range(
            ceil(
                max(0, wanted.get(kind, 0) - n_units * offer.own_line_ports.get(kind, 0))
                / offer.ports_per_line_card.get(kind, 1)
            )
        )
    ]
    cards = tuple((kind, number % n_units) for number, kind in enumerate(kinds))
    slots = n_units * offer.line_card_slots
    if len(kinds) <= slots:
        return cards, []
    allowed = f"at most {slots} in {_counted(n_units, 'indoor unit')}"
    return cards, [Fault(f'site "{site_id}"', "line cards", str(len(kinds)), allowed)]


def _outgrown(
    site_id: str,
    hop_ends: Sequence[HopEnd],
    offer: IndoorUnit,
    needed: int,
    n_units: int,
    *,
    kept_apart: bool,
) -> list[Fault]:
    entry = f'site "{site_id}"'
    found = []
    if not kept_apart:
        field = "indoor units"
        found.append(Fault(entry, field, str(n_units), "more to keep each standby in a unit of its own"))
    radios = sum(end.scheme.n_radios for end in hop_ends)
    if needed > max(1, n_units):
        found.append(
            Fault(
                entry,
                "indoor units",
                f"{_counted(max(1, n_units), 'unit')} for {_counted(len(hop_ends), 'direction')} "
                f"with {_counted(radios, 'radio')}",
                f"{needed}, at {offer.maximum_directions} directions and {offer.modem_ports} radios each",
                f"{needed} are placed",
            )
        )
    found += [
        Fault(
            entry,
            f'radios of hop "{end.hop_id}"',
            str(end.scheme.n_radios),
            f"at most {offer.modem_ports} for one indoor unit",
            "They are split over several",
        )
        for end in hop_ends
        if end.scheme.n_radios > offer.modem_ports
    ]
    return found


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


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
