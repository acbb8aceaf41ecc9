"""What ``check --plan`` says of a plan before anybody simulates it."""

from network_text import small, write

from hopyears.sim.commands import main
from hopyears.sim.commands.check_plan import plan_page
from hopyears.sim.inputs.network_file import read_network
from hopyears.sim.inputs.plan_file import read_plan

PRICES = {"life_years": 10.0, "discount_rate": 0.0, "once": {"outdoor_radio": 50.0, "modem_port": 0.0}}


def test_a_plan_is_told_entry_by_entry(tmp_path):
    base = read_network(write(tmp_path, small() | {"prices": PRICES}))
    plan = read_plan(
        {
            "remove": ["hops/ridge-dale", "sites/dale"],
            "hops": [{"id": "mill-ridge", "scheme": "1+1 HSB", "terrain": "hilly"}],
            "crews": [{"id": "two", "base": "mill"}],
            "repair": {"dispatch_h": 2.0},
        },
        base,
    )
    lines = [line.strip() for line in plan_page("plan.toml", base.network, plan.network)]
    assert lines[0] == "plan.toml: entries changed, added or removed: 5"
    assert lines[1:6] == [
        'site "dale" removed',
        'hop "mill-ridge": scheme, terrain',
        'hop "ridge-dale" removed',
        'crew "two" added',
        "repair: dispatch_h",
    ]
    # The standby takes two radios more, the spur gives two back: none remain to be bought.
    assert "outdoor radio" not in lines[6]
    assert "+2 hybrid coupler" in lines[6]
    assert lines[7].startswith("0 money at once, 0 by the year")
    assert "hybrid coupler" in lines[8]


def test_a_plan_is_checked_alone(tmp_path, capsys):
    network = write(tmp_path, small())
    plan = write(tmp_path, {"power": [{"id": "weak", "battery_h": 9.0}]}, "plan.toml")
    assert main(["check", str(network), "--plan", str(plan)]) == 0
    text = capsys.readouterr().out
    first, second = text.splitlines()[:2]
    assert first == "plan.toml: entries changed, added or removed: 1"
    assert second == '  power "weak": battery_h'
    assert "  the same hardware" in text
    assert "4 sites, 3 hops, 1 service." in text
    bad = write(tmp_path, {"remove": ["hops/none"]}, "bad.toml")
    assert main(["check", str(network), "--plan", str(bad)]) == 2
    assert capsys.readouterr().err.startswith('bad.toml: remove[1] is "hops/none"; must be the id of a hop')
