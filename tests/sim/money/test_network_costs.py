"""Bills with prices: every row counted once, what has no price is named, and a run adds its journeys."""

import pandas as pd
import pytest
from network_text import small, write

from hopyears.models.money.items import PRICED
from hopyears.sim.commands import main
from hopyears.sim.inputs.input_errors import FaultList, InputError
from hopyears.sim.inputs.network_build import build_network
from hopyears.sim.inputs.network_file import read_network
from hopyears.sim.money.network_costs import (
    bill_items,
    by_item,
    cost_frame,
    cost_rows,
    run_rows,
    terms_of,
    without_price,
)

PRICES = {
    "currency": "shells",
    "life_years": 10.0,
    "discount_rate": 0.0,
    "once": {"outdoor_radio": 100.0, "antenna_single_polarised/dish/18GHz": 30.0, "battery_hour": 4.0},
    "yearly": {"licence/28MHz": 50.0, "spectrum_mhz": 2.0, "site": 7.0, "crew": 1000.0},
    "visit": 5.0,
}


def priced(**changes):
    return build_network(small() | {"prices": PRICES | changes}, "network.toml", {}, FaultList(), {})


def test_a_bill_by_hand():
    """Three hops, one of them hot standby: 8 radios, 6 antennas; three licences of 28 MHz; four sites."""
    rows = {}
    for row in cost_rows(priced()):
        count, _, _ = rows.get(row.item, (0.0, None, None))
        rows[row.item] = (count + row.count, row.once, row.yearly)
    assert rows["outdoor_radio"] == (8.0, 100.0, None)
    assert rows["antenna_single_polarised"] == (6.0, 30.0, None)
    assert rows["mast_space"] == (6.0, None, None)
    assert rows["hybrid_coupler"] == (2.0, None, None)
    assert rows["licence"] == (3.0, None, 50.0 + 28.0 * 2.0)
    assert rows["site"] == (4.0, None, 7.0)
    assert rows["battery_hour"] == (16.0, 4.0, None)
    assert rows["crew"] == (1.0, None, 1000.0)
    assert rows["spare_cable"] == (1.0, None, None)
    assert {item for item in rows} <= set(PRICED)
    cost = terms_of(priced()).cost_of(cost_rows(priced()))
    # Batteries last 6.5 years, so they are bought twice in ten.
    assert cost == pytest.approx((800 + 180 + 64, 318 + 28 + 1000, 800 + 180 + 128 + 13460))


def test_totals_by_item_are_those_of_the_rows():
    network = priced()
    costs = cost_frame(cost_rows(network), terms_of(network))
    items = by_item(costs).set_index("item")
    assert items.loc["outdoor_radio", "capital"] == 800.0
    assert items.loc["hybrid_coupler", "unpriced"] == items.loc["hybrid_coupler", "count"] == 2.0
    assert items["present"].sum() == pytest.approx(terms_of(network).cost_of(cost_rows(network)).present)
    assert "hybrid coupler (2)" in without_price(cost_rows(network))


def test_without_a_price_there_is_no_money():
    network = build_network(small(), "network.toml", {}, FaultList(), {})
    assert terms_of(network) is None
    assert cost_frame(cost_rows(network), None).empty
    assert len(list(bill_items(network))) > 20


def test_a_run_adds_journeys_and_the_spares_it_used():
    visits = pd.DataFrame({"crew": ["crew 1"], "visits_per_year": [0.5], "planned_per_year": [4.0]})
    failures = pd.DataFrame({"kind": ["outdoor_radio", "cable"], "failures_per_year": [0.2, 0.1]})
    once = PRICES["once"] | {"spare_outdoor_radio/r18": 90.0}
    found = {row.item: (row.count, row.yearly) for row in run_rows(priced(once=once), visits, failures)}
    assert found == {"visit": (4.5, 5.0), "used_outdoor_radio": (0.2, 90.0)}


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"life_years": None}, "prices: life_years is missing; must be a number, above 0, at most 100"),
        ({"once": {"outdor_radio": 1.0}}, 'prices: once is "outdor_radio"; must be of items '),
        ({"once": {"outdoor_radio/r7": 1.0}}, "outdoor_radio, or outdoor_radio/TYPE with TYPE one of r18"),
        ({"yearly": {"site/hill": 1.0}}, 'prices: yearly is "site/hill"; must be site'),
        ({"once": {"cable": -1.0}}, "prices: once.cable is -1.0; must be 0 to 1e+12"),
    ],
)  # fmt: skip
def test_prices_of_what_is_not_there(changes, sentence, tmp_path):
    prices = {name: value for name, value in (PRICES | changes).items() if value is not None}
    with pytest.raises(InputError) as refused:
        read_network(write(tmp_path, small() | {"prices": prices}))
    assert sentence in str(refused.value)


def test_money_does_not_name_a_run(tmp_path):
    plain = read_network(write(tmp_path, small())).digest()
    data = small() | {"prices": PRICES}
    data["services"][0] |= {"weight": 3.0, "penalties": [{"availability": 0.999, "amount": 9.0}]}
    assert read_network(write(tmp_path, data)).digest() == plain
    data["services"][0]["priority"] = 1
    assert read_network(write(tmp_path, data)).digest() != plain


def test_check_tells_the_cost(tmp_path, capsys):
    assert main(["check", str(write(tmp_path, small() | {"prices": PRICES}))]) == 0
    text = capsys.readouterr().out
    assert "1,044 shells when bought, 1,346 by the year: 14,568" in text
    assert "Without a price" in text
    assert max(len(line) for line in text.splitlines() if not line.startswith("warning: ")) <= 80
    assert main(["check", str(write(tmp_path, small()))]) == 0
    assert "shells" not in capsys.readouterr().out
