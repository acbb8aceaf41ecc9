"""Cost of a plan: plain sums over its bills, and no silent zero."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from schemes import schemes

from hopyears.models.equipment.hardware import ITEM_REASONS, BillRow, Mounting, bill_of, parts_of_hop
from hopyears.models.equipment.indoor_unit import HopEnd, site_bill
from hopyears.models.equipment.money import cost_of, cost_rows
from hopyears.models.equipment.unit_placing import place_indoor_units
from hopyears.models.radio.scheme import Scheme, parse_scheme

# Invented prices, in any currency.
PRICES = {
    "antenna_single_polarised": 800.0,
    "antenna_dual_polarised": 1000.0,
    "hybrid_coupler": 300.0,
    "orthomode_transducer": 250.0,
    "two_polarisation_coupler": 900.0,
    "branching_filter": 1500.0,
    "waveguide": 120.0,
    "outdoor_radio": 2000.0,
    "cable": 100.0,
    "indoor_unit": 3000.0,
    "modem_card": 700.0,
}


def test_hop_by_hand() -> None:
    hot = bill_of(parts_of_hop("h", parse_scheme("1+1 HSB")))
    assert cost_of(hot, PRICES) == 2 * (800 + 300 + 2 * 2000 + 2 * 100)
    co_channel = bill_of(parts_of_hop("h", parse_scheme("2+0 XPIC"), Mounting.WAVEGUIDE))
    assert cost_of(co_channel, PRICES) == 2 * (1000 + 250 + 2 * 120 + 2 * 2000 + 2 * 100)


def test_site_by_hand() -> None:
    site = place_indoor_units("mill", [HopEnd(f"h{i}", parse_scheme("1+0")) for i in range(4)])
    assert cost_of(site_bill(site), PRICES) == 3000 + 4 * 700


def test_rows_keep_place_and_count() -> None:
    (row,) = cost_rows([BillRow("mill", "cable", 3, "why")], {"cable": 12.5})
    assert (row.place, row.item, row.count, row.unit_price, row.cost) == ("mill", "cable", 3, 12.5, 37.5)


@given(schemes(6, 3), st.sampled_from(Mounting))
def test_cost_is_linear_in_prices_and_adds_over_places(scheme: Scheme, mounting: Mounting) -> None:
    rows = bill_of(parts_of_hop("h", scheme, mounting))
    total = cost_of(rows, PRICES)
    assert cost_of(rows, {item: 2 * price for item, price in PRICES.items()}) == pytest.approx(2 * total)
    assert sum(cost_of([row], PRICES) for row in rows) == pytest.approx(total)
    assert set(PRICES) | {"modem_port"} >= {row.item for row in rows} <= set(ITEM_REASONS)


def test_missing_and_impossible_prices_are_named() -> None:
    rows = bill_of(parts_of_hop("h", parse_scheme("1+1 HSB")))
    with pytest.raises(ValueError, match="prices is without cable, hybrid_coupler; must have every item"):
        cost_of(rows, {"antenna_single_polarised": 1.0, "outdoor_radio": 1.0})
    for bad in (-1.0, float("nan"), float("inf")):
        with pytest.raises(ValueError, match=f"price of cable is {bad}; must be at least 0"):
            cost_of(rows, PRICES | {"cable": bad})
