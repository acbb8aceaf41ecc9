"""Placing of a site's radios and local ports in its indoor units, with a warning where it outgrows them."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from math import ceil

from hopyears.models.basics.faults import Fault
from hopyears.models.equipment.indoor_unit import SERVICE_KINDS, HopEnd, IndoorUnit, ModemPort, SiteHardware
from hopyears.models.radio.scheme import radios_of


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
        Units that the site is given; 0 takes as many as its directions need. Where two or more are given
        and there is room, main radios stand in other units than standbys, and working than protection
        channels.
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
    apart = _apart(hop_ends, offer, total) if n_units >= max(2, needed) else compact
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
            *_outgrown(
                site_id, hop_ends, offer, needed, n_units, kept_apart=apart is not None or n_units <= needed
            ),
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
    """Second radios and protection channels in other units than the main radios; None where room lacks."""
    room = _Room(offer)
    places: list[_Place] = []
    for number, end in enumerate(hop_ends):
        taken: tuple[set[int], set[int]] = (set(), set())
        for radio in radios_of(end.scheme):
            side = int(radio.order > 0 or radio.channel >= end.scheme.working)
            order = [(number + side + step) % n_units for step in range(n_units)]
            free = [u for u in order if u not in taken[1 - side] and room.fits(u, end.hop_id, 1)]
            if not free:
                return None
            taken[side].add(free[0])
            places.append(room.take(free[0], end.hop_id, radio.index))
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
