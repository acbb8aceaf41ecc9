"""Names of prices: the most special holds, and everything on a bill can have one."""

import pytest

from hopyears.models.equipment.hardware import ITEM_REASONS
from hopyears.models.money.items import PRICED, band_of, price_of, width_of


def test_the_most_special_price_holds():
    prices = {"cable": 1.0, "cable/18GHz": 2.0, "cable/r": 3.0, "cable/r/18GHz": 4.0}
    assert price_of(prices, "cable", "r", "18GHz") == 4.0
    assert price_of(prices, "cable", "r", "23GHz") == 3.0
    assert price_of(prices, "cable", "s", "18GHz") == 2.0
    assert price_of(prices, "cable") == 1.0
    assert price_of(prices, "waveguide", "r") is None


def test_every_item_of_a_hop_can_have_a_price():
    assert set(ITEM_REASONS) <= set(PRICED)


@pytest.mark.parametrize(("ghz", "name"), [(7.0, "7GHz"), (7.5, "8GHz"), (17.9, "18GHz"), (74, "74GHz")])
def test_bands_have_names(ghz, name):
    assert band_of(ghz) == name
    assert width_of(13.75) == "13.75MHz"
    assert width_of(56.0) == "56MHz"
