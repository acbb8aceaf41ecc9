"""Modem ports, cards and indoor units of a site, and what falls together when a common part does."""

import re
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from schemes import schemes

from hopyears.models.equipment.hardware import SharedCard
from hopyears.models.equipment.indoor_unit import LINE_KINDS, HopEnd, SiteHardware, parts_of_site, site_bill
from hopyears.models.equipment.unit_placing import place_indoor_units
from hopyears.models.network.hardware_entries import IndoorUnit, LineKind
from hopyears.models.radio.scheme import Scheme, parse_scheme, radios_of


def ends_of(*forms: str) -> list[HopEnd]:
    return [HopEnd(f"hop-{i}", parse_scheme(form)) for i, form in enumerate(forms)]


def bill(hardware: SiteHardware) -> dict[str, int]:
    return {row.item: row.count for row in site_bill(hardware)}


OFFER = IndoorUnit(id="u", own_modem_ports=3, modem_card_slots=3, directions_at_most=5)
"""Invented: three ports of its own, three cards of one port, five directions."""


# Counted by hand. Columns: directions; indoor units, added modem cards, warnings.
@pytest.mark.parametrize(
    ("forms", "units", "cards", "warnings"),
    [
        (["1+0"], 1, 0, 0),
        (["1+0"] * 2, 1, 0, 0),
        (["1+1 HSB"], 1, 0, 0),
        (["1+0"] * 4, 1, 1, 0),
        (["1+1 HSB", "1+0", "1+0"], 1, 1, 0),
        (["1+0"] * 5, 1, 2, 0),
        (["1+1 HSB", "1+1 XPIC"], 1, 3, 0),
        (["1+0"] * 6, 2, 2, 1),
        (["4+0 XPIC", "4+0 XPIC"], 2, 2, 1),
        (["7+2"], 2, 3, 2),
        ([], 1, 0, 0),
    ],
)
def test_units_and_cards_for_the_directions(forms: list[str], units: int, cards: int, warnings: int) -> None:
    hardware = place_indoor_units("mill", ends_of(*forms), unit=OFFER)
    assert hardware.n_units == units
    assert bill(hardware).get("modem_card", 0) == cards
    assert len(hardware.warnings) == warnings


def test_a_site_that_outgrows_its_unit_is_told() -> None:
    hardware = place_indoor_units("mill", ends_of(*["1+0"] * 6), unit=OFFER, n_units=1)
    assert [doubt.sentence() for doubt in hardware.warnings] == [
        'site "mill": 2 indoor units are placed for its 6 directions with 6 radios; fewer are not enough'
    ]
    assert hardware.n_units == 2
    enough = place_indoor_units("mill", ends_of(*["1+0"] * 6), unit=OFFER, n_units=2)
    assert enough.warnings == ()


def test_a_second_unit_keeps_main_and_standby_apart() -> None:
    hardware = place_indoor_units("mill", ends_of("1+1 HSB", "1+1 XPIC", "1+0", "1+1 FD"), n_units=2)
    assert hardware.unit_of("hop-0", 0) != hardware.unit_of("hop-0", 1)
    xpic = [hardware.unit_of("hop-1", radio) for radio in range(4)]
    assert xpic[0] == xpic[1] != xpic[2] == xpic[3]
    assert hardware.unit_of("hop-3", 0) != hardware.unit_of("hop-3", 1)
    assert hardware.warnings == ()
    with pytest.raises(KeyError):
        hardware.unit_of("hop-2", 1)


def test_too_few_units_to_keep_apart_is_told() -> None:
    offer = IndoorUnit(id="u", modem_card_slots=6, directions_at_most=2)
    hardware = place_indoor_units("mill", ends_of("1+1 HSB", "1+1 HSB", "1+0"), unit=offer, n_units=3)
    assert hardware.warnings == ()
    crowded = place_indoor_units("mill", ends_of(*["1+1 HSB"] * 4), unit=offer, n_units=3)
    assert [doubt.text for doubt in crowded.warnings] == [
        "3 indoor units are too few to keep every standby in another unit than its main radio"
    ]


def test_line_cards_follow_the_local_ports() -> None:
    offer = IndoorUnit(
        id="u",
        line_card_slots=4,
        own_line_ports={"packet": 3},
        ports_per_line_card={"packet": 5, "circuit": 12, "optical": 2},
    )
    wanted: dict[LineKind, int] = {"packet": 9, "circuit": 13, "optical": 1}
    hardware = place_indoor_units("mill", ends_of("1+0"), unit=offer, line_ports=wanted)
    assert Counter(kind for kind, _ in hardware.line_cards) == {"packet": 2, "circuit": 2, "optical": 1}
    assert [doubt.sentence() for doubt in hardware.warnings] == [
        'site "mill": its services need 5 line cards, and its indoor unit has slots for 4'
    ]
    roomy = offer.model_copy(update={"line_card_slots": 5})
    assert not place_indoor_units("mill", ends_of("1+0"), unit=roomy, line_ports=wanted).warnings
    assert bill(hardware)["line_card_circuit"] == 2
    assert hardware.service_cards["packet"][:9] == (None, None, None, 0, 0, 0, 0, 0, 1)
    twice = place_indoor_units("mill", ends_of("1+0"), unit=offer, n_units=2, line_ports={"packet": 9})
    assert [unit for _, unit in twice.line_cards] == [0]


def test_common_parts_take_down_their_unit_in_all_directions() -> None:
    hardware = place_indoor_units("mill", ends_of("1+0", "1+1 HSB"))
    parts = parts_of_site(hardware)
    assert [part.id for part in parts] == [
        "mill/unit-1/controller-1",
        "mill/unit-1/chassis-1",
        "mill/unit-1/fan-1",
    ]
    assert all(part.radios == (("hop-0", 0), ("hop-1", 0), ("hop-1", 1)) for part in parts)
    assert len({part.group for part in parts}) == 3


def test_a_duplicated_controller_is_one_group_of_two() -> None:
    offer = IndoorUnit(id="u", controllers=2, fans=3)
    hardware = place_indoor_units("mill", ends_of("1+0"), unit=offer, n_units=2)
    groups = Counter(part.group for part in parts_of_site(hardware))
    assert groups["mill/unit-1/controller"] == groups["mill/unit-2/controller"] == 2
    assert groups["mill/unit-1/chassis"] == 1
    assert groups["mill/unit-2/fan"] == 3
    assert bill(hardware) == {"indoor_unit": 2, "controller": 2, "modem_card": 1}


def test_a_site_may_do_without_fans() -> None:
    hardware = place_indoor_units("mill", ends_of("1+0"), unit=IndoorUnit(id="u", fans=0))
    assert {part.kind for part in parts_of_site(hardware)} == {"controller", "chassis"}


def cards_of(hardware: SiteHardware, hop: str) -> list[int | None]:
    return [port.card for port in hardware.ports if port.hop_id == hop]


def test_radios_that_protect_each_other_stand_on_other_cards_where_there_is_room() -> None:
    offer = IndoorUnit(id="u", ports_per_modem_card=2, modem_card_slots=3)
    hardware = place_indoor_units("mill", ends_of("1+1 HSB", "2+0", "1+1 FD"), unit=offer)
    assert [cards_of(hardware, f"hop-{i}") for i in range(3)] == [[0, 1], [0, 1], [2, 2]]
    roomy = place_indoor_units(
        "mill", ends_of("1+1 HSB", "2+0", "1+1 FD"), unit=offer.model_copy(update={"modem_card_slots": 4})
    )
    assert cards_of(roomy, "hop-2") == [2, 3]
    assert bill(roomy)["modem_card"] == 4


def test_cards_of_several_ports_are_shared_parts_and_own_ports_are_not() -> None:
    offer = IndoorUnit(id="u", ports_per_modem_card=2, own_modem_ports=1)
    hardware = place_indoor_units("mill", ends_of("1+0", "2+0", "1+0"), unit=offer)
    assert hardware.modems_of("hop-0") == {}
    first, second = (SharedCard(f"mill/unit-1/modem-card-{i}", "modem_card") for i in (1, 2))
    assert hardware.modems_of("hop-1") == {0: first, 1: first}
    assert hardware.modems_of("hop-2") == {0: second}
    single = place_indoor_units("mill", ends_of("2+0"))
    assert single.modems_of("hop-0") == {}


def test_radios_fed_over_line_ports_take_packet_ports_and_no_modem() -> None:
    offer = IndoorUnit(id="u", own_line_ports={"packet": 1}, ports_per_line_card={"packet": 2})
    fed = HopEnd("fed", parse_scheme("1+1 HSB"), fed=True)
    hardware = place_indoor_units("mill", [*ends_of("1+0"), fed], unit=offer, line_ports={"packet": 2})
    line_card = SharedCard("mill/line-card-1", "line_card")
    assert hardware.modems_of("fed") == {0: None, 1: line_card}
    assert bill(hardware) == {"indoor_unit": 1, "modem_card": 1, "line_card_packet": 2}
    # The services take what the radios have left: one port of the first card, one of the second.
    assert hardware.service_cards["packet"][:2] == (0, 1)
    apart = place_indoor_units("mill", [fed], unit=IndoorUnit(id="u", own_line_ports={}))
    assert len(set(apart.modems_of("fed").values())) == 1  # one card of ten ports is all there is
    pairs = IndoorUnit(id="u", own_line_ports={}, ports_per_line_card={"packet": 2})
    apart = place_indoor_units("mill", [fed], unit=pairs, line_ports={"packet": 2})
    assert len(set(apart.modems_of("fed").values())) == 2  # of two cards, main and standby take one each


def test_who_stops_the_unit_to_be_mended() -> None:
    offer = IndoorUnit(id="u", own_modem_ports=2, own_port_stops_unit=True)
    hardware = place_indoor_units("mill", ends_of("2+0", "1+0"), unit=offer)
    assert hardware.stopping(0) == (("hop-0", 0), ("hop-0", 1))
    calm = place_indoor_units("mill", ends_of("2+0"), unit=IndoorUnit(id="u", own_modem_ports=2))
    assert calm.stopping(0) == ()


sites = st.lists(schemes(6, 3), max_size=5)


@given(sites, st.integers(2, 5))
def test_units_to_spare_keep_every_hop_up_when_one_fails(chosen: list[Scheme], n_units: int) -> None:
    ends = [HopEnd(f"hop-{i}", scheme) for i, scheme in enumerate(chosen)]
    hardware = place_indoor_units("mill", ends, n_units=n_units)
    if hardware.warnings:
        return
    needed = place_indoor_units("mill", ends).n_units
    for end in ends if n_units > needed else []:
        for unit in range(n_units):
            up = {r.channel for r in radios_of(end.scheme) if hardware.unit_of(end.hop_id, r.index) != unit}
            if end.scheme.standby or end.scheme.protection >= end.scheme.working:
                assert len(up) >= end.scheme.working


@given(sites, st.integers(0, 5), st.booleans(), st.integers(1, 3))
def test_every_radio_has_one_port_within_what_units_offer(
    chosen: list[Scheme], n_units: int, duplicated: bool, ports: int
) -> None:
    offer = OFFER.model_copy(update={"controllers": 1 + duplicated, "ports_per_modem_card": ports})
    ends = [HopEnd(f"hop-{i}", scheme) for i, scheme in enumerate(chosen)]
    hardware = place_indoor_units("mill", ends, unit=offer, n_units=n_units)
    placed = [(port.hop_id, port.radio) for port in hardware.ports]
    assert sorted(placed) == sorted((e.hop_id, r.index) for e in ends for r in radios_of(e.scheme))
    assert hardware.n_units >= max(1, n_units)
    for unit in range(hardware.n_units):
        used = [port for port in hardware.ports if port.unit == unit]
        assert len(used) <= offer.modem_ports
        assert len({port.hop_id for port in used}) <= (offer.directions_at_most or 0)
        on_card = Counter(port.card for port in used)
        assert on_card.pop(None, 0) <= offer.own_modem_ports
        assert len(on_card) == hardware.modem_cards[unit] <= offer.modem_card_slots
        assert all(count <= ports for count in on_card.values())
    if sum(len(radios_of(scheme)) for scheme in chosen) > hardware.n_units * offer.modem_ports:
        raise AssertionError("more radios than ports")
    served = Counter(
        pair for part in parts_of_site(hardware) if part.kind == "chassis" for pair in part.radios
    )
    assert served == Counter(placed)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: place_indoor_units("mill", [], n_units=-1), "n_units is -1; must be at least 0"),
        (
            lambda: place_indoor_units("mill", [], line_ports={"fax": 1}),
            f'line_ports has "fax"; must be of {", ".join(LINE_KINDS)}',
        ),
        (lambda: IndoorUnit(id="u", ports_per_modem_card=0), "greater than or equal to 1"),
        (
            lambda: IndoorUnit(id="u", own_modem_ports=0, modem_card_slots=0),
            "modem_card_slots is 0 without own_modem_ports; must be 1 or more, or own ports given",
        ),
        (
            lambda: IndoorUnit(id="u", own_port_stops_unit=True),
            "own_port_stops_unit is true without own_modem_ports; must be false, or own ports given",
        ),
    ],
)
def test_bad_input_is_named(call: object, said: str) -> None:
    assert callable(call)
    with pytest.raises(ValueError, match=re.escape(said)):
        call()
