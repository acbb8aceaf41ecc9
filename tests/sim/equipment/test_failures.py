"""The failure simulation as a whole: stages in order, storms, lightning, sameness, stationarity, outputs."""

import gc
import weakref
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from bare_plant import HOUR, bare_plant, blocks, check_mean, pair, standard_errors_off, unit_kind
from hypothesis import given, settings
from hypothesis import strategies as st
from interval_rows import intervals_of_rows
from plant_entries import AT_ONCE, OFFICE_HOURS, crew_at, generator, group, spares_at, sun, supply, work

from hopyears.models.basics.intervals import merged
from hopyears.models.basics.units import HOURS_PER_YEAR, SECONDS_PER_YEAR
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import PART_KINDS, Repair
from hopyears.models.equipment.plant import Plant, PlantPart, PlantSite
from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import LightningRisk, RepairRules
from hopyears.sim.equipment.failure_log import DOWN, MUTE, UP
from hopyears.sim.equipment.failure_tally import crew_names, failure_tally
from hopyears.sim.equipment.failures import failures_each, simulate_failures
from hopyears.sim.equipment.power import lost_with_more_than
from hopyears.sim.equipment.put_in import NOTHING_PUT_IN, PutIn
from hopyears.sim.equipment.weather import Weather
from hopyears.sim.streams import Streams

YEAR = SECONDS_PER_YEAR


def small_plant(**changes):
    """Six sites, every kind of part, some pairs, all worn ten times too fast."""
    kinds = {
        key: replace(kind, life=Law.exponential(kind.life.mean_h / 10)) for key, kind in PART_KINDS.items()
    }
    sites = [
        PlantSite(
            f"s{i}", 50.0 + 0.2 * i, 10.0,
            power=supply(mains_outages_per_year=20.0, generator=generator() if i == 2 else None),
            planned=(work(per_year=2.0),),
        )
        for i in range(6)
    ]  # fmt: skip
    sites[5] = replace(sites[5], power=supply(solar=sun(15.0), battery_h=40.0))
    parts = [PlantPart(f"s{i}/{kind}", kind, i) for i in range(6) for kind in PART_KINDS]
    groups = []
    for i in range(6):
        first = len(parts)
        parts += [
            PlantPart(f"s{i}/{chain}/{kind}", kind, i)
            for chain in "ab"
            for kind in ("outdoor_radio", "modem_card")
        ]
        groups.append(group(f"s{i}", ((first, first + 1), (first + 2, first + 3)), revertive=True))
    plan = Plant(
        sites, parts, groups,
        crews=[crew_at("south", 50.0, 10.0, shift=OFFICE_HOURS), crew_at("north", 51.0, 10.0)],
        depots=[spares_at("south", 50.1, 10.1, {"outdoor_radio": 1, "modem_card": 1, "antenna": 0})],
        kinds=kinds,
        lightning=LightningRisk(strikes_per_storm_h=0.01, damage_chance=0.5),
    )  # fmt: skip
    return replace(plan, **changes)


def stormy(n_sites, years, seed=5, each_h=6.0, per_year=40):
    weather = np.random.default_rng(seed)
    start = weather.uniform(0, years * YEAR, (n_sites, per_year * years)).ravel()
    row = np.repeat(np.arange(n_sites), per_year * years)
    return merged(row, start, np.minimum(start + each_h * HOUR, years * YEAR), n_rows=n_sites)


@pytest.fixture(scope="module")
def plant():
    return small_plant()


@pytest.fixture(scope="module")
def storms():
    return stormy(6, 10)


@pytest.fixture(scope="module")
def log(plant, storms):
    return simulate_failures(plant, Streams(1, 0), 10 * YEAR, storms=storms)


def test_stages_come_in_order(log):
    assert len(log.failures) > 200
    stages = [
        log.failures.failed_s,
        log.failures.noticed_s,
        log.failures.spare_s,
        log.failures.crew_s,
        log.failures.arrived_s,
        log.failures.mended_s,
    ]
    for early, late in pairwise(stages):
        assert np.all(early <= late)
    assert np.all(log.failures.mended_s > 0.0)
    assert np.all(log.failures.mended_s <= log.duration_s)
    assert set(np.unique(log.failures.crew)) == {-1, 0, 1}


def test_phases_sum_to_the_time_down(log):
    down = np.minimum(log.failures.mended_s, log.duration_s) - np.maximum(log.failures.failed_s, 0.0)
    np.testing.assert_allclose(log.phases_s().sum(axis=1), down)
    assert np.all(log.phases_s() >= -1e-6)


def test_no_part_fails_twice_at_once_and_no_crew_works_twice_at_once(log, plant):
    for part in range(len(plant.parts)):
        rows = slice(log.failures.part_offset[part], log.failures.part_offset[part + 1])
        assert np.all(log.failures.part[rows] == part)
        assert np.all(log.failures.failed_s[rows][1:] >= log.failures.mended_s[rows][:-1])
    for crew in (0, 1):
        mine = log.failures.crew == crew
        order = np.argsort(log.failures.arrived_s[mine], kind="stable")
        sent, arrived, end, site = (
            column[mine][order]
            for column in (
                log.failures.crew_s,
                log.failures.arrived_s,
                log.failures.mended_s,
                log.failures.site,
            )
        )
        home = 0.0
        for i in range(len(sent) - 1):
            home = max(home, arrived[i] - sent[i])
            if arrived[i + 1] == end[i] and site[i + 1] == site[i]:
                continue  # mended on the same visit
            assert sent[i + 1] >= end[i] + home - 1e-6
            home = 0.0


def test_nobody_climbs_in_a_storm(log, plant, storms):
    climbs = [plant.kinds[plant.parts[part].kind].repair is Repair.OUTDOOR for part in log.failures.part]
    held = 0
    for row in np.nonzero(climbs)[0]:
        if log.failures.mended_s[row] >= log.duration_s or log.failures.arrived_s[row] < 0.0:
            continue
        begin, end = storms.of(log.failures.site[row])
        inside = np.minimum(end, log.failures.mended_s[row]) - np.maximum(begin, log.failures.arrived_s[row])
        stormy_s = float(np.sum(np.maximum(inside, 0.0)))
        assert log.failures.storm_s[row] == pytest.approx(stormy_s, abs=1e-3)
        # Work is never finished inside a storm.
        assert not np.any((begin < log.failures.mended_s[row]) & (log.failures.mended_s[row] < end))
        held += stormy_s > 0.0
    assert held >= 3


def test_same_seed_same_log_and_other_block_other_log(log, plant, storms):
    again = simulate_failures(plant, Streams(1, 0), 10 * YEAR, storms=storms)
    other = simulate_failures(plant, Streams(1, 1), 10 * YEAR, storms=storms)
    for name in ("part", "failed_s", "mended_s", "crew"):
        np.testing.assert_array_equal(getattr(log.failures, name), getattr(again.failures, name))
    np.testing.assert_array_equal(log.transmitters.time_s, again.transmitters.time_s)
    assert len(log.failures) != len(other.failures) or not np.array_equal(
        log.failures.failed_s, other.failures.failed_s
    )


def test_weather_made_once_serves_every_history(log, plant, storms):
    weather = Weather.of(storms, 10 * YEAR, YEAR)
    for _ in range(2):
        again = simulate_failures(plant, Streams(1, 0), 10 * YEAR, storms=weather)
        for name in ("part", "failed_s", "mended_s", "storm_s"):
            np.testing.assert_array_equal(getattr(log.failures, name), getattr(again.failures, name))
        np.testing.assert_array_equal(log.sites.power_down.start_s, again.sites.power_down.start_s)


def test_failures_drawn_hold_nothing_but_their_log(plant, storms):
    """Their weather goes with its last user at once, though repairs are still under way on the clock."""
    weather = Weather.of(storms, 10 * YEAR, YEAR)
    held = weakref.ref(weather.storms.start_s)
    gc.disable()
    try:
        log = simulate_failures(plant, Streams(1, 0), 10 * YEAR, storms=weather)
        assert (log.failures.mended_s >= log.duration_s).any()
        assert held() is not None
        del weather
        assert held() is None
    finally:
        gc.enable()


def test_a_block_has_the_same_failures_with_other_things_put_in_beside_it(plant, storms):
    each = [
        PutIn({0: (2 * YEAR,)}),
        NOTHING_PUT_IN,
        PutIn({1: (3 * YEAR,)}, rare=np.arange(len(plant.parts)) < 3),
    ]
    together = failures_each(plant, Streams(1, 0), 10 * YEAR, storms=storms, put_in=each)
    for put_in, log in zip(each, together, strict=True):
        alone = simulate_failures(plant, Streams(1, 0), 10 * YEAR, storms=storms, put_in=put_in)
        for name in ("part", "failed_s", "mended_s", "crew"):
            np.testing.assert_array_equal(getattr(log.failures, name), getattr(alone.failures, name))
        np.testing.assert_array_equal(log.sites.power_down.start_s, alone.sites.power_down.start_s)
    assert not np.array_equal(together[0].failures.failed_s, together[1].failures.failed_s)


def test_a_changed_part_moves_no_other_draw(plant, storms):
    before = simulate_failures(plant, Streams(3, 0), 5 * YEAR, storms=stormy(6, 5), unlimited=True)
    parts = list(plant.parts)
    parts[0] = replace(parts[0], life=Law.exponential(2000.0))
    after = simulate_failures(
        replace(plant, parts=parts), Streams(3, 0), 5 * YEAR, storms=stormy(6, 5), unlimited=True
    )
    kept_before, kept_after = before.failures.part != 0, after.failures.part != 0
    np.testing.assert_array_equal(before.failures.part[kept_before], after.failures.part[kept_after])
    np.testing.assert_array_equal(before.failures.mended_s[kept_before], after.failures.mended_s[kept_after])
    assert np.count_nonzero(~kept_after) > np.count_nonzero(~kept_before)
    np.testing.assert_array_equal(before.sites.mains_lost.start_s, after.sites.mains_lost.start_s)


def test_unlimited_crews_and_spares_wait_for_nobody(log, plant, storms):
    free = simulate_failures(plant, Streams(1, 0), 10 * YEAR, storms=storms, unlimited=True)
    assert free.phases_s()[:, 1].sum() == 0.0
    assert log.phases_s()[:, 1].sum() > 0.0
    assert free.phases_s().sum() < log.phases_s().sum()
    # A base that works round the clock sets off at once.
    night = replace(plant, crews=[replace(plant.crews[1], number=1)])
    at_once = simulate_failures(night, Streams(1, 0), 10 * YEAR, storms=storms, unlimited=True)
    assert at_once.phases_s()[:, 2].max() == 0.0


def test_lightning_strikes_at_its_rate():
    n_sites, years = 10, 5
    plant = Plant(
        [PlantSite(f"s{i}", 50.0, 10.0) for i in range(n_sites)],
        [
            PlantPart(f"s{i}/{j}", "outdoor_radio", i, life=Law.fixed(1e12))
            for i in range(n_sites)
            for j in range(2)
        ],
        crews=[crew_at("here", 50.0, 10.0, 50)],
        repair=AT_ONCE,
        lightning=LightningRisk(strikes_per_storm_h=0.02, damage_chance=0.5),
    )
    storms = stormy(n_sites, years)
    counts, both, struck = [], 0, 0
    for block in range(20):
        log = simulate_failures(plant, Streams(1, block), years * YEAR, storms=storms, warm_up_s=0.0)
        assert np.all(log.failures.cause == Cause.OUTDOOR_RADIO | Cause.LIGHTNING)
        counts.append(len(log.failures))
        times, hits = np.unique(log.failures.failed_s, return_counts=True)
        both, struck = both + np.sum(hits == 2), struck + len(times)
    storm_h = storms.total_s().sum() / HOUR
    check_mean(counts, storm_h * 0.02 * 0.5 * 2)
    # Of the strikes that harm one of two parts, a third harm both (chance 0.25 of 0.75), less a few
    # that meet a part still being mended.
    assert both / struck == pytest.approx(1 / 3, abs=4 * np.sqrt(2 / 9 / struck) + 0.02)


def test_storms_raise_the_mains_outage_rate():
    mains = supply(mains_outages_per_year=10.0, storm_factor=6.0)
    plant = Plant([PlantSite(f"s{i}", 50.0, 10.0, power=mains) for i in range(20)], [])
    storms = stormy(20, 5)
    inside, outside = [], []
    for block in range(12):
        log = simulate_failures(plant, Streams(1, block), 5 * YEAR, storms=storms, warm_up_s=0.0)
        in_storm = 0
        for site in range(20):
            start, _ = log.sites.mains_lost.of(site)
            begin, end = storms.of(site)
            at = np.searchsorted(begin, start, side="right") - 1
            in_storm += int(np.sum((at >= 0) & (start < end[at])))
        inside.append(in_storm)
        outside.append(len(log.sites.mains_lost.start_s) - in_storm)
    storm_years = storms.total_s().sum() / YEAR
    check_mean(inside, 60.0 * storm_years, rel_error=0.05)
    check_mean(outside, 10.0 * (100.0 - storm_years), rel_error=0.05)


def test_generator_helps_by_its_chance_of_starting():
    def dark_s(engine):
        fed = supply(
            mains_outages_per_year=30.0,
            mains_outage=Law.exponential(3.0),
            storm_factor=0.0,
            battery_h=1.0,
            battery_end_share=1.0,
            recharge_h=1e-9,
            generator=engine,
        )
        plant = Plant([PlantSite(f"s{i}", 50.0, 10.0, power=fed) for i in range(20)], [])
        return [
            log.sites.power_down.total_s().sum()
            for log in blocks(plant, n_blocks=10, hours=2 * HOURS_PER_YEAR)
        ]

    alone, helped = dark_s(None), dark_s(generator(start_failure=0.1, start_s=0.0, fuel_h=1e6))
    check_mean(np.array(helped) / np.mean(alone), 0.1, rel_error=0.15)


def test_rectifiers_are_bridged_by_the_battery():
    # Two modules, one needed: dark while both are down, from the moment the battery is spent.
    row, start, end = np.zeros(2, int), np.array([0.0, 6.0]), np.array([10.0, 20.0])
    both = lost_with_more_than(np.array([1]), row, start, end)
    assert both.of(0)[0].tolist() == [6.0]
    assert both.of(0)[1].tolist() == [10.0]
    fed = supply(mains_outages_per_year=0.0, battery_h=4.0, battery_end_share=1.0)
    plant = Plant(
        [PlantSite("here", 50.0, 10.0, power=fed)],
        [PlantPart("r", "rectifier", 0, life=Law.fixed(3000.0), mend=Law.fixed(10.0))],
        crews=[crew_at("here", 50.0, 10.0)],
        repair=AT_ONCE,
    )
    log = simulate_failures(plant, Streams(1, 0), YEAR)
    np.testing.assert_allclose(log.sites.power_down.start_s, log.failures.failed_s + 4 * HOUR)
    np.testing.assert_allclose(log.sites.power_down.end_s, log.failures.mended_s)
    assert len(log.sites.power_down.start_s) >= 2


def test_maintenance_windows(log):
    start, end = log.sites.maintenance.of(1)
    assert 19 <= len(start) <= 21
    np.testing.assert_allclose(end - start, 1 * HOUR)
    local_h = (start / HOUR + 10.0 / 15.0) % 24.0
    np.testing.assert_allclose(local_h, 2.0, atol=1e-6)


def test_several_kinds_of_window_at_a_site():
    kinds = (
        work(duration=Law.fixed(2.0)),
        work(per_year=4.0, duration=Law.fixed(1.0), start_h=3.0, outage_share=0.5),
    )
    plant = Plant([PlantSite("here", 50.0, 0.0, planned=kinds)], [])
    log = simulate_failures(plant, Streams(1, 0), 10 * YEAR)
    start, end = log.sites.maintenance.of(0)
    hours = np.round((end - start) / HOUR, 6)
    assert np.count_nonzero(hours == 2.0) == pytest.approx(10, abs=1)
    assert np.count_nonzero(hours == 0.5) == pytest.approx(40, abs=1)
    with pytest.raises(ValueError, match="per_year is 0; must be above 0"):
        work(per_year=0)


def test_radial_feeder_of_the_textbook():
    # R. Billinton, R. N. Allan, Reliability Evaluation of Power Systems, chapter 7, radial feeder without
    # fuses, load point A (from memory): main 2, 1, 3, 2 km at 0.1 failures per km and year, 4 h each;
    # laterals 1, 3, 2, 1 km at 0.2, 2 h: 2.2 failures a year, 6.0 h a year, 2.73 h each.
    year_h = HOURS_PER_YEAR
    mains = [(0.1 * km, 4.0) for km in (2, 1, 3, 2)]
    laterals = [(0.2 * km, 2.0) for km in (1, 3, 2, 1)]
    plant = Plant(
        [PlantSite("feeder", 50.0, 10.0)],
        [
            PlantPart(
                f"section {i}", "unit", 0, life=Law.exponential(year_h / rate), mend=Law.lognormal(hours, 0.5)
            )
            for i, (rate, hours) in enumerate(mains + laterals)
        ],
        crews=[crew_at("here", 50.0, 10.0, 8)],
        kinds={"unit": unit_kind(1e6, 1.0)},
        repair=AT_ONCE,
    )
    counts, hours = [], []
    for log in blocks(plant, n_blocks=30, hours=50 * year_h):
        counts.append(len(log.failures) / 50.0)
        hours.append(log.phases_s().sum() / HOUR / 50.0)
    check_mean(counts, 2.2, rel_error=0.03)
    check_mean(hours, 6.0, rel_error=0.03)
    assert np.sum(hours) / np.sum(counts) == pytest.approx(2.73, rel=0.03)


def test_feeder_with_laterals_and_sectionalising_of_the_textbook():
    # T. Gonen, Electric Power Distribution System Engineering, chapter 11, page 608 (title from memory; data,
    # page and method read in a public set of worked solutions): three main sections of 1 mile, 0.08 faults
    # per mile and year, 3.5 h each; laterals of 2, 1.5 and 1.5 miles to customers A, B and C, 0.2 faults,
    # 1.5 h. A fault of a main section beyond a customer is cut off by hand in 0.75 h. Faults a year 0.64,
    # 0.54, 0.54; hours each 1.5625, 1.981, 2.389.
    year_h = HOURS_PER_YEAR
    lengths = {"A": 2.0, "B": 1.5, "C": 1.5}
    parts = [
        PlantPart(f"main {i}", "unit", 0, Law.exponential(year_h / 0.08), Law.fixed(3.5)) for i in range(3)
    ]
    parts += [
        PlantPart(f"lateral {name}", "unit", 0, Law.exponential(year_h / (0.2 * miles)), Law.fixed(1.5))
        for name, miles in lengths.items()
    ]
    plant = Plant(
        [PlantSite("feeder", 50.0, 10.0)],
        parts,
        crews=[crew_at("here", 50.0, 10.0, 6)],
        kinds={"unit": unit_kind(1e6, 1.0)},
        repair=AT_ONCE,
    )
    published = {"A": (0.64, 1.5625), "B": (0.54, 1.981), "C": (0.54, 2.389)}
    rates = {name: [] for name in published}
    hours = {name: [] for name in published}
    for log in blocks(plant, n_blocks=40, hours=200 * year_h):
        down_h = (log.failures.mended_s - log.failures.failed_s) / HOUR
        for place, name in enumerate(published):
            until_h = np.where(
                (log.failures.part > place) & (log.failures.part < 3), np.minimum(down_h, 0.75), down_h
            )
            mine = (log.failures.part < 3) | (log.failures.part == 3 + place)
            rates[name].append(mine.sum() / 200.0)
            hours[name].append(until_h[mine].sum() / 200.0)
    for name, (faults, each_h) in published.items():
        check_mean(rates[name], faults, rel_error=0.03)
        check_mean(hours[name], faults * each_h, rel_error=0.03)


def test_cable_and_overhead_line_in_a_row_of_the_textbook():
    # The same book and solutions, page 606: 3 miles overhead (0.2 faults per mile and year, 3 h each), 1 mile
    # underground (0.1, 28 h), two terminations (0.003, 3 h): 0.706 faults a year of 6.54108 h.
    rows = [(0.6, 3.0), (0.1, 28.0), (0.003, 3.0), (0.003, 3.0)]
    plant = Plant(
        [PlantSite("feeder", 50.0, 10.0)],
        [
            PlantPart(
                f"section {i}", "unit", 0, Law.exponential(HOURS_PER_YEAR / rate), Law.exponential(hours)
            )
            for i, (rate, hours) in enumerate(rows)
        ],
        crews=[crew_at("here", 50.0, 10.0, 4)],
        kinds={"unit": unit_kind(1e6, 1.0)},
        repair=AT_ONCE,
    )
    logs = list(blocks(plant, n_blocks=40, hours=200 * HOURS_PER_YEAR))
    # A section that is down does not fail: one rate in 1 + rate * hours / 8,766, below 0.04 % here.
    check_mean([len(log.failures) / 200.0 for log in logs], 0.706, rel_error=0.03)
    check_mean([log.phases_s().sum() / HOUR / 200.0 for log in logs], 0.706 * 6.54108, rel_error=0.03)


def test_solar_site_is_dark_when_the_sun_is_short(log):
    # 15 h of harvest for 24 h of load: lit for 15/24 of the time or a little less (full batteries waste).
    lit = 1.0 - log.sites.power_down.total_s()[5] / log.duration_s
    assert 0.5 < lit < 15 / 24 + 0.01
    assert log.sites.mains_lost.total_s()[5] == 0.0


def test_shift_and_call_out():
    def crew_waits(on_call, priority):
        shift = replace(OFFICE_HOURS, on_call=on_call)
        plant = Plant(
            [PlantSite("here", 50.0, 10.0)],
            [
                PlantPart(f"p{i}", "modem_card", 0, life=Law.exponential(2000.0), priority=priority)
                for i in range(20)
            ],
            crews=[crew_at("here", 50.0, 10.0, 20, shift=shift)],
            repair=AT_ONCE,
        )
        log = simulate_failures(plant, Streams(1, 0), 5 * YEAR)
        return (log.failures.crew_s - log.failures.spare_s)[
            log.failures.crew >= 0
        ] / HOUR, log.failures.crew_s[log.failures.crew >= 0]

    waits, sent = crew_waits(on_call=True, priority=0)
    assert np.all(waits == 0.0)
    waits, sent = crew_waits(on_call=True, priority=2)
    local_h = (sent / HOUR) % 24.0
    assert np.all((local_h >= 8.0) & (local_h <= 17.0))
    assert np.all((sent // 86400) % 7 <= 4)
    # Wait to a working hour, averaged over the week: nights of 15 h (4 of them) and one gap of 63 h.
    expected = (4 * 15.0**2 + 63.0**2) / 2 / 168
    assert waits.mean() == pytest.approx(expected, abs=4 * waits.std() / np.sqrt(len(waits)))


def test_urgent_calls_go_first():
    plant = bare_plant(40, unit_kind(400.0, 20.0), crews=1)
    parts = [replace(part, priority=2 * (i % 2)) for i, part in enumerate(plant.parts)]
    log = simulate_failures(replace(plant, parts=parts), Streams(1, 0), 2 * YEAR)
    waits = log.failures.crew_s - log.failures.spare_s
    urgent = log.failures.part % 2 == 0
    assert waits[urgent].mean() < 0.2 * waits[~urgent].mean()


def test_failures_that_stop_no_traffic_come_after_all_that_do():
    kind = unit_kind(400.0, 20.0, affecting_share=0.5)
    plant = bare_plant(40, kind, crews=1, groups=[pair()])
    log = simulate_failures(plant, Streams(1, 0), 2 * YEAR)
    waiting_for = {}
    for row in np.flatnonzero(log.failures.crew >= 0):
        others = (log.failures.noticed_s < log.failures.crew_s[row]) & (
            log.failures.crew_s > log.failures.crew_s[row]
        )
        waiting_for[row] = (
            np.count_nonzero(others & log.failures.affecting),
            np.count_nonzero(others & ~log.failures.affecting),
        )
    passed_over = np.array([counts for row, counts in waiting_for.items() if not log.failures.affecting[row]])
    assert passed_over[:, 0].sum() == 0
    # The check can tell: failures of the same rank do wait for each other, and traffic goes first.
    assert passed_over[:, 1].sum() > 0
    assert sum(counts[1] for row, counts in waiting_for.items() if log.failures.affecting[row]) > 0


def test_travel_takes_distance_over_speed_by_way_of_the_depot():
    kind = unit_kind(500.0, 1.0, spare="unit")
    plant = Plant(
        [PlantSite("far", 51.0, 10.0, access_h=0.5)],
        [PlantPart("p", "unit", 0)],
        crews=[crew_at("base", 50.0, 10.0, speed_km_h=60.0)],
        depots=[spares_at("store", 50.5, 10.0, {"unit": 50})],
        kinds={"unit": kind},
    )
    log = simulate_failures(plant, Streams(1, 0), YEAR)
    # One degree of latitude is 111.19 km on a sphere of 6371 km; the depot is on the way.
    hours = (log.failures.arrived_s - log.failures.crew_s)[:-1] / HOUR
    np.testing.assert_allclose(hours, 111.195 * 1.3 / 60.0 + 0.5, rtol=1e-4)


def test_ageing_parts_are_met_half_worn():
    # A Weibull part fails at a steady rate of 1/mean from the first day; all-new parts would not.
    kind = replace(unit_kind(20_000.0, 1e-6), life=Law.weibull(20_000.0, 4.0))
    plant = bare_plant(500, kind, crews=500)
    counts = [len(log.failures) for log in blocks(plant, n_blocks=20, hours=4000.0)]
    check_mean(counts, 500 * 4000.0 / 20_000.0)
    fresh_share = 1 - np.exp(-((4000.0 / 20_000.0 * 0.9064) ** 4))
    assert abs(standard_errors_off(counts, 500 * fresh_share)) > 8.0


def test_latent_failures_are_there_from_the_first_day():
    kind = unit_kind(20_000.0, 1.0, latent_share=1.0)
    pair = group("g", ((0,), (1,)), test=Law.fixed(4000.0), switch_failure=0.0)
    groups = [replace(pair, id=f"g{i}", chains=((2 * i,), (2 * i + 1,))) for i in range(100)]
    plant = bare_plant(200, kind, crews=200, groups=groups)
    first, last = [], []
    for log in blocks(plant, n_blocks=20, hours=8000.0, warm_up_h=6000.0):
        end = np.minimum(log.failures.noticed_s, log.duration_s)
        for share, low, high in ((first, 0.0, 1000 * HOUR), (last, 7000 * HOUR, 8000 * HOUR)):
            seen = np.minimum(end, high) - np.maximum(log.failures.failed_s, low)
            share.append(np.sum(np.maximum(seen, 0.0)) / (1000 * HOUR))
    difference = np.array(first) - np.array(last)
    assert np.mean(last) > 5.0
    assert abs(standard_errors_off(difference, 0.0)) < 4.0


def test_infant_failures_follow_replacements():
    kind = unit_kind(50_000.0, 1.0, infant_share=0.3, infant_mean_h=100.0)
    counts = {}
    for share in (0.0, 0.3):
        plant = bare_plant(200, replace(kind, infant_share=share), crews=200)
        counts[share] = [len(log.failures) for log in blocks(plant, n_blocks=20, hours=HOURS_PER_YEAR)]
    # Each failure brings 0.3 early ones, each of these again 0.3: 1 / 0.7 in all (less a little: the last
    # hours, and parts that fail early do not wear out in that time).
    ratio = np.mean(counts[0.3]) / np.mean(counts[0.0])
    assert ratio == pytest.approx(1 / 0.7, rel=0.12)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, 95), min_size=1, max_size=12, unique=True))
def test_state_changes_agree_with_a_slow_reading(log, wanted):
    time_s, where, state = log.state_changes_for(wanted)
    assert np.all(np.diff(time_s) >= 0.0)
    assert np.all((time_s >= 0.0) & (time_s < log.duration_s))
    for probe in np.linspace(1.0, log.duration_s - 1.0, 40):
        for place, part in enumerate(wanted):
            mine = (where == place) & (time_s <= probe)
            found = state[mine][-1] if np.any(mine) else UP
            expected = UP
            for row in range(log.failures.part_offset[part], log.failures.part_offset[part + 1]):
                if (
                    log.failures.affecting[row]
                    and log.failures.failed_s[row] <= probe < log.failures.mended_s[row]
                ):
                    expected = (
                        MUTE if log.failures.latent[row] and probe < log.failures.arrived_s[row] else DOWN
                    )
            assert found == expected


def test_failures_from_before_the_block_are_down_at_its_start():
    kind = replace(unit_kind(1000.0, 1.0), life=Law.fixed(1000.0), mend=Law.fixed(1000.0))
    plant = bare_plant(50, kind, crews=50)
    log = simulate_failures(plant, Streams(2, 0), 0.2 * YEAR, warm_up_s=0.2 * YEAR)
    early = log.failures.failed_s < 0.0
    assert 10 < np.count_nonzero(early) < 40
    time_s, where, state = log.state_changes_for(np.arange(50))
    at_start = time_s == 0.0
    assert set(where[at_start]) == set(log.failures.part[early])
    assert np.all(state[at_start] == DOWN)


def test_tally_holds_every_failure_once_by_kind_and_by_site(log, plant):
    kinds, sites, crews = failure_tally(log, plant)
    begun = np.count_nonzero(log.failures.failed_s >= 0.0)
    assert kinds.columns["failures"].sum() == sites.columns["failures"].sum() == begun
    for counts in (kinds, sites):
        assert counts.phases_s.sum() == pytest.approx(log.phases_s().sum())
    assert crews.columns["visits"].sum() == np.count_nonzero(log.failures.crew >= 0)
    assert crew_names(plant) == ("south 1", "north 1")
    assert kinds.columns["struck"].sum() > 0
    assert sites.columns["dark_s"][0] > 0.0
    for nothing, something in zip(failure_tally(None, plant), (kinds, sites, crews), strict=True):
        assert not any(column.any() for column in (*nothing.columns.values(), nothing.phases_s))
        assert {name: column.shape for name, column in nothing.columns.items()} == {
            name: column.shape for name, column in something.columns.items()
        }


def test_a_repair_is_called_for_after_the_time_to_notice():
    """Always the same two hours, where they do not vary."""
    rules = AT_ONCE.model_copy(update={"dispatch_h": 2.0, "duration_ln_sd": 0.0})
    plant = replace(bare_plant(3, unit_kind(1000.0, 5.0), crews=3), repair=rules)
    failures = simulate_failures(plant, Streams(1, 0), 2 * SECONDS_PER_YEAR).failures
    over = failures.mended_s < 2 * SECONDS_PER_YEAR
    assert np.count_nonzero(over) > 20
    assert (failures.noticed_s - failures.failed_s)[over] == pytest.approx(2.0 * HOUR)


def test_daylight_climbs_start_by_day():
    plant = Plant(
        [PlantSite("here", 50.0, 0.0)],
        [PlantPart(f"p{i}", "outdoor_radio", 0, life=Law.exponential(3000.0)) for i in range(20)],
        crews=[crew_at("here", 50.0, 0.0, 40)],
        repair=RepairRules(daylight_climbs=True),
    )
    log = simulate_failures(plant, Streams(1, 0), 3 * YEAR)
    hour = (log.failures.crew_s[log.failures.mended_s < log.duration_s] / HOUR) % 24.0
    assert np.all((hour > 3.5) & (hour < 20.5))
    assert log.failures.darkness_s.max() > 10 * HOUR
    assert np.all(log.phases_s()[:, 2] < 1e-6)


def test_bad_input_is_refused(plant):
    with pytest.raises(ValueError, match=r"storms has 2 rows; must be one a site \(6\)"):
        simulate_failures(plant, Streams(1, 0), YEAR, storms=intervals_of_rows([[], []]))
    with pytest.raises(ValueError, match="must span"):
        simulate_failures(plant, Streams(1, 0), YEAR, storms=Weather.of(stormy(6, 5), 2 * YEAR, YEAR))
    with pytest.raises(ValueError, match="crews is empty"):
        simulate_failures(replace(plant, crews=()), Streams(1, 0), YEAR)
    with pytest.raises(ValueError, match=r"warm_up_s is 31557600.0; must be 0 to duration_s"):
        simulate_failures(plant, Streams(1, 0), 0.5 * YEAR)
    with pytest.raises(ValueError, match="duration_s is 0"):
        simulate_failures(plant, Streams(1, 0), 0.0)
    with pytest.raises(ValueError, match='part "x": kind is "rocket"; must be one of antenna'):
        Plant(plant.sites, [PlantPart("x", "rocket", 0)])
    with pytest.raises(ValueError, match='part "x": site is 6; must be 0 to 5'):
        Plant(plant.sites, [PlantPart("x", "cable", 6)])
    with pytest.raises(ValueError, match='group "g": chains has 1; must be 0 to 0'):
        Plant(plant.sites, [PlantPart("x", "cable", 0)], [group("g", ((0,), (1,)))])
    with pytest.raises(ValueError, match="part ids are not all different"):
        Plant(plant.sites, [PlantPart("x", "cable", 0)] * 2)
