"""Plan less base: paired by block and by replication, a bound where nothing differs; costs and ranking."""

from types import SimpleNamespace

import pytest
from small_networks import source_of, triangle

from hopyears.models.network.network import Network, PartChange, PenaltyTier, Prices, Service
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.commands.compare import print_comparison
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.inputs.plan_file import read_plan
from hopyears.sim.runs.runner import BlockCounter
from hopyears.sim.runs.simulate import RunRequest
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.studies.compare import ComparedPlan, compare
from hopyears.sim.studies.plan_sides import MINUTES, FirstBlocks, Side
from hopyears.sim.studies.plan_tables import ALL, BY_MINUTES, BY_MONEY, comparison, differences, lost_pairing

OPTIONS = ModelOptions(rain=False, multipath=False, replications=2)
REQUEST = RunRequest(years=4, seed=5, block_years=1, options=OPTIONS)
WEIGHTS = {"one": 2.0, "two": 1.0}
PRICES = Prices(life_years=10.0, discount_rate=0.0, once={"outdoor_radio": 100.0}, visit=3.0)


def network(**more):
    first, second = triangle().services
    owed = (PenaltyTier(availability=0.9999, amount=50.0),)
    services = (Service(**first.model_dump() | {"weight": 2.0, "penalties": owed}), second)
    software = (PartChange(kind="software", mtbf_h=2e4),)
    return Network(
        **triangle().model_dump() | {"services": services, "parts": software, "prices": PRICES} | more
    )


PLANS = {
    "software": {"parts": [{"kind": "software", "mtbf_h": 4e4}]},
    "standby": {"hops": [{"id": "a-b", "scheme": "1+1 HSB"}]},
}


@pytest.fixture(scope="module")
def compared(tmp_path_factory):
    """A network, two plans, and their comparison with its folder."""
    out, base = tmp_path_factory.mktemp("runs"), source_of(network())
    plans = [ComparedPlan(name, read_plan(plan, base)) for name, plan in PLANS.items()]
    return base, plans, out, compare(base, plans, REQUEST, out)


@pytest.fixture(scope="module")
def sides(compared):
    base, plans, out, _ = compared
    members = [ComparedPlan("base", base), *plans]
    return [Side.read(each.name, each.source, OPTIONS, RunFolder(out / each.name)) for each in members]


def test_the_same_network_differs_by_a_bound(sides):
    table = differences(sides[0], sides[0], WEIGHTS)
    for name in ("difference_min_per_year", "difference_ses_per_year", "difference_outages_per_year"):
        assert (table[name] == 0.0).all()
        assert (table[f"{name}_low"] < 0.0).all()
        assert (table[f"{name}_high"] == -table[f"{name}_low"]).all()
    assert not table["sure"].any()


def test_differences_are_those_of_the_best_figures_and_sharper(compared, sides):
    table = compared[3].differences
    row = table[(table["plan"] == "software") & (table["service"] == "one")].iloc[0]
    base, plan = (side.figures.interval(0, 0) for side in sides[:2])
    assert row["difference_min_per_year"] == pytest.approx((plan.best - base.best) / 60.0)
    width = row["difference_min_per_year_high"] - row["difference_min_per_year_low"]
    assert width < (plan.high - plan.low + base.high - base.low) / 60.0
    assert row["difference_min_per_year"] < 0.0


def test_the_sum_is_weighted_and_causes_add_up_to_the_blocks(compared, sides):
    found = compared[3]
    table = found.differences.set_index(["plan", "service"])
    for plan in PLANS:
        one, two, both = (table.loc[(plan, name)] for name in ("one", "two", ALL))
        name = f"difference_{MINUTES}"
        assert both[name] == pytest.approx(2.0 * one[name] + two[name])
        lost = "difference_undelivered_gbit_per_year"
        assert both[lost] == pytest.approx(one[lost] + two[lost])
    causes = found.difference_causes.groupby(["plan", "service"])["difference_min_per_year"].sum()
    seen = [side.figures.seen.blocks[:, 0, 2, 0].mean() / 60.0 for side in sides[:2]]
    assert causes["software", "one"] == pytest.approx(seen[1] - seen[0])


def test_what_is_bought_and_what_it_costs(compared):
    bills, plans = compared[3].bill_differences, compared[3].plans.set_index("plan")
    own = bills[(bills["plan"] == "standby") & (bills["item"] == "outdoor_radio")]
    assert own[["base_count", "plan_count"]].to_numpy().tolist() == [[1.0, 2.0]] * 2
    assert own["capital"].sum() == plans.loc["standby", "capital"] == 200.0
    # Couplers, cables, modems and a card in each of two sites have no price; energy neither.
    assert plans.loc["standby", "rows_without_price"] > 4
    # 200 over ten years at no interest, and the journeys that the runs counted.
    assert plans.loc["standby", "cost_per_year"] == pytest.approx(20.0 + plans.loc["standby", "yearly"])
    assert plans.loc["software", "capital"] == 0.0
    saved = -plans.loc["standby", "difference_min_per_year"]
    assert plans.loc["standby", "min_saved_per_cost"] == pytest.approx(
        saved / plans.loc["standby", "cost_per_year"]
    )
    assert set(plans["ranked_by"]) == {BY_MONEY}


def test_money_ranks_by_cost_and_penalties(compared):
    plans = compared[3].plans
    total = plans["difference_outage_cost_per_year"] + plans["cost_per_year"]
    assert list(plans["rank"]) == [1, 2, 3]
    assert total.is_monotonic_increasing
    assert plans["best_chance"].sum() == pytest.approx(1.0)
    assert plans.set_index("plan").loc["base", "difference_min_per_year"] == 0.0


def test_the_answer_comes_first_and_fits(compared, capsys):
    print_comparison(compared[3])
    lines = capsys.readouterr().out.splitlines()
    best = compared[3].plans["plan"].iloc[0]
    name = "the network as it is" if best == "base" else best
    assert " ".join(lines[:2]).startswith(
        f"Best by cost a year with penalties and undelivered gigabits: {name}"
    )
    assert max(map(len, lines)) <= 80
    assert any(line.startswith("standby: +2 × outdoor radio") for line in lines)


def test_without_prices_minutes_rank(sides):
    plain = [
        Side(side.name, side.figures, side.blocks, side.by_block, [], side.years) for side in sides
    ]  # fmt: skip
    for side in plain:
        bare = Network(**side.figures.prepared.network.model_dump() | {"prices": Prices()})
        object.__setattr__(side.figures.prepared, "network", bare)
    plans = comparison(plain, 1).plans
    assert set(plans["ranked_by"]) == {BY_MINUTES}
    assert plans["cost_per_year"].isna().all()
    assert plans["difference_min_per_year"].is_monotonic_increasing


@pytest.mark.slow
def test_one_plan_more_costs_one_run(compared, monkeypatch):
    base, plans, out, before = compared
    drawn = []
    one = BlockCounter.block

    def counted(self, number):
        drawn.append(number)
        return one(self, number)

    monkeypatch.setattr(BlockCounter, "block", counted)
    more = ComparedPlan("power", read_plan({"power": [{"id": "standard", "battery_h": 24.0}]}, base))
    after = compare(base, [*plans, more], REQUEST, out)
    assert drawn == [0, 1, 2, 3]
    kept = after.differences[after.differences["plan"] != "power"].reset_index(drop=True)
    assert kept.equals(before.differences)


def test_a_folder_of_another_plan_is_refused(compared):
    base, plans, out, _ = compared
    other = ComparedPlan("standby", plans[0].source)
    with pytest.raises(InputError, match="output folder is of another run"):
        compare(base, [other], REQUEST, out)


def test_only_the_first_blocks_are_paired(compared):
    out = compared[2]
    assert FirstBlocks(out / "base", 4).finished_blocks() == [0, 1, 2, 3]


@pytest.mark.slow
def test_services_that_one_side_lacks_are_named(compared, sides):
    base = compared[0]
    plan = {
        "remove": ["services/two"],
        "services": [{"id": "new", "from": "b", "to": "c", "committed_mbit_s": 5.0}],
    }
    out = compared[2]
    plans = compare(base, [ComparedPlan("moved", read_plan(plan, base))], REQUEST, out)
    row = plans.plans.set_index("plan").loc["moved"]
    assert (row["services_added"], row["services_removed"]) == ("new", "two")
    assert set(plans.differences["service"]) == {"one", ALL}


def test_pairing_is_kept_or_its_loss_told(sides):
    assert lost_pairing(sides[0].figures, sides[1].figures) == []
    options = ModelOptions(failures=False, anchoring=False, multipath=False)
    plans = (
        {"sites": [{"id": "far", "latitude_deg": 46.2, "longitude_deg": 12.5}]},
        {"sites": [{"id": "near", "latitude_deg": 45.02, "longitude_deg": 11.2}]},
        {"climate": {"storm_speed_km_h": 20.0}},
    )
    changed = [read_plan(each, source_of(network())).network for each in plans]
    same, shifted, near, others = (
        SimpleNamespace(prepared=prepare(each, options), by_hand=sides[0].figures.by_hand)
        for each in (network(), *changed)
    )
    assert lost_pairing(same, near) == []
    assert lost_pairing(same, shifted)[0].startswith("the same storms lie a little otherwise")
    assert lost_pairing(same, others)[0].startswith("all storms are others")
