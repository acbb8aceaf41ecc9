"""Modem ports, cards and indoor units of a site, and what falls together when a common part does."""

import re
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from schemes import schemes

from hopyears.models.equipment.indoor_unit import (
    SERVICE_KINDS,
    HopEnd,
    IndoorUnit,
    SiteHardware,
    parts_of_site,
    site_bill,
)
from hopyears.models.equipment.unit_placing import place_indoor_units
from hopyears.models.radio.scheme import Scheme, parse_scheme, radios_of


def ends_of(*forms: str) -> list[HopEnd]:
    return [HopEnd(f"hop-{i}", parse_scheme(form)) for i, form in enumerate(forms)]


def bill(hardware: SiteHardware) -> dict[str, int]:
    return {row.item: row.count for row in site_bill(hardware)}


# A unit has two modem ports of its own and takes up to six directions with added modem cards: common
# practice, no source. Columns: directions; indoor units, added modem cards, warnings.
@pytest.mark.parametrize(
    ("forms", "units", "cards", "warnings"),
    [
        (["1+0"], 1, 0, 0),
        (["1+0"] * 2, 1, 0, 0),
        (["1+1 HSB"], 1, 0, 0),
        (["1+0"] * 3, 1, 1, 0),
        (["1+1 HSB", "1+0"], 1, 1, 0),
        (["1+0"] * 6, 1, 4, 0),
        (["1+1 HSB", "1+1 XPIC"], 1, 4, 0),
        (["1+0"] * 7, 2, 4, 1),
        (["4+0 XPIC", "4+0 XPIC"], 2, 4, 1),
        (["7+2"], 2, 5, 2),
        ([], 1, 0, 0),
    ],
)
def test_units_and_cards_for_the_directions(forms: list[str], units: int, cards: int, warnings: int) -> None:
    hardware = place_indoor_units("mill", ends_of(*forms))
    assert hardware.n_units == units
    assert bill(hardware).get("modem_card", 0) == cards
    assert len(hardware.warnings) == warnings


def test_a_site_that_outgrows_its_unit_is_told() -> None:
    hardware = place_indoor_units("mill", ends_of(*["1+0"] * 7), n_units=1)
    assert [fault.sentence() for fault in hardware.warnings] == [
        'site "mill": indoor units is 1 unit for 7 directions with 7 radios; '
        "must be 2, at 6 directions and 6 radios each. 2 are placed"
    ]
    assert hardware.n_units == 2
    enough = place_indoor_units("mill", ends_of(*["1+0"] * 7), n_units=2)
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
    offer = IndoorUnit(maximum_directions=2)
    hardware = place_indoor_units("mill", ends_of("1+1 HSB", "1+1 HSB", "1+0"), unit=offer, n_units=3)
    assert hardware.warnings == ()
    crowded = place_indoor_units("mill", ends_of(*["1+1 HSB"] * 4), unit=offer, n_units=3)
    assert [fault.allowed for fault in crowded.warnings] == ["more to keep each standby in a unit of its own"]


def test_line_cards_follow_the_local_ports() -> None:
    hardware = place_indoor_units(
        "mill", ends_of("1+0"), line_ports={"ethernet": 9, "circuit": 17, "optical": 1}
    )
    # Four Ethernet ports are the unit's own; cards have 4, 16 and 1 ports (common practice, no source).
    assert Counter(kind for kind, _ in hardware.line_cards) == {"ethernet": 2, "circuit": 2, "optical": 1}
    assert [fault.sentence() for fault in hardware.warnings] == [
        'site "mill": line cards is 5; must be at most 4 in 1 indoor unit'
    ]
    assert bill(hardware)["line_card_circuit"] == 2
    twice = place_indoor_units("mill", ends_of("1+0"), n_units=2, line_ports={"ethernet": 9})
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
    hardware = place_indoor_units("mill", ends_of("1+0"), n_units=2, duplicated_controller=True)
    groups = Counter(part.group for part in parts_of_site(hardware))
    assert groups["mill/unit-1/controller"] == groups["mill/unit-2/controller"] == 2
    assert groups["mill/unit-1/chassis"] == 1
    assert bill(hardware) == {"indoor_unit": 2, "controller": 2}


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


@given(sites, st.integers(0, 5), st.booleans())
def test_every_radio_has_one_port_within_what_units_offer(
    chosen: list[Scheme], n_units: int, duplicated: bool
) -> None:
    offer = IndoorUnit()
    ends = [HopEnd(f"hop-{i}", scheme) for i, scheme in enumerate(chosen)]
    hardware = place_indoor_units("mill", ends, n_units=n_units, duplicated_controller=duplicated)
    placed = [(port.hop_id, port.radio) for port in hardware.modem_ports]
    assert sorted(placed) == sorted((e.hop_id, r.index) for e in ends for r in radios_of(e.scheme))
    assert hardware.n_units >= max(1, n_units)
    for unit in range(hardware.n_units):
        ports = [port for port in hardware.modem_ports if port.unit == unit]
        assert len(ports) <= offer.modem_ports
        assert len({port.hop_id for port in ports}) <= offer.maximum_directions
        assert sum(port.on_card for port in ports) == hardware.modem_cards[unit] <= offer.modem_card_slots
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
            f'line_ports has "fax"; must be of {", ".join(SERVICE_KINDS)}',
        ),
        (lambda: IndoorUnit(ports_per_modem_card=0), "ports_per_modem_card is 0; must be at least 1"),
        (
            lambda: IndoorUnit(own_modem_ports=0, modem_card_slots=0),
            "modem_ports is 0; must be at least 1",
        ),
    ],
)
def test_bad_input_is_named(call: object, said: str) -> None:
    assert callable(call)
    with pytest.raises(ValueError, match=re.escape(said)):
        call()
