"""Figures of services from blocks and replications: unbiased, narrower, and resting on what they say."""

from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from small_networks import hop, source_of, triangle

from hopyears.models.basics.units import MINUTES_PER_YEAR, SECONDS_PER_YEAR
from hopyears.models.network.network import LightningRisk, Network, PartChange, Power, Service
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.tally_rows import BOTH, SERVICE_MONTH, TOTAL, TRAFFIC
from hopyears.sim.equipment.put_in import PutIn
from hopyears.sim.rare.alone import alone
from hopyears.sim.rare.candidates import strikes_per_year
from hopyears.sim.rare.forced import ByHand, by_hand
from hopyears.sim.rare.forced_draw import ForcedDraw, weather_of_draw
from hopyears.sim.rare.month_rows import MONTHS
from hopyears.sim.rare.replications import added_losses, fade_free, replication_tables
from hopyears.sim.rare.service_figures import FIGURES, OUTAGES, SEVERELY_ERRORED, UNAVAILABLE, ServiceFigures
from hopyears.sim.rare.strata import (
    FIRST_BLOCKS,
    FIRST_TIMES,
    FORCED,
    HISTORIES,
    HOPS,
    MANY_BLOCKS,
    NIGHTS,
    OF_FAILURES,
    OWN,
    OWN_RAIN,
    RAINS,
    REPLICATIONS,
    TOGETHER,
    n_draws,
)
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
    kinds = ("service", "service_cause", "service_month", "hop")
    own = [f"{kind}_replications" for kind in kinds]
    for name in own:
        assert any(with_them.read_table(block, name).num_rows for block in with_them.finished_blocks())
    for block in with_them.finished_blocks():
        mine, other = with_them.read_block(block), without.read_block(block)
        assert all(other[name].num_rows == 0 for name in own)
        assert {k: v for k, v in mine.items() if k not in own} == {
            k: v for k, v in other.items() if k not in own
        }


def test_months_add_up_to_the_block(run):
    """Months of a block hold its totals; those of replications what the draws lost, with less without."""
    folder = RunFolder(run / "with")
    for block in folder.finished_blocks():
        month, total, traffic, drawn, months = (
            KeyedTable.from_arrow(columns, folder.read_table(block, name))
            for columns, name in (
                (SERVICE_MONTH, "service_month"),
                (TOTAL, "service_total"),
                (TRAFFIC, "service_traffic"),
                (REPLICATIONS, "service_replications"),
                (MONTHS, "service_month_replications"),
            )
        )
        for way in (0, 1, BOTH):
            here = month.key("direction") == way
            entity = month.key("entity")[here]
            for name, table in (("unavailable_s", total), ("below_committed_s", traffic)):
                found = np.bincount(entity, month.value(name)[here], 2)
                assert found == pytest.approx(table.spread(name, (2,), direction=way), abs=1e-3)
            lacking = np.bincount(entity, month.value("undelivered_mbit")[here], 2)
            asked, given = (
                traffic.spread(each, (2,), direction=way) for each in ("peak_mbit", "delivered_mbit")
            )
            # Both ways together are as good as the slower one.
            assert lacking == pytest.approx(asked - given, abs=1.0)
        for stratum in (OWN, HISTORIES, FORCED):
            of_draws = drawn.spread("unavailable_s", (2, 64), direction=BOTH, stratum=stratum)
            # Own multipath, the second of the own draws, has no months.
            of_draws = of_draws[:, : OF_FAILURES + 1] if stratum == OWN else of_draws
            assert weighed_s(months, stratum) == pytest.approx(of_draws.sum(axis=1), abs=1e-6)


def weighed_s(months, stratum):
    """Unavailable time of two services in all months of a stratum, each by its weight."""
    sign = np.where((months.key("side") == 0) & (stratum % TOGETHER == FORCED), -1.0, 1.0)
    here = months.key("stratum") == stratum
    value = sign * months.value("unavailable_s") * months.value("weight")
    return np.bincount(months.key("entity")[here], value[here], 2)


@pytest.mark.slow
def test_a_run_that_was_stopped_has_the_same_replications(run, tmp_path):
    """Draws belong to names: the last blocks made later, by two processes, are the same."""
    source = source_of(triangle(parts=RARE_MASTS))
    for years in (2, 6):
        request = RunRequest(years=years, seed=5, block_years=1, options=OPTIONS, workers=2)
        simulate(source, request, tmp_path / "r", resume=years > 2)
    again, whole = RunFolder(tmp_path / "r"), RunFolder(run / "with")
    for block in whole.finished_blocks():
        assert again.read_block(block) == whole.read_block(block)
    assert again.read_results() == whole.read_results()


def test_every_draw_has_its_own_failures(run):
    table = KeyedTable.from_arrow(REPLICATIONS, RunFolder(run / "with").read_table(0, "service_replications"))
    assert set(table.key("stratum")) <= {OWN, HISTORIES, FORCED, NIGHTS, RAINS, OWN_RAIN}
    assert n_draws(2, 0) == (2 * FIRST_TIMES, 2, 1, 1)
    assert n_draws(48, MANY_BLOCKS - 1) == (48, 16, 6, 2)
    assert [n_draws(48, MANY_BLOCKS + more) for more in range(3)] == [
        (24, 8, 6, 2),
        (24, 8, 6, 1),
        (24, 8, 6, 2),
    ]
    assert n_draws(20, FIRST_BLOCKS) == (20, 7, 3, 1)
    losses = table.spread("unavailable_s", (2, 2 * FIRST_TIMES), stratum=HISTORIES, direction=BOTH)
    assert np.unique(losses[0]).size == losses.shape[1]


def test_the_figure_is_the_sum_of_its_terms(run):
    """Own outage less that of own failures, own multipath and a part of own rain, and means of others."""
    figures = ServiceFigures.read(prepare(triangle(parts=RARE_MASTS), OPTIONS), RunFolder(run / "with"))
    seen = figures.seen
    assert seen.blocks.shape == seen.own.shape == (6, 2, 3, len(FIGURES))
    assert len(seen.histories) == 2 * (FIRST_BLOCKS * FIRST_TIMES + 1)
    assert len(seen.forced) == 2 * FIRST_BLOCKS + 1
    for service in range(2):
        part = len(seen.rains) / (len(seen.rains) + 6)
        own = seen.own + part * seen.own_rain
        terms = (seen.blocks - own, seen.histories, seen.forced, seen.nights, part * seen.rains)
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


def test_a_hops_own_losses_are_no_more_than_the_block_had(run):
    """What its failures, multipath and rain take alone add up to what they take together, or more."""
    folder = RunFolder(run / "with")
    for block in folder.finished_blocks():
        total = KeyedTable.from_arrow(TOTAL, folder.read_table(block, "hop_total"))
        hops = KeyedTable.from_arrow(HOPS, folder.read_table(block, "hop_replications"))
        own_s = sum(hops.spread("unavailable_s_sum", (3,), stratum=stratum) for stratum in (OWN, OWN_RAIN))
        lost_s = total.spread("unavailable_s", (3,), direction=BOTH)
        assert lost_s.any()
        assert own_s == pytest.approx(lost_s, rel=0.02, abs=20.0)


def test_hops_rest_on_replications(run):
    """Masts fail once in 570 years: blocks alone do not know them, replications do."""
    tables = [RunFolder(run / name).read_results()["hops"].to_pandas() for name in ("with", "without")]
    for table in tables:
        low, best, high = (table[f"unavailable_min_per_year{end}"] for end in ("_low", "", "_high"))
        assert ((low <= best) & (best <= high)).all()
    half = [
        table["unavailable_min_per_year_high"] - table["unavailable_min_per_year_low"] for table in tables
    ]
    assert (half[0] < half[1]).all()


def test_without_replications_a_figure_is_that_of_the_blocks(run):
    figures = ServiceFigures.read(prepare(triangle(parts=RARE_MASTS)), RunFolder(run / "without"))
    for service in range(2):
        expected = figures.seen.blocks[:, service, BOTH, UNAVAILABLE].mean()
        assert figures.interval(service, UNAVAILABLE).best == pytest.approx(expected)


@pytest.mark.parametrize("replications", [0, 2])
def test_no_limit_is_more_than_a_year_holds(replications, tmp_path):
    """A service that links are too small for: one outage without an end in all the years."""
    always = Service(id="one", site_a="a", site_b="b", committed_mbit_s=9_000.0)
    options = ModelOptions(rain=False, multipath=False, replications=replications)
    simulate(source_of(triangle(services=(always,))), RunRequest(years=2, seed=1, options=options), tmp_path)
    tables = RunFolder(tmp_path).read_results()
    (row,) = tables["services"].to_pylist()
    assert row["unavailable_min_per_year"] == pytest.approx(MINUTES_PER_YEAR)
    assert row["availability_low"] == 0.0
    assert row["worst_month_unavailable_min_high"] <= 31 * 1440.0
    ends = [
        row[name]
        for table in ("services", "service_directions", "hops")
        for row in tables[table].to_pylist()
        for name in row
        if name.endswith("min_per_year_high")
    ]
    assert len(ends) > 6
    assert max(ends) == MINUTES_PER_YEAR


def test_nothing_seen_is_bounded_by_the_networks_own_repairs():
    """The slowest repair of what stops a service by itself: here a mast that takes a day, not four hours."""
    prepared = prepare(triangle(parts=(PartChange(kind="mast", mtbf_h=1e9, swap_h=24.0),)))
    single, parts = alone(BlockSimulator(prepared)), prepared.built.plant.parts
    masts = np.array([part.kind == "mast" for part in parts])
    mast = int(np.flatnonzero(masts & (single.lost_s.toarray()[:, 0] > 0.0))[0])
    # 97.5 % quantile of a lognormal of mean 24 h and ln-sd 0.5, by its definition, and notice and travel.
    quantile_h = 24.0 * np.exp(-0.125 + 0.5 * 1.959964)
    assert quantile_h < single.restore_s[mast] / 3600.0 < quantile_h + 2.0
    everything = np.ones(len(parts), dtype=bool)
    assert single.longest_outage_s(everything)[0] == pytest.approx(single.restore_s[mast], rel=0.1)
    assert single.lost_s[mast, 0] == pytest.approx(24.0 * 3600.0, rel=0.1)  # its mean
    assert single.longest_outage_s(~masts)[0] < single.restore_s[mast] / 3.0


@pytest.mark.slow
def test_histories_of_multipath_have_the_mean_of_the_blocks_own(tmp_path):
    """Over 60 blocks; and with neither rain nor failures a block loses to its own multipath and no more."""
    network = triangle()
    options = ModelOptions(rain=False, failures=False, replications=12)
    request = RunRequest(years=60, seed=3, block_years=1, options=options)
    folder = simulate(source_of(network), request, tmp_path / "r")
    seen = ServiceFigures.read(prepare(network, options), folder).seen
    assert np.array_equal(seen.blocks, seen.own)
    assert seen.own[..., UNAVAILABLE].any()
    for figure in (UNAVAILABLE, SEVERELY_ERRORED, OUTAGES):
        own, others = seen.own[:, 0, BOTH, figure], seen.nights[:, 0, BOTH, figure]
        error = np.sqrt(sum(part.var(ddof=1) / part.size for part in (own, others)))
        assert abs(own.mean() - others.mean()) < 4.0 * error


@pytest.mark.slow
def test_histories_of_rain_have_the_mean_of_the_blocks_own(tmp_path):
    """Over 40 blocks; and with neither multipath nor failures a block loses to its own rain and no more."""
    network = triangle(
        hops=(hop("a-c", "a", "c", 38.0),),
        services=(Service(id="s", site_a="a", site_b="c", committed_mbit_s=30.0),),
    )
    options = ModelOptions(multipath=False, failures=False, replications=32)
    request = RunRequest(years=40, seed=4, block_years=1, options=options)
    folder = simulate(source_of(network), request, tmp_path / "r")
    figures = ServiceFigures.read(prepare(network, options), folder)
    seen = figures.seen
    assert np.array_equal(seen.blocks, seen.own_rain)
    for block in folder.finished_blocks():
        total = KeyedTable.from_arrow(TOTAL, folder.read_table(block, "hop_total"))
        hops = KeyedTable.from_arrow(HOPS, folder.read_table(block, "hop_replications"))
        for figure in FIGURES:
            own = hops.spread(f"{figure}_sum", (1,), stratum=OWN_RAIN)
            assert np.array_equal(own, total.spread(figure, (1,), direction=BOTH))
    for figure in (UNAVAILABLE, OUTAGES):
        own, others = seen.own_rain[:, 0, BOTH, figure], seen.rains[:, 0, BOTH, figure]
        error = np.sqrt(sum(part.var(ddof=1) / part.size for part in (own, others)))
        assert abs(own.mean() - others.mean()) < 4.0 * error
        variance = sum(stratum.variance for stratum in figures.strata(0, figure))
        assert variance < 0.6 * own.var(ddof=1) / own.size


@pytest.mark.slow
def test_a_run_agrees_with_plain_years_of_another_seed(tmp_path):
    """Figures of a run with replications against 240 years of blocks alone, within 4 standard errors.

    Those of hops by their intervals, each taken as four standard errors wide.
    """
    network = triangle(parts=RARE_MASTS)
    found, hops = [], []
    for years, seed, options in ((60, 6, ModelOptions(replications=16)), (240, 7, ModelOptions())):
        request = RunRequest(years=years, seed=seed, block_years=5, options=options, workers=2)
        folder = simulate(source_of(network), request, tmp_path / str(years))
        found.append(ServiceFigures.read(prepare(network, options), folder))
        hops.append(folder.read_results()["hops"].to_pandas())
    for name in ("unavailable_min_per_year", "severely_errored_s_per_year", "outages_per_year"):
        half = [0.5 * (table[f"{name}_high"] - table[f"{name}_low"]) for table in hops]
        assert (abs(hops[0][name] - hops[1][name]) < 2.0 * np.hypot(*half)).all()
    for figure in range(len(FIGURES)):
        strata = [each.strata(0, figure) for each in found]
        one, other = (sum(stratum.mean for stratum in each) for each in strata)
        variance = sum(stratum.variance for each in strata for stratum in each)
        assert abs(one - other) < 4.0 * np.sqrt(variance)


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
    rare = even(plant, masts, 8766.0 / plant.lives[1][masts])

    def lost(n, first, put_in):
        logs = [
            simulator.failures(plant, streams.beside(first + i), SECONDS_PER_YEAR, None, put_in=put_in)
            for i in range(n)
        ]
        return np.array([lost.figures[0, BOTH, UNAVAILABLE] for lost in fade_free(simulator, logs)])

    whole = lost(2000, 10_000, PutIn())
    common = lost(1000, 20_000, PutIn(rare=rare.held, only_before_s=-np.inf))
    draws = [
        ForcedDraw.of(simulator, rare, place, streams, draw, None)
        for draw, place in enumerate(rare.drawn(plant, streams, 500).tolist())
    ]
    each = added_losses(simulator, map(ForcedDraw.history, draws))
    forced = [float(added.figures[0, BOTH, UNAVAILABLE]) * weight for weight, added in each]
    terms = [whole, common, np.array(forced)]
    error = np.sqrt(sum(part.var(ddof=1) / part.size for part in terms))
    apart = whole.mean() - common.mean() - terms[2].mean()
    assert abs(apart) < 4.0 * error
    assert abs(apart - terms[2].mean()) > 4.0 * error


def even(plant, events, rate_per_year, earlier=()):
    """All of these in as many draws, for service 0 alone."""
    chance = np.full(events.size, 1.0 / events.size)
    ways = earlier or ((),) * events.size
    return ByHand(np.array([0]), events, rate_per_year, chance, tuple(ways), len(plant.parts))


def test_draws_choose_parts_by_their_chance():
    """Shares of 4,000 draws within 4 standard errors of the chances; a part that goes moves no other draw."""
    plant = prepare(triangle(parts=RARE_MASTS)).built.plant
    parts = np.array([0, 3, 5])
    chance = np.array([0.2, 0.3, 0.5])
    rare = replace(even(plant, parts, np.array([0.1, 0.2, 0.3])), chance=chance)
    drawn = rare.drawn(plant, Streams(1, 0), 4000)
    share = np.bincount(drawn, minlength=3) / 4000
    assert np.all(np.abs(share - rare.chance) < 4.0 * np.sqrt(rare.chance * (1.0 - rare.chance) / 4000))
    fewer = replace(even(plant, parts[1:], rare.rate_per_year[1:]), chance=chance[1:])
    again = fewer.drawn(plant, Streams(1, 0), 4000)
    assert np.array_equal(again[drawn > 0] + 1, drawn[drawn > 0])


def test_weight_times_chance_is_the_rate():
    prepared = prepare(triangle(parts=RARE_MASTS))
    (rare,) = by_hand(prepared, alone(BlockSimulator(prepared)))
    assert rare.events.size
    assert rare.services.tolist() == [0, 1]
    assert rare.chance.sum() == pytest.approx(1.0)
    assert rare.weight_per_year * rare.chance == pytest.approx(
        8766.0 / prepared.built.plant.lives[1][rare.events]
    )


STRONG_SITES = tuple(
    PartChange(kind=kind, mtbf_h=1e9)
    for kind in ("chassis", "controller", "fan", "mast", "software", "power_distribution", "line_card")
)


def strong_ring(**more):
    """A service with two routes that nothing rare stops but two failures that meet; mains never fail."""
    network = triangle(parts=(*STRONG_SITES, *(PartChange(kind=k, mtbf_h=h) for k, h in more.items())))
    services = (network.services[0].model_copy(update={"protection": "protected"}),)
    sites = tuple(site.model_copy(update={"power": "strong"}) for site in network.sites)
    power = (Power(id="strong", battery_h=1000.0, mains_outages_per_year=0.0),)
    return Network(**{**dict(network), "services": services, "sites": sites, "power": power})


def test_each_service_has_the_months_of_its_own_draws():
    """Who is stopped by failures that meet alone has draws of its own; beside another those of both."""
    network = strong_ring(outdoor_radio=3e4)
    single_route = Service(id="two", site_a="a", site_b="c", committed_mbit_s=30.0)
    network = Network(**{**dict(network), "services": (*network.services, single_route)})
    simulator = BlockSimulator(prepare(network, ModelOptions(rain=False, multipath=False, replications=20)))
    hands = by_hand(simulator.prepared, alone(simulator))
    assert [hand.services.tolist() for hand in hands] == [[1], [0]]
    drawn, _, months, _ = replication_tables(simulator, hands, 3, 0, simulator.simulate(3, 0, 2))
    drawn, months = (
        KeyedTable.from_arrow(REPLICATIONS, drawn),
        KeyedTable.from_arrow(MONTHS, pq.read_table(pa.BufferReader(months))),
    )
    for stratum in (HISTORIES, FORCED):
        lost = drawn.spread("unavailable_s", (2, 64), direction=BOTH, stratum=stratum).sum(axis=1)
        assert weighed_s(months, stratum) == pytest.approx(lost, abs=1e-6)
        assert weighed_s(months, stratum + TOGETHER)[1] == pytest.approx(lost[1], abs=1e-6)
    assert weighed_s(months, FORCED)[0] > 0.0  # before, those of the other service's draws alone


def test_a_service_that_nothing_stops_alone_rests_on_failures_that_meet():
    prepared = prepare(strong_ring(), ModelOptions(rain=False, multipath=False))
    single = alone(BlockSimulator(prepared))
    (pairs,) = by_hand(prepared, single)
    parts = prepared.built.plant.parts
    kinds = {parts[event].kind for event in pairs.events.tolist()}
    assert {"outdoor_radio", "antenna", "modem_card"} <= kinds
    # Antennas of the hot-standby hop take it; its radios stand in for each other.
    on_standby = [parts[event].kind for event in pairs.events.tolist() if parts[event].id.startswith("a-c")]
    assert set(on_standby) == {"antenna", "coupler"}
    for event, ways in zip(pairs.events.tolist(), pairs.earlier, strict=True):
        stops = single.lost_s[event, 0] > 0.0
        assert len(ways) == (0 if stops else 1)
        assert all(event not in way.parts for way in ways)


@pytest.mark.slow
def test_pairs_of_failures_have_the_mean_of_natural_ones():
    """600 histories of two years of all that fails, against those without pairs and 300 pairs put in."""
    life_h = {"outdoor_radio": 2e3, "modem_card": 2e3, "cable": 1e5, "antenna": 1e5, "coupler": 1e6}
    simulator = BlockSimulator(prepare(strong_ring(**life_h), ModelOptions(rain=False, multipath=False)))
    plant, streams = simulator.prepared.built.plant, Streams(6, 0)
    (pairs,) = by_hand(simulator.prepared, alone(simulator))

    def lost(n, first, put_in):
        logs = [
            simulator.failures(plant, streams.beside(first + i), 2.0 * SECONDS_PER_YEAR, None, put_in=put_in)
            for i in range(n)
        ]
        return 0.5 * np.array([lost.figures[0, BOTH, UNAVAILABLE] for lost in fade_free(simulator, logs)])

    whole = lost(600, 10_000, PutIn())
    rest = lost(100, 20_000, PutIn(rare=pairs.held, only_before_s=-np.inf))
    forced, unweighted = [], []
    places = pairs.drawn(plant, streams, 300).tolist()
    draws = [ForcedDraw.of(simulator, pairs, place, streams, draw, None) for draw, place in enumerate(places)]
    each = added_losses(simulator, map(ForcedDraw.history, draws))
    for place, (weight, added) in zip(places, each, strict=True):
        forced.append(float(added.figures[0, BOTH, UNAVAILABLE]) * weight)
        unweighted.append(float(added.figures[0, BOTH, UNAVAILABLE]) * pairs.weight_per_year[place])
    terms = [whole, rest, np.array(forced)]
    error = np.sqrt(sum(part.var(ddof=1) / part.size for part in terms))
    assert error < 0.25 * whole.mean()
    assert abs(whole.mean() - rest.mean() - np.mean(forced)) < 4.0 * error
    assert abs(whole.mean() - rest.mean() - np.mean(unweighted)) > 4.0 * error  # negative control


@pytest.mark.slow
def test_strikes_put_in_by_hand_have_the_mean_of_natural_ones():
    """1,000 years of all strikes, against none of its own and 300 put in; twice as many show (control)."""
    lightning = LightningRisk(strikes_per_storm_h=0.002, damage_chance=0.3)
    network = triangle(lightning=lightning)
    simulator = BlockSimulator(prepare(network, ModelOptions(multipath=False)))
    prepared, plant, streams = simulator.prepared, simulator.prepared.built.plant, Streams(8, 0)
    storms = simulator.simulate(8, 0, 10).weather
    n, per_year = len(plant.parts), strikes_per_year(prepared)
    strikes = even(plant, n + np.flatnonzero(per_year > 0.0), per_year[per_year > 0.0])
    held = PutIn(rarely_struck=np.ones(n, dtype=bool), only_before_s=-np.inf)

    def lost(n_histories, put_in):
        logs = [
            simulator.failures(plant, streams.beside(100 + i), storms_s, storms, put_in=put_in)
            for i in range(n_histories)
        ]
        return 0.1 * np.array([lost.figures[0, BOTH, UNAVAILABLE] for lost in fade_free(simulator, logs)])

    storms_s = 10.0 * SECONDS_PER_YEAR
    # The same draws of all else: only lightning differs.
    apart = lost(100, PutIn()) - lost(100, held)
    draws = [
        ForcedDraw.of(simulator, strikes, place, streams, draw, weather_of_draw(storms, draw))
        for draw, place in enumerate(strikes.drawn(plant, streams, 300).tolist())
    ]
    each = added_losses(simulator, map(ForcedDraw.history, draws))
    forced = [float(added.figures[0, BOTH, UNAVAILABLE]) * weight for weight, added in each]
    error = np.hypot(apart.std(ddof=1) / 10.0, np.std(forced, ddof=1) / np.sqrt(len(forced)))
    assert error < 0.15 * apart.mean()
    assert abs(apart.mean() - np.mean(forced)) < 4.0 * error
    assert abs(apart.mean() - 2.0 * np.mean(forced)) > 4.0 * error
