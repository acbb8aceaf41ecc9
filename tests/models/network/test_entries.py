"""Entries by themselves: what a field holds just within its range, and what is refused just beyond it.

Ranges of whole fields stand in the generated page of fields too; here are those of a list's items, and rules
between fields of one entry.
"""

import pytest
from pydantic import ValidationError

from hopyears.models.network.climate_entry import ClimateChange
from hopyears.models.network.contract_entry import Contract
from hopyears.models.network.hardware_entries import IndoorUnit
from hopyears.models.network.money_entries import Prices
from hopyears.models.network.network import Antenna, Service, Site
from hopyears.models.network.traffic_entries import DemandProfile
from hopyears.models.network.upkeep_entries import Crew


def refused(entry: type, **fields: object) -> str:
    """What is wrong with an entry; empty where nothing is."""
    try:
        entry(**fields)
    except ValidationError as error:
        return str(error)
    return ""


PLACE = {"id": "a", "latitude_deg": 45.0, "longitude_deg": 11.0}


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("A", ""),
        ("two words, (brackets) and ümlauts", ""),
        ("", "at least 1 character"),
        ("b" * 81, "at most 80 characters"),
        ("line\nline", "text with the sign"),
        # A change of direction turns what follows round (Unicode Standard Annex 9, 2.2; from memory).
        ("abc\u202edef", "text with the sign"),
    ],
)
def test_a_name_is_text_that_a_screen_shows_as_it_is(name: str, fault: str) -> None:
    found = refused(Site, **PLACE, name=name)
    assert fault in found
    assert bool(found) == bool(fault)


def test_a_fault_of_text_names_its_field() -> None:
    assert "name is text with the sign" in refused(Site, **PLACE, name="a\tb")


def test_an_entry_is_closed_and_stays_as_it_is() -> None:
    assert "Extra inputs are not permitted" in refused(Site, **PLACE, colour="red")
    with pytest.raises(ValidationError, match="frozen"):
        Site(**PLACE).latitude_deg = 46.0
    # A default that no file states need not pass the rules for stated values.
    assert Antenna.model_config["validate_default"] is False


def test_months_may_be_dry_and_not_less() -> None:
    desert = (0.0, *[12.0] * 10, 5000.0)
    assert ClimateChange(monthly_rainfall_mm=desert).monthly_rainfall_mm == desert
    assert "greater than or equal to 0" in refused(ClimateChange, monthly_rainfall_mm=(-0.5, *desert[1:]))
    assert "less than or equal to 5000" in refused(ClimateChange, monthly_rainfall_mm=(5000.5, *desert[1:]))


def test_an_hour_asks_for_some_and_at_most_for_all() -> None:
    hours = (0.001, *[0.5] * 22, 1.0)
    assert DemandProfile(id="day", working_day=hours).working_day == hours
    assert "greater than or equal to 0.001" in refused(
        DemandProfile, id="day", working_day=(0.0009, *hours[1:])
    )
    assert "less than or equal to 1" in refused(DemandProfile, id="day", working_day=(1.01, *hours[1:]))


@pytest.mark.parametrize("price", [{"once": {"cable": 1.0}}, {"yearly": {"site": 1.0}}, {"visit": 0.0}])
def test_each_kind_of_price_is_a_price_and_needs_life_and_rate(price: dict[str, object]) -> None:
    assert "life_years" in refused(Prices, **price, discount_rate=0.05)
    assert "discount_rate" in refused(Prices, **price, life_years=10.0)
    assert Prices(**price, life_years=10.0, discount_rate=0.05, currency="€").given  # type: ignore[arg-type]
    assert not Prices().given


@pytest.mark.parametrize(
    ("period", "allowed_min", "kept"),
    [
        # February of 28 days has 40,320 minutes, a year of 365 days 525,600.
        ("month", 40_319.9, True),
        ("month", 40_320.0, False),
        ("month", 40_320.5, False),
        ("year", 40_320.0, True),
        ("year", 525_599.0, True),
        ("year", 525_600.0, False),
    ],
)
def test_a_limit_that_no_period_can_break_is_refused(period: str, allowed_min: float, kept: bool) -> None:
    found = refused(Contract, id="c", services=("s",), period=period, unavailable_min=allowed_min)
    assert kept == (not found)


def test_a_contract_promises_something() -> None:
    assert "availability is missing" in refused(Contract, id="c", services=("s",))
    assert not refused(Contract, id="c", services=("s",), period="month", outages=0)


def test_modem_ports_are_own_ones_and_those_of_all_cards() -> None:
    assert IndoorUnit(id="u", own_modem_ports=2, modem_card_slots=3, ports_per_modem_card=2).modem_ports == 8
    assert "modem_card_slots" in refused(IndoorUnit, id="u", own_modem_ports=0, modem_card_slots=0)


def test_a_shift_lasts() -> None:
    assert "shift_end_h is 8; must be above shift_start_h, 8" in refused(
        Crew, id="c", base="a", shift_start_h=8, shift_end_h=8
    )
    assert not refused(Crew, id="c", base="a", shift_start_h=8, shift_end_h=8.5)


def test_the_way_back_has_a_peak_of_its_own() -> None:
    rates = {"id": "s", "from": "a", "to": "b", "committed_mbit_s": 10.0, "peak_mbit_s": 90.0}
    found = refused(Service, **rates, committed_backward_mbit_s=40.0, peak_backward_mbit_s=30.0)
    assert "peak_backward_mbit_s is 30; must be at least committed_backward_mbit_s, 40" in found
    found = refused(Service, **rates, peak_backward_mbit_s=5.0)
    assert "peak_backward_mbit_s is 5; must be at least committed_mbit_s, 10" in found


@pytest.mark.parametrize(("kind", "share"), [("packet", 0.5), ("circuit", 1.0), ("optical", 1.0)])
def test_below_what_share_a_service_is_down(kind: str, share: float) -> None:
    """A circuit carries all of its rate or nothing; half a packet service is common practice, no source."""
    own = Service(**{"id": "s", "from": "a", "to": "b", "committed_mbit_s": 10.0, "kind": kind})
    assert own.share_to_be_up == share
