"""Figures of services from blocks and replications: unbiased, narrower, and resting on what they say."""

import numpy as np
import pytest
from small_networks import source_of, triangle

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.network.network import PartChange
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.tally_rows import BOTH
from hopyears.sim.equipment.put_in import PutIn
from hopyears.sim.rare.alone import alone
from hopyears.sim.rare.forced import RareParts, rare_parts
from hopyears.sim.rare.replications import (
    FIRST_BLOCKS,
    FIRST_TIMES,
    FORCED,
    HISTORIES,
    OWN,
    REPLICATIONS,
    added_loss,
    fade_free,
    n_draws,
)
from hopyears.sim.rare.service_figures import FIGURES, OUTAGES, UNAVAILABLE, ServiceFigures
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.streams import Streams

OPTIONS = ModelOptions(replications=2)
RARE_MASTS = (PartChange(kind="mast", mtbf_h=5e6), PartChange(kind="software", mtbf_h=2e4))


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """A run with replications, and the same run without."""
    folder = tmp_path_factory.mktemp("runs")
    for name, options in (("with", OPTIONS), ("without", ModelOptions())):
        request = RunRequest(years=6, seed=5, block_years=1, options=options)
        simulate(source_of(triangle(parts=RARE_MASTS)), request, folder / name)
    return folder


def test_replications_change_nothing_of_the_blocks_themselves(run):
    with_them, without = RunFolder(run / "with"), RunFolder(run / "without")
    own = ("service_replications", "service_cause_replications")
    for name in own:
        assert any(with_them.read_table(block, name).num_rows for block in with_them.finished_blocks())
    for block in with_them.finished_blocks():
        mine, other = with_them.read_block(block), without.read_block(block)
        assert all(other[name].num_rows == 0 for name in own)
        assert {k: v for k, v in mine.items() if k not in own} == {
            k: v for k, v in other.items() if k not in own
        }


def test_every_draw_has_its_own_failures(run):
    table = KeyedTable.from_arrow(REPLICATIONS, RunFolder(run / "with").read_table(0, "service_replications"))
    assert set(table.key("stratum")) <= {OWN, HISTORIES, FORCED}
    assert n_draws(2, 0) == (2 * FIRST_TIMES, 1)
    assert n_draws(20, FIRST_BLOCKS) == (20, 5)
    losses = table.spread("unavailable_s", (2, 2 * FIRST_TIMES), stratum=HISTORIES, direction=BOTH)
    assert np.unique(losses[0]).size == losses.shape[1]


def test_the_figure_is_the_sum_of_its_terms(run):
    """Own outage less that of own failures alone, and the means of histories and of weighted draws."""
    figures = ServiceFigures.read(prepare(triangle(parts=RARE_MASTS), OPTIONS), RunFolder(run / "with"))
    seen = figures.seen
    assert seen.blocks.shape == seen.own.shape == (6, 2, 3, len(FIGURES))
    assert len(seen.histories) == 2 * (FIRST_BLOCKS * FIRST_TIMES + 1)
    assert len(seen.forced) == 6
    for service in range(2):
        terms = (seen.blocks - seen.own, seen.histories, seen.forced)
        expected = sum(term[:, service, BOTH, UNAVAILABLE].mean() for term in terms)
        assert figures.interval(service, UNAVAILABLE).best == pytest.approx(max(expected, 0.0))


def test_tables_show_the_figure_and_its_interval(run):
    prepared = prepare(triangle(parts=RARE_MASTS), OPTIONS)
    figures = ServiceFigures.read(prepared, RunFolder(run / "with"))
    tables = RunFolder(run / "with").read_results()
    for number, row in enumerate(tables["services"].to_pandas().to_dict("records")):
        found = figures.interval(number, UNAVAILABLE)
        assert row["unavailable_min_per_year"] == pytest.approx(found.best / 60.0)
        assert row["unavailable_min_per_year_high"] == pytest.approx(found.high / 60.0)
        assert row["outages_per_year"] == pytest.approx(figures.interval(number, OUTAGES).best)
        assert row["unavailable_min_per_year_low"] <= row["unavailable_min_per_year"]
    objectives = tables["service_objectives"].to_pandas()
    assert objectives["availability_met_confidence"].between(0.0, 1.0).all()


def test_causes_add_up_to_the_figure(run):
    tables = RunFolder(run / "with").read_results()
    causes, services = (tables[name].to_pandas() for name in ("service_causes", "services"))
    for name in ("unavailable_min_per_year", "severely_errored_s_per_year"):
        assert (causes[name] >= 0.0).all()
        summed = causes.groupby("service")[name].sum()
        assert summed.to_numpy() == pytest.approx(
            services.set_index("service")[name][summed.index].to_numpy()
        )
    # Causes that only replications met are there too.
    own = tables_of_causes(run / "without")
    assert set(causes["cause"]) > own


def tables_of_causes(folder):
    """Names of the causes in the results of a run."""
    return set(RunFolder(folder).read_results()["service_causes"].to_pandas()["cause"])


def test_without_replications_a_figure_is_that_of_the_blocks(run):
    figures = ServiceFigures.read(prepare(triangle(parts=RARE_MASTS)), RunFolder(run / "without"))
    for service in range(2):
        expected = figures.seen.blocks[:, service, BOTH, UNAVAILABLE].mean()
        assert figures.interval(service, UNAVAILABLE).best == pytest.approx(expected)


def test_nothing_seen_is_bounded_by_the_networks_own_repairs():
    """The slowest repair of what stops a service by itself: here a mast that takes a day, not four hours."""
    prepared = prepare(triangle(parts=(PartChange(kind="mast", mtbf_h=1e9, swap_h=24.0),)))
    single, parts = alone(BlockSimulator(prepared)), prepared.built.plant.parts
    masts = np.array([part.kind == "mast" for part in parts])
    mast = int(np.flatnonzero(masts & (single.lost_s[:, 0] > 0.0))[0])
    # 97.5 % quantile of a lognormal of mean 24 h and ln-sd 0.5, by its definition, and notice and travel.
    quantile_h = 24.0 * np.exp(-0.125 + 0.5 * 1.959964)
    assert quantile_h < single.restore_s[mast] / 3600.0 < quantile_h + 2.0
    everything = np.ones(len(parts), dtype=bool)
    assert single.longest_outage_s(everything)[0] == pytest.approx(single.restore_s[mast], rel=0.1)
    assert single.lost_s[mast, 0] == pytest.approx(24.0 * 3600.0, rel=0.1)  # its mean
    assert single.longest_outage_s(~masts)[0] < single.restore_s[mast] / 3.0


@pytest.mark.slow
def test_replications_move_no_mean(tmp_path):
    """Over 240 blocks what is taken from each and what is put in its place have one mean."""
    mtbf_h = {"mast": 4e5, "outdoor_radio": 1e5, "software": 1e6}
    network = triangle(parts=tuple(PartChange(kind=kind, mtbf_h=hours) for kind, hours in mtbf_h.items()))
    options = ModelOptions(rain=False, multipath=False, replications=8)
    request = RunRequest(years=240, seed=12, block_years=1, options=options, workers=2)
    folder = simulate(source_of(network), request, tmp_path / "r")
    seen = ServiceFigures.read(prepare(network, options), folder).seen
    for figure in (UNAVAILABLE, OUTAGES):
        terms = [part[:, 0, BOTH, figure] for part in (seen.own, seen.histories, seen.forced)]
        apart = terms[0].mean() - terms[1].mean() - terms[2].mean()
        assert abs(apart) < 4.0 * np.sqrt(sum(part.var(ddof=1) / part.size for part in terms))


@pytest.mark.slow
def test_forced_failures_have_the_mean_of_natural_ones_and_a_wrong_weight_shows():
    """2,000 years of all failures, and 1,000 without masts with 500 masts put in, have one mean.

    Counted twice, the masts put in are seen (negative control).
    """
    mtbf_h = {"mast": 3e5, "outdoor_radio": 1e5, "software": 1e8}
    network = triangle(parts=tuple(PartChange(kind=kind, mtbf_h=hours) for kind, hours in mtbf_h.items()))
    simulator = BlockSimulator(prepare(network, ModelOptions(rain=False, multipath=False)))
    plant, streams = simulator.prepared.built.plant, Streams(3, 0)
    masts = np.array([i for i, part in enumerate(plant.parts) if part.kind == "mast"])
    chance = np.full(masts.size, 1.0 / masts.size)
    rare = RareParts(masts, 8766.0 / plant.lives[1][masts], chance)

    def lost(n, first, put_in):
        logs = (
            simulator.failures(plant, streams.beside(first + i), SECONDS_PER_YEAR, None, put_in=put_in)
            for i in range(n)
        )
        return np.array([fade_free(simulator, log).figures[0, BOTH, UNAVAILABLE] for log in logs])

    whole = lost(2000, 10_000, PutIn())
    common = lost(1000, 20_000, PutIn(rare=rare.mask(len(plant.parts)), only_before_s=-np.inf))
    forced = []
    for draw, chosen in enumerate(rare.drawn(plant, streams, 500).tolist()):
        added = added_loss(simulator, rare, int(masts[chosen]), streams, draw, None)
        forced.append(float(added.figures[0, BOTH, UNAVAILABLE]) * rare.weight_per_year[chosen])
    terms = [whole, common, np.array(forced)]
    error = np.sqrt(sum(part.var(ddof=1) / part.size for part in terms))
    apart = whole.mean() - common.mean() - terms[2].mean()
    assert abs(apart) < 4.0 * error
    assert abs(apart - terms[2].mean()) > 4.0 * error


def test_draws_choose_parts_by_their_chance():
    """Shares of 4,000 draws within 4 standard errors of the chances; a part that goes moves no other draw."""
    plant = prepare(triangle(parts=RARE_MASTS)).built.plant
    parts = np.array([0, 3, 5])
    rare = RareParts(parts, np.array([0.1, 0.2, 0.3]), np.array([0.2, 0.3, 0.5]))
    drawn = rare.drawn(plant, Streams(1, 0), 4000)
    share = np.bincount(drawn, minlength=3) / 4000
    assert np.all(np.abs(share - rare.chance) < 4.0 * np.sqrt(rare.chance * (1.0 - rare.chance) / 4000))
    fewer = RareParts(parts[1:], rare.rate_per_year[1:], rare.chance[1:])
    again = fewer.drawn(plant, Streams(1, 0), 4000)
    assert np.array_equal(again[drawn > 0] + 1, drawn[drawn > 0])


def test_weight_times_chance_is_the_rate():
    prepared = prepare(triangle(parts=RARE_MASTS))
    rare = rare_parts(prepared.built.plant, alone(BlockSimulator(prepared)))
    assert rare.parts.size
    assert rare.chance.sum() == pytest.approx(1.0)
    assert rare.weight_per_year * rare.chance == pytest.approx(
        8766.0 / prepared.built.plant.lives[1][rare.parts]
    )
