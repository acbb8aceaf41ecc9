"""Plans that remove entries, build on other plans, and change tables within an entry item by item."""

import pytest
from network_text import small, write

from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.network_file import read_network
from hopyears.sim.inputs.plan_file import read_plan


@pytest.fixture
def base(tmp_path):
    return read_network(write(tmp_path, small()))


def refusal(plan, base):
    with pytest.raises(InputError) as refused:
        read_plan(plan, base)
    return str(refused.value)


def test_a_plan_removes_adds_and_changes(base):
    """A spur goes, a site and a hop come, a service changes its ends."""
    plan = {
        "remove": ["hops/ridge-dale", "sites/dale", "maintenance/mill", "parts/modem_card"],
        "sites": [{"id": "fell", "latitude_deg": 50.2, "longitude_deg": 10.1}],
        "hops": [
            {"id": "ridge-fell", "from": "ridge", "to": "fell", "frequency_ghz": 18.0, "radio": "r18",
             "antenna": "dish"}
        ],
        "services": [{"id": "s1", "to": "fell"}],
        "crews": [{"id": "second", "base": "fell"}],
    }  # fmt: skip
    network = read_plan(plan, base).network
    assert [site.id for site in network.sites] == ["hill", "mill", "ridge", "fell"]
    assert [hop.id for hop in network.hops] == ["hill-mill", "mill-ridge", "ridge-fell"]
    assert network.services[0].site_b == "fell"
    assert (network.maintenance, network.parts) == ((), ())
    assert [crew.id for crew in network.crews] == ["crew", "second"]
    assert [hop.id for hop in base.network.hops][-1] == "ridge-dale"


def test_what_is_removed_may_come_again_from_its_defaults(base):
    plan = {"remove": ["power/weak"], "power": [{"id": "weak", "generator": True}]}
    assert read_plan(plan, base).network.power[0].battery_h == 4.0


def test_a_plan_builds_on_another(base, tmp_path):
    write(tmp_path, {"hops": [{"id": "mill-ridge", "scheme": "1+1 SD", "terrain": "hilly"}]}, "first.toml")
    second = {"builds_on": "first.toml", "hops": [{"id": "mill-ridge", "scheme": "1+1 FD"}]}
    source = read_plan(write(tmp_path, second, "second.toml"), base)
    assert (source.network.hop("mill-ridge").scheme, source.name) == ("1+1 FD", "second.toml")
    assert source.network.hop("mill-ridge").terrain == "hilly"


def test_stock_and_prices_change_item_by_item(base):
    plan = {"depots": [{"id": "store", "stock": {"cable": 4}}]}
    stock = read_plan(plan, base).network.depots[0].stock
    assert (stock["cable"], stock["fan"]) == (4, 1)
    prices = {"life_years": 8.0, "discount_rate": 0.0, "once": {"cable": 2.0, "controller": 9.0}}
    priced = read_plan({"prices": prices}, base)
    again = read_plan({"prices": {"once": {"cable": 3.0}}}, priced)
    assert again.network.prices.once == {"cable": 3.0, "controller": 9.0}


@pytest.mark.parametrize(
    ("plan", "sentence"),
    [
        (
            {"remove": ["hops/mil-ridge"]},
            'plan: remove[1] is "hops/mil-ridge"; must be the id of a hop of the network. '
            'Did you mean "mill-ridge"?',
        ),
        ({"remove": ["hop/mill-ridge"]}, 'plan: remove[1] is "hop/mill-ridge"; must be LIST/ID with LIST'),
        ({"remove": "hops/mill-ridge"}, 'plan: remove is "hops/mill-ridge"; must be a list of entries'),
        ({"remove": ["parts/fan"]}, 'plan: remove[1] is "parts/fan"; must be the kind of a part'),
        ({"remove": ["sites/dale"]}, 'plan: hop "ridge-dale": to is "dale"; must be a site id'),
        ({"remove": ["hops/mill-ridge"]}, 'plan: service "s1": route is none between "hill" and "ridge"'),
        ({"builds_on": 3}, "plan: builds_on is 3; must be the name of a plan beside this one"),
    ],
)
def test_faults_of_plans(plan, sentence, base):
    assert sentence in refusal(plan, base)


def test_plans_in_a_ring_are_refused(base, tmp_path):
    for name, other in (("a", "b"), ("b", "c"), ("c", "a")):
        write(tmp_path, {"builds_on": f"{other}.toml"}, f"{name}.toml")
    assert refusal(tmp_path / "a.toml", base) == (
        "c.toml: builds_on is a ring (a.toml builds on b.toml builds on c.toml builds on a.toml); "
        "must be plans without one"
    )
