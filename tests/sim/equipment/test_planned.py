"""Planned work on the clock: crews away for it, repairs before it, storms, tests of standbys."""

from dataclasses import replace

import numpy as np
import pytest
from bare_plant import HOUR, check_mean, pair, unit_kind
from plant_entries import AT_ONCE, crew_at
from plant_entries import work as some_work

from hopyears.models.basics.intervals import merged
from hopyears.models.basics.units import HOURS_PER_YEAR, SECONDS_PER_DAY, SECONDS_PER_YEAR
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import Repair
from hopyears.models.equipment.plant import Plant, PlantPart, PlantSite
from hopyears.models.network.network import RepairRules
from hopyears.sim.equipment.failure_tally import failure_tally
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.planned import appointments
from hopyears.sim.streams import Streams

YEAR = SECONDS_PER_YEAR
DAY = SECONDS_PER_DAY


def plant_with(work, *, parts=(), kind=None, teams=1, **changes):
    """Work at a site half a degree (55.6 km, 1.807 h by road) north of the crews' base."""
    return Plant(
        [PlantSite("here", 50.5, 0.0, planned=work if isinstance(work, tuple) else (work,))],
        parts,
        crews=[crew_at("base", 50.0, 0.0, teams)],
        kinds={"unit": kind or unit_kind(1e9, 1.0)},
        **{"repair": AT_ONCE} | changes,
    )


TRAVEL_H = np.radians(0.5) * 6371.0 * 1.3 / 40.0


def test_a_visit_takes_a_crew_from_departure_to_return():
    plant = plant_with(some_work(per_year=4.0, duration=Law.fixed(2.0), start_h=3.0, outage_share=0.5))
    log = simulate_failures(plant, Streams(1, 0), 10 * YEAR)
    visits = log.visits
    inside = visits.start_s >= 0.0
    assert np.count_nonzero(inside) == pytest.approx(40, abs=1)
    np.testing.assert_allclose(visits.start_s - visits.left_s, TRAVEL_H * HOUR, rtol=1e-6)
    np.testing.assert_allclose(visits.home_s - visits.left_s, (2 * TRAVEL_H + 2.0) * HOUR, rtol=1e-6)
    np.testing.assert_allclose(visits.start_s % DAY, 3 * HOUR, atol=1e-6)
    start_s, end_s = log.sites.maintenance.of(0)
    np.testing.assert_allclose(start_s, visits.start_s[inside])
    np.testing.assert_allclose(end_s - start_s, 1.0 * HOUR)
    away = failure_tally(log, plant).crews.columns
    assert away["planned"].tolist() == [len(start_s)]
    assert away["planned_s"][0] == pytest.approx(len(start_s) * (2 * TRAVEL_H + 2.0) * HOUR, rel=0.03)


def test_nobody_is_at_two_places_and_repairs_wait_for_the_crew_that_is_away():
    # One crew, planned work for about half of its time: repairs wait, and no job overlaps another.
    work = some_work(per_year=200.0, duration=Law.fixed(20.0))
    units = [PlantPart(f"unit {i}", "unit", 0) for i in range(10)]
    busy = plant_with(work, parts=units, kind=unit_kind(5000.0, 3.0))
    log = simulate_failures(busy, Streams(1, 0), 10 * YEAR)
    mended_home_s = log.failures.mended_s + TRAVEL_H * HOUR
    begin = np.concatenate([log.failures.crew_s, log.visits.left_s])
    end = np.concatenate([mended_home_s, log.visits.home_s])
    order = np.argsort(begin)
    assert np.all(begin[order][1:] >= end[order][:-1] - 1e-3)
    idle = simulate_failures(replace(busy, sites=[PlantSite("here", 50.5, 0.0)]), Streams(1, 0), 10 * YEAR)
    # A call meets the crew away for the share of time of all visits, with half a visit to go.
    away_h = 20.0 + 2 * TRAVEL_H
    expected_h = 200.0 * away_h / HOURS_PER_YEAR * away_h / 2
    waits_h = (log.failures.crew_s - log.failures.spare_s) / HOUR
    assert waits_h.mean() == pytest.approx(expected_h, abs=4 * waits_h.std() / np.sqrt(len(waits_h)))
    assert (idle.failures.crew_s - idle.failures.spare_s).mean() < 0.1 * expected_h * HOUR
    # With as many crews as are called nobody waits, and the work keeps to its dates.
    free = simulate_failures(busy, Streams(1, 0), 10 * YEAR, unlimited=True)
    assert np.all(free.failures.crew_s == free.failures.spare_s)
    dates = appointments(busy, draws_of(busy), (-YEAR, 10 * YEAR))[0].start_s
    np.testing.assert_allclose(free.visits.start_s[:2000], dates[:2000])


def draws_of(plant):
    from hopyears.sim.equipment.draws import Draws

    return Draws(Streams(1, 0), [("site", site.id) for site in plant.sites])


def test_work_is_put_off_by_whole_days_while_the_crew_mends():
    units = [PlantPart("unit", "unit", 0)]
    plant = plant_with(
        some_work(per_year=6.0, duration=Law.fixed(1.0)), parts=units, kind=unit_kind(300.0, 100.0)
    )
    log = simulate_failures(plant, Streams(1, 0), 10 * YEAR)
    dates = np.array(appointments(plant, draws_of(plant), (-YEAR, 10 * YEAR))[0].start_s)
    n = len(log.visits.start_s)
    late_days = (log.visits.start_s - dates[:n]) / DAY
    np.testing.assert_allclose(late_days, np.round(late_days), atol=1e-6)
    assert late_days.min() == 0.0
    assert np.count_nonzero(late_days) > 10
    for left_s in log.visits.left_s[late_days > 0.5]:
        # The day before at this hour the crew was out mending.
        out = (log.failures.crew_s <= left_s - DAY) & (log.failures.mended_s + TRAVEL_H * HOUR > left_s - DAY)
        assert out.any() or left_s < DAY  # what was mended before time 0 is not in the log


def test_climbs_wait_for_the_storm_to_pass_and_other_work_does_not():
    start = np.arange(0.0, 5 * YEAR, 3 * DAY)  # every third day is a storm
    storms = merged(np.zeros(len(start), int), start, start + DAY, n_rows=1)
    plain = some_work(per_year=30.0, duration=Law.fixed(2.0))
    logs = {
        climbs: simulate_failures(
            plant_with(replace(plain, climbs=climbs)), Streams(1, 0), 5 * YEAR, storms=storms
        )
        for climbs in (False, True)
    }
    dry = {}
    for climbs, log in logs.items():
        visits = log.visits
        touched = [
            np.any((start < end_s) & (start + DAY > start_s))
            for start_s, end_s in zip(visits.start_s, visits.end_s, strict=True)
            if start_s >= 0.0
        ]
        dry[climbs] = 1.0 - np.mean(touched)
    assert dry[True] == 1.0
    assert dry[False] == pytest.approx(2 / 3, abs=4 * np.sqrt(2 / 9 / 150))
    assert len(logs[True].visits.start_s) == pytest.approx(len(logs[False].visits.start_s), abs=1)


def test_climbs_wait_for_daylight_where_that_is_the_rule():
    work = some_work(per_year=20.0, start_h=2.0, climbs=True, duration=Law.fixed(2.0))
    log = simulate_failures(
        plant_with(work, repair=RepairRules(dispatch_h=0.0, daylight_climbs=True)), Streams(1, 0), 5 * YEAR
    )
    hour = log.visits.start_s % DAY / HOUR
    assert 3.5 < hour.min() < 4.5  # sunrise at 50.5 N in summer
    assert 7.5 < hour.max() < 8.5  # and in winter


def test_work_from_a_distance_takes_nobody():
    plant = plant_with(some_work(per_year=12.0, duration=Law.fixed(1.0), visit=False))
    log = simulate_failures(plant, Streams(1, 0), 10 * YEAR)
    assert len(log.visits.crew) == 0
    assert len(log.sites.maintenance.of(0)[0]) == pytest.approx(120, abs=1)
    assert failure_tally(log, plant).crews.columns["planned_s"][0] == 0.0


def test_a_visit_that_tests_finds_what_failed_unseen():
    # A standby that fails unseen is found by the next visit: 0 to 30 days later, 15 on the average.
    kind = unit_kind(20_000.0, 1.0, latent_share=1.0, repair=Repair.INDOOR)
    work = some_work(per_year=365.25 / 30.0, duration=Law.fixed(1.0), outage_share=0.0, tests=True)
    units = [PlantPart("main", "unit", 0, life=Law.exponential(1e9)), PlantPart("standby", "unit", 0)]
    plant = plant_with(work, parts=units, kind=kind, groups=[pair(test=None)])
    waits_h = []
    for block in range(40):
        log = simulate_failures(plant, Streams(1, block), 20 * YEAR)
        unseen = log.failures.latent & (log.failures.mended_s < log.duration_s)
        waits_h.append(np.mean((log.failures.noticed_s - log.failures.failed_s)[unseen]) / HOUR)
        at_a_visit = np.isin(
            log.failures.noticed_s[unseen & (log.failures.failed_s > 0)].round(3), log.visits.start_s.round(3)
        )
        assert at_a_visit.all()
        assert not len(log.sites.maintenance.start_s)
    check_mean(waits_h, 15 * 24.0)


def test_another_kind_of_work_moves_no_date_and_no_length():
    first = some_work(per_year=12.0, duration=Law.lognormal(2.0, 0.5))
    alone = simulate_failures(plant_with(first), Streams(1, 0), 5 * YEAR)
    second = some_work(per_year=1.0, start_h=14.0, outage_share=0.0)
    both = simulate_failures(plant_with((first, second)), Streams(1, 0), 5 * YEAR)
    np.testing.assert_array_equal(alone.sites.maintenance.start_s, both.sites.maintenance.start_s)
    np.testing.assert_array_equal(alone.sites.maintenance.end_s, both.sites.maintenance.end_s)
    assert len(both.visits.crew) > len(alone.visits.crew)
