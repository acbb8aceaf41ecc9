"""Placing of a site's radios and local ports in its indoor units, with a warning where it outgrows them."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from math import ceil, inf
from typing import NamedTuple

from hopyears.models.basics.faults import Doubt
from hopyears.models.equipment.indoor_unit import LINE_KINDS, HopEnd, RadioPort, SiteHardware
from hopyears.models.network.hardware_entries import IndoorUnit, LineKind
from hopyears.models.radio.scheme import RadioRole, Scheme, radios_of


def place_indoor_units(
    site_id: str,
    hop_ends: Sequence[HopEnd],
    *,
    unit: IndoorUnit | None = None,
    n_units: int = 0,
    line_ports: Mapping[LineKind, int] | None = None,
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
        Units that the site is given; 0 takes as many as its directions need. Where two or more are given
        and there is room, main radios stand in other units than standbys, and working than protection
        channels. Within a unit they stand on other cards, where there is room.
    line_ports : mapping of str to int, optional
        Local ports wanted of each of ``LINE_KINDS``, besides those that feed radios.

    Returns
    -------
    SiteHardware
        With a warning for each way in which the site outgrows a unit, or the units it was given.

    Raises
    ------
    ValueError
        If ``n_units`` is negative or a kind of local port is unknown.
    """
    offer = unit or IndoorUnit(id="standard")
    wanted = dict(line_ports or {})
    if n_units < 0:
        raise ValueError(f"n_units is {n_units}; must be at least 0")
    for kind in wanted:
        if kind not in LINE_KINDS:
            raise ValueError(f'line_ports has "{kind}"; must be of {", ".join(LINE_KINDS)}')
    ends = [end for end in hop_ends if not end.fed]
    compact = _compact(ends, offer)
    needed = max((place.unit for place in compact), default=0) + 1
    total = max(needed, n_units)
    apart = _apart(ends, offer, total) if n_units >= max(2, needed) else compact
    ports = _modem_ports(compact if apart is None else apart, offer)
    cards = _line_cards(wanted, [end for end in hop_ends if end.fed], offer, total)
    free = _line_port_lists(cards, offer, total)
    fed = [
        RadioPort(end.hop_id, radio.index, *place, fed=True)
        for end in hop_ends
        if end.fed
        for radio, place in _fed_places(end, free["packet"])
    ]
    crowded = apart is None and n_units > needed
    return SiteHardware(
        site_id=site_id,
        offer=offer,
        n_units=total,
        ports=(*ports, *fed),
        modem_cards=tuple(
            len({port.card for port in ports if port.unit == u and port.card is not None})
            for u in range(total)
        ),
        line_cards=cards,
        service_cards={kind: tuple(card for _, card in places) for kind, places in free.items()},
        warnings=tuple(
            Doubt(f'site "{site_id}"', *text_and_law)
            for text_and_law in (
                *_outgrown(ends, offer, needed, n_units, crowded=crowded),
                *_too_many_line_cards(len(cards), total, offer),
            )
        ),
    )


class _Place(NamedTuple):
    """A radio in a unit; ``spare`` if it stands by for others of its hop."""

    hop_id: str
    radio: int
    spare: bool
    unit: int


def _is_spare(scheme: Scheme, radio: RadioRole) -> bool:
    """Whether a radio stands by for others of its hop: a second radio, or one of a protection channel."""
    return radio.order > 0 or radio.channel >= scheme.working


class _Room:
    """What is left in each unit while it is filled."""

    def __init__(self, offer: IndoorUnit) -> None:
        self.offer = offer
        self.ports: Counter[int] = Counter()
        self.directions: dict[int, set[str]] = {}

    def fits(self, unit: int, hop_id: str, radios: int) -> bool:
        others = self.directions.get(unit, set()) - {hop_id}
        most = self.offer.directions_at_most or inf
        return self.ports[unit] + radios <= self.offer.modem_ports and len(others) < most

    def take(self, unit: int, end: HopEnd, radio: RadioRole) -> _Place:
        self.ports[unit] += 1
        self.directions.setdefault(unit, set()).add(end.hop_id)
        return _Place(end.hop_id, radio.index, _is_spare(end.scheme, radio), unit)


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
            places.append(room.take(unit, end, radio))
    return places


def _apart(hop_ends: Sequence[HopEnd], offer: IndoorUnit, n_units: int) -> list[_Place] | None:
    """Spare radios in other units than the radios they stand by for; None where room lacks."""
    room = _Room(offer)
    places: list[_Place] = []
    for number, end in enumerate(hop_ends):
        taken: tuple[set[int], set[int]] = (set(), set())
        for radio in radios_of(end.scheme):
            side = int(_is_spare(end.scheme, radio))
            order = [(number + side + step) % n_units for step in range(n_units)]
            free = [u for u in order if u not in taken[1 - side] and room.fits(u, end.hop_id, 1)]
            if not free:
                return None
            taken[side].add(free[0])
            places.append(room.take(free[0], end, radio))
    return places


def _modem_ports(places: Sequence[_Place], offer: IndoorUnit) -> tuple[RadioPort, ...]:
    """Own ports of each unit first, then cards; a hop's main and spare radios on other cards if it can be."""
    own: Counter[int] = Counter()
    cards: dict[int, list[list[tuple[str, bool]]]] = {}
    ports = []
    for hop_id, radio, spare, unit in places:
        if own[unit] < offer.own_modem_ports:
            own[unit] += 1
            ports.append(RadioPort(hop_id, radio, unit, None))
            continue
        held = cards.setdefault(unit, [])
        room = [card for card, those in enumerate(held) if len(those) < offer.ports_per_modem_card]
        apart = [card for card in room if (hop_id, not spare) not in held[card]]
        if not apart and len(held) < offer.modem_card_slots:
            apart = [len(held)]
            held.append([])
        card = (apart or room)[0]
        held[card].append((hop_id, spare))
        ports.append(RadioPort(hop_id, radio, unit, card))
    return tuple(ports)


def _line_cards(
    wanted: Mapping[LineKind, int], fed: Sequence[HopEnd], offer: IndoorUnit, n_units: int
) -> tuple[tuple[LineKind, int], ...]:
    """(kind, unit) of every line card, dealt over the units; of one port where the unit has no such card."""
    ports = Counter(wanted)
    ports["packet"] += sum(end.scheme.n_radios for end in fed)
    kinds = [
        kind
        for kind in LINE_KINDS
        for _ in range(
            ceil(
                max(0, ports[kind] - n_units * offer.own_line_ports.get(kind, 0))
                / offer.ports_per_line_card.get(kind, 1)
            )
        )
    ]
    return tuple((kind, number % n_units) for number, kind in enumerate(kinds))


def _line_port_lists(
    cards: Sequence[tuple[LineKind, int]], offer: IndoorUnit, n_units: int
) -> dict[LineKind, list[tuple[int, int | None]]]:
    """(unit, line card) of every port of each kind: first those of the units themselves (None)."""
    free: dict[LineKind, list[tuple[int, int | None]]] = {
        kind: [(unit, None) for unit in range(n_units) for _ in range(offer.own_line_ports.get(kind, 0))]
        for kind in LINE_KINDS
    }
    for number, (kind, unit) in enumerate(cards):
        free[kind] += [(unit, number)] * offer.ports_per_line_card.get(kind, 1)
    return free


def _fed_places(
    end: HopEnd, free: list[tuple[int, int | None]]
) -> Iterator[tuple[RadioRole, tuple[int, int | None]]]:
    """Takes a port from the free ones for each radio; main and spare radios on other cards if it can."""
    taken: dict[bool, set[int | None]] = {False: set(), True: set()}
    for radio in radios_of(end.scheme):
        spare = _is_spare(end.scheme, radio)
        apart = [place for place in free if place[1] is None or place[1] not in taken[not spare]]
        place = (apart or free)[0]
        free.remove(place)
        taken[spare].add(place[1])
        yield radio, place


def _outgrown(
    hop_ends: Sequence[HopEnd], offer: IndoorUnit, needed: int, n_units: int, *, crowded: bool
) -> Iterator[tuple[str, ...]]:
    """Sentences on modem ports and directions that are too many, with what many sites may share."""
    if crowded:
        yield (
            f"{n_units} indoor units are too few to keep every standby in another unit than its main radio",
        )
    if needed > max(1, n_units):
        radios = sum(end.scheme.n_radios for end in hop_ends)
        asked = f"{_counted(len(hop_ends), 'direction')} with {_counted(radios, 'radio')}"
        yield f"{needed} indoor units are placed for its {asked}", "fewer are not enough"
    for end in hop_ends:
        if end.scheme.n_radios > offer.modem_ports:
            yield (
                f'hop "{end.hop_id}" has {end.scheme.n_radios} radios here and an indoor unit takes '
                f"{offer.modem_ports}, so they are split over several",
            )


def _too_many_line_cards(n_cards: int, n_units: int, offer: IndoorUnit) -> Iterator[tuple[str]]:
    slots = n_units * offer.line_card_slots
    if n_cards > slots:
        units = "its indoor unit has" if n_units == 1 else f"its {n_units} indoor units have"
        yield (f"its services need {_counted(n_cards, 'line card')}, and {units} slots for {slots}",)


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
