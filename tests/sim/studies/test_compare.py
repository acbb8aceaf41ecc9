"""Plan less base: paired by block and by replication, a bound where nothing differs."""

import pytest
from small_networks import source_of, triangle

from hopyears.models.network.network import PartChange
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.rare.service_figures import ServiceFigures
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.studies.compare import differences

OPTIONS = ModelOptions(rain=False, multipath=False, replications=4)


def changed(software_mtbf_h):
    return triangle(parts=(PartChange(kind="software", mtbf_h=software_mtbf_h),))


@pytest.fixture(scope="module")
def sides(tmp_path_factory):
    """A network and a plan whose software fails half as often, each made ready and run."""
    folder = tmp_path_factory.mktemp("runs")
    found = {}
    for name, mtbf_h in (("base", 2e4), ("plan", 4e4)):
        request = RunRequest(years=6, seed=5, block_years=1, options=OPTIONS)
        run = simulate(source_of(changed(mtbf_h)), request, folder / name)
        found[name] = (prepare(changed(mtbf_h), OPTIONS), run)
    return found


def test_the_same_network_differs_by_a_bound(sides):
    table = differences(*sides["base"], *sides["base"])
    for name in ("difference_min_per_year", "difference_ses_per_year"):
        assert (table[name] == 0.0).all()
        assert (table[f"{name}_low"] < 0.0).all()
        assert (table[f"{name}_high"] == -table[f"{name}_low"]).all()
    assert not table["sure"].any()


def test_differences_are_those_of_the_best_figures_and_sharper(sides):
    table = differences(*sides["base"], *sides["plan"]).set_index("service")
    figures = [ServiceFigures.read(*sides[name]) for name in ("base", "plan")]
    row = table.loc["one"]
    base, plan = (each.interval(0, 0) for each in figures)
    assert row["difference_min_per_year"] == pytest.approx((plan.best - base.best) / 60.0)
    width = row["difference_min_per_year_high"] - row["difference_min_per_year_low"]
    assert width < (plan.high - plan.low + base.high - base.low) / 60.0
    assert row["difference_min_per_year"] < 0.0
