"""What the network suggests, what excludes what, the user's own candidates, and closed forms."""

import copy

import pandas as pd
import pytest
from eight_candidates import EIGHT, source_of
from network_text import write

from hopyears.sim.advice.candidates import (
    HOP,
    PLAN,
    SITE,
    Candidate,
    exclusive,
    made_candidates,
    read_candidates,
)
from hopyears.sim.advice.market import of_use, priced
from hopyears.sim.advice.shares import closed_form_share
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.money.network_costs import terms_of
from hopyears.sim.textbook.common_parts import part_unavailability

DRY = ModelOptions(rain=False, multipath=False)


def by_id(source):
    return {each.id: each for each in made_candidates(source.network)}


def test_what_a_network_suggests():
    data = copy.deepcopy(EIGHT)
    data["antennas"].append({"id": "big", "diameter_m": 1.2})
    data["hops"][1] |= {"frequency_ghz": 13.0, "scheme": "1+1 HSB"}
    found = by_id(source_of(data))
    assert [name for name in found if name.startswith("a-b")] == [
        "a-b: 1+1 HSB", "a-b: 1+1 SD", "a-b: antenna big", "a-b: 13 GHz"
    ]  # fmt: skip
    assert [name for name in found if name.startswith("b-c")] == ["b-c: 1+1 SD", "b-c: antenna big"]
    assert {"b: second indoor unit", "a: generator", "a: battery 8 h", "crew: a crew"} <= set(found)
    assert "a: second indoor unit" not in found
    assert found["store: spare outdoor_radio"].plan == {
        "depots": [{"id": "store", "stock": {"outdoor_radio": 2}}]
    }


def test_every_suggestion_is_a_plan_of_one_change():
    source = source_of(EIGHT)
    for each in made_candidates(source.network):
        changed = read_plan(dict(each.plan), source).network
        assert changed != source.network, each.id


def test_schemes_are_protected_once_more():
    data = copy.deepcopy(EIGHT)
    data["hops"][0]["scheme"], data["hops"][1]["scheme"] = "2+0", "2+0 XPIC"
    found = [each.id for each in made_candidates(source_of(data).network) if each.kind == HOP]
    assert found == ["a-b: 2+1"]


def test_what_excludes_what():
    found = by_id(source_of(EIGHT))
    assert exclusive(found["a-b: 1+1 HSB"], found["a-b: 1+1 SD"])
    assert exclusive(found["a: generator"], found["a: battery 8 h"])
    assert not exclusive(found["a: generator"], found["b: generator"])
    assert not exclusive(found["a: second controller"], found["b: second controller"])
    one, two = (
        Candidate(name, PLAN, name, {"depots": [{"id": "store", "stock": {name: 2}}]})
        for name in ("fan", "cable")
    )
    assert not exclusive(one, two)


def test_money_of_candidates():
    source = source_of(EIGHT)
    ring = Candidate("no price", PLAN, "no price", {"power": [{"id": "standard", "battery_h": 9.0}]})
    market = priced(source, [*by_id(source).values(), ring], terms_of(source.network))
    cost = dict(zip((each.id for each in market.candidates), market.capital, strict=True))
    # Two radios, couplers, cables and modem cards.
    assert cost["a-b: 1+1 HSB"] == 2 * (100.0 + 30.0 + 5.0 + 50.0)
    assert cost["crew: a crew"] == 0.0
    assert "a: generator" not in cost  # nobody said what it costs
    assert cost["no price"] == 0.0
    with pytest.raises(InputError):
        priced(source, [Candidate("bad", PLAN, "bad", {"hops": [{"id": "new"}]})], terms_of(source.network))


def test_what_never_went_wrong_needs_no_candidate():
    sites = pd.DataFrame({"site": ["a", "b", "c"], "dark_per_year": [0.0, 0.2, 0.0]})
    parts = pd.DataFrame(
        {
            "kind": ["outdoor_radio"],
            "waiting_for_spare_h_per_year": [0.0],
            "waiting_for_crew_h_per_year": [3.0],
        }
    )
    kept = of_use(made_candidates(source_of(EIGHT).network), {"site_failures": sites, "part_failures": parts})
    left = {each.id for each in kept}
    assert {"b: generator", "b: battery 8 h", "crew: a crew"} <= left
    assert not {"a: generator", "store: spare outdoor_radio"} & left


def test_a_standby_takes_what_two_radios_fail_together():
    """Against the product of two: a 1+0 hop loses its radios, a pair only both of one end at once."""
    source = source_of(EIGHT)
    found = closed_form_share(source, by_id(source)["a-b: 1+1 HSB"], prepare(source.network, DRY))
    prepared = prepare(source.network, ModelOptions(rain=False, multipath=False, anchoring=False))
    down = part_unavailability(prepared, 0)
    radio, others = down["outdoor_radio"], down["antenna"]
    chain = radio + down["cable"] + down["modem_card"]
    rough = 1.0 - (chain**2 + others + down["coupler"]) / (chain + others)
    assert found == pytest.approx(rough, abs=0.02)
    second = closed_form_share(source, by_id(source)["b: second controller"], prepare(source.network, DRY))
    assert 0.3 < second < 1.0
    assert by_id(source)["b: second controller"].kind == SITE


def test_a_file_of_candidates(tmp_path):
    hop = {"id": "c-a", "from": "c", "to": "a", "frequency_ghz": 18.0, "radio": "r", "antenna": "dish"}
    path = write(tmp_path, {"made": False, "candidates": [{"id": "ring", "hops": [hop]}]}, "own.toml")
    found, made = read_candidates(path)
    assert not made
    assert found == [Candidate("ring", PLAN, "ring", {"hops": [hop]})]
    bad = write(tmp_path, {"candidates": [{"hops": []}, {"id": "x"}, {"id": "x"}], "more": 1}, "bad.toml")
    with pytest.raises(InputError) as refused:
        read_candidates(bad)
    assert str(refused.value).splitlines() == [
        'bad.toml: key is "more"; must be candidates or made',
        "bad.toml: candidate 1: id is None; must be a name of its own",
        'bad.toml: candidate 3: id is "x"; must be a name of its own',
    ]
