"""Spares as a store keeps them, and what one visit mends: step by step on invented failures."""

from dataclasses import replace

import numpy as np
import pytest
import simpy
from bare_plant import HOUR, bare_plant, check_mean, unit_kind
from plant_entries import AT_ONCE, OFFICE_HOURS, crew_at, spares_at

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.plant import Plant, PlantPart, PlantSite
from hopyears.sim.equipment.dispatch import Dispatcher, Episode
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.stores import Stores
from hopyears.sim.streams import Streams

LEAD_H = 100.0


class Shop:
    """Stores whose faults the test decides; every order takes 100 h."""

    def __init__(self, *depots, crews=1, plant=None):
        self.plant = plant or bare_plant(4, unit_kind(1e5, 5.0), crews=crews, depots=depots)
        self.env = simpy.Environment()
        self.dispatcher = Dispatcher(self.env, self.plant, unlimited=False)
        self.stores = Stores(self.env, self.plant, self.dispatcher, unlimited=False)

    def ask(self, part, priority, *fitting, site=0):
        episode = Episode(part, site, self.env.now, 1, priority=priority)
        return episode, self.stores.ask(episode, fitting or ("unit",), 0.5)

    def at(self, hours):
        self.env.run(until=hours * HOUR)


def depot(stock, *, id="here", latitude_deg=50.0, **changes):
    return spares_at(id, latitude_deg, 10.0, stock, lead_time=Law.fixed(LEAD_H), **changes)


def test_the_urgent_fault_is_served_before_an_older_one():
    shop = Shop(depot({"unit": 0}))
    _, spare = shop.ask(0, 2)
    shop.at(10.0)
    _, urgent = shop.ask(1, 0)
    shop.at(LEAD_H + 1.0)
    assert urgent.triggered
    assert not spare.triggered
    shop.at(LEAD_H + 11.0)
    assert spare.triggered


def test_a_spare_with_which_nobody_has_set_off_is_taken_back():
    shop = Shop(depot({"unit": 1}), crews=1)
    shop.dispatcher.book(0)  # the only crew is away
    holder, held = shop.ask(0, 1)
    assert held.triggered
    called = shop.dispatcher.call(holder)
    urgent, ready = shop.ask(1, 0)
    assert ready.triggered
    assert urgent.depot == 0
    # The holder's call for a crew is withdrawn, and it waits for the order that was made in its place.
    assert called.triggered
    assert holder.crew == -1
    again = shop.stores.lost(holder)
    shop.at(LEAD_H + 1.0)
    assert again.triggered
    assert shop.stores.lost(holder) is None


def test_a_spare_on_the_road_stays_with_its_fault():
    shop = Shop(depot({"unit": 1}))
    holder, _ = shop.ask(0, 1)
    shop.dispatcher.call(holder)
    assert holder.crew == 0
    _, urgent = shop.ask(1, 0)
    assert not urgent.triggered
    # Nor is it taken from a fault that is as urgent.
    shop = Shop(depot({"unit": 1}))
    shop.ask(0, 0)
    _, second = shop.ask(1, 0)
    assert not second.triggered


def test_a_fault_that_becomes_urgent_takes_a_spare_then():
    shop = Shop(depot({"unit": 1}))
    shop.dispatcher.book(0)
    _, held = shop.ask(0, 1)
    later, waits = shop.ask(1, 1)
    assert (held.triggered, waits.triggered) == (True, False)
    later.priority = 0
    shop.stores.review()
    assert waits.triggered


def test_an_express_order_is_made_once_for_stopped_traffic_only():
    shop = Shop(depot({"unit": 0}, express_h=24.0))
    _, lost_protection = shop.ask(0, 1)
    shop.at(5.0)
    _, urgent = shop.ask(1, 0)
    shop.at(5.0 + 24.0 - 0.1)
    assert not urgent.triggered
    shop.at(5.0 + 24.0 + 0.1)
    assert (urgent.triggered, lost_protection.triggered) == (True, False)
    shop.at(LEAD_H + 0.1)
    assert lost_protection.triggered
    # All orders have come: the stock is what it was at the start.
    shop.at(3 * LEAD_H)
    assert shop.stores._level[0, "unit"] == 0


def test_an_order_that_comes_sooner_anyway_is_not_made_again():
    shop = Shop(replace(depot({"unit": 0}, express_h=24.0), lead_time=Law.fixed(10.0)))
    _, urgent = shop.ask(0, 0)
    shop.at(10.1)
    assert urgent.triggered


def test_an_express_order_is_that_of_another_store_where_the_own_has_none():
    far = spares_at("far", 50.5, 10.0, {"unit": 0}, lead_time=Law.fixed(3.0 * LEAD_H), express_h=24.0)
    shop = Shop(plant=two_sites(depots=(depot({"unit": 0}), far)))
    first, older = shop.ask(1, 1, site=1)
    shop.at(1.0)
    fault, waits = shop.ask(0, 1)
    shop.at(LEAD_H + 2.0)  # the older fault takes what was ordered for the other
    assert (older.triggered, waits.triggered) == (True, False)
    shop.stores.used(first)
    fault.priority = 0
    shop.stores.review()
    shop.at(LEAD_H + 2.0 + 24.1)
    assert waits.triggered


def test_an_order_becomes_one_of_the_kind_that_was_taken():
    """A radio takes the common spare, which was ordered for a fault that nothing else fits."""
    shop = Shop(depot({"special": 0, "unit": 0}))
    _, served = shop.ask(0, 1, "special", "unit")
    shop.at(10.0)
    _, waits = shop.ask(1, 2, "unit")
    shop.stores._level[0, "unit"] += 1  # a common spare comes from elsewhere
    shop.stores.review()
    assert (served.triggered, waits.triggered) == (True, False)
    shop.at(LEAD_H + 1.0)
    assert waits.triggered
    shop.at(2 * LEAD_H)
    assert shop.stores._level == {(0, "special"): 0, (0, "unit"): 1}


@pytest.mark.parametrize("seed", range(20))
def test_stock_and_orders_less_faults_that_wait_are_what_each_store_began_with(seed):
    rng = np.random.default_rng(seed)
    stock = {"special": int(rng.integers(3)), "unit": int(rng.integers(3))}
    shop = Shop(depot(stock, express_h=24.0), depot(stock, id="far", latitude_deg=52.0))
    for part in range(40):
        fitting = (("special", "unit"), ("unit",), ("special",))[rng.integers(3)]
        shop.at(shop.env.now / HOUR + rng.exponential(30.0))
        shop.ask(part, int(rng.integers(3)), *fitting)
        for item in stock:
            own = [each for each in shop.stores._waiting if each.ordered == item]
            there = sum(shop.stores._level[depot, item] for depot in (0, 1))
            ordered = sum(len(shop.stores._orders[depot, item]) for depot in (0, 1))
            assert there + ordered - len(own) == 2 * stock[item]
    shop.at(shop.env.now / HOUR + 50 * LEAD_H)
    assert not shop.stores._waiting


def test_a_spare_that_a_crew_has_begun_to_use_stays_and_another_is_taken():
    shop = Shop(depot({"unit": 2}))
    shop.dispatcher.book(0)
    first, second = (shop.ask(part, 1)[0] for part in (0, 1))
    shop.stores.used(first)
    _, urgent = shop.ask(2, 0)
    assert urgent.triggered
    assert shop.stores.lost(first) is None
    assert shop.stores.lost(second) is not None


def test_spares_without_limit_come_from_the_nearest_depot_that_lists_them():
    far, near = depot({"unit": 0}, id="far", latitude_deg=52.0), depot({"unit": 0})
    other = depot({"other": 1}, id="other")
    shop = Shop(far, other, near)
    episode = Episode(0, 0, 0.0, 1)
    assert (
        Stores(shop.env, shop.plant, shop.dispatcher, unlimited=True).ask(episode, ("unit",), 0.5).triggered
    )
    assert episode.depot == 2


def test_a_spare_of_the_right_type_is_taken_before_one_that_fits_all():
    shop = Shop(depot({"unit/r7": 1, "unit": 1, "unit/r23": 1}))
    _, first = shop.ask(0, 0, "unit/r7", "unit")
    assert first.triggered
    assert shop.stores._level == {(0, "unit/r7"): 0, (0, "unit"): 1, (0, "unit/r23"): 1}
    _, second = shop.ask(1, 0, "unit/r7", "unit")
    assert second.triggered
    # The third needs an order: a spare of another type does not fit.
    _, third = shop.ask(2, 0, "unit/r7", "unit")
    assert not third.triggered


def test_what_no_depot_lists_is_ordered_and_no_depot_at_all_means_spares_at_hand():
    shop = Shop(depot({"other": 1}))
    _, ready = shop.ask(0, 0)
    assert not ready.triggered
    shop.at(LEAD_H + 0.1)
    assert ready.triggered
    assert Shop().ask(0, 0)[1].triggered


def test_a_farther_depot_ships_to_the_nearer_one():
    near = depot({"unit": 0})
    far = depot({"unit": 1}, id="far", latitude_deg=52.0, ships_h=20.0)
    shop = Shop(near, far)
    episode, ready = shop.ask(0, 0)
    shop.at(19.9)
    assert not ready.triggered
    shop.at(20.1)
    assert ready.triggered
    assert episode.depot == 0
    fetched, at_once = Shop(near, depot({"unit": 1}, id="far", latitude_deg=52.0)).ask(0, 0)
    assert at_once.triggered
    assert fetched.depot == 1


def two_sites(*, crews=2, **changes):
    """Two places, an hour and a half from the only base; parts are mended in two hours."""
    kind = unit_kind(1e5, 2.0, mend=Law.fixed(2.0))
    sites = [PlantSite("near", 50.0, 10.0), PlantSite("far", 50.5, 10.0)]
    parts = [PlantPart(f"p{i}", "unit", i % 2) for i in range(6)]
    return Plant(
        sites, parts, crews=[crew_at("base", 50.0, 10.0, crews)], kinds={"unit": kind},
        repair=AT_ONCE, **changes,
    )  # fmt: skip


def call(dispatcher, env, part, site, priority):
    episode = Episode(part, site, env.now, 1, priority=priority)
    episode.noticed_s = env.now
    return episode, dispatcher.call(episode)


def test_one_visit_mends_what_else_is_broken_at_the_site():
    plant = two_sites()
    env = simpy.Environment()
    dispatcher = Dispatcher(env, plant, unlimited=False)
    first, arrived = call(dispatcher, env, 1, 1, 0)
    travel_s = plant.bases_near(1, None)[0][0] * HOUR
    env.run(until=0.5 * travel_s)
    second, at_work = call(dispatcher, env, 3, 1, 0)  # the crew is still on the road: it does both
    assert (first.crew, second.crew) == (0, 0)
    env.run(until=travel_s + 1.0)
    assert arrived.triggered
    assert not at_work.triggered
    # At work, a crew takes on what is not urgent; an urgent fault gets the idle crew.
    lesser, _ = call(dispatcher, env, 5, 1, 2)
    urgent, _ = call(dispatcher, env, 5, 1, 0)
    assert (lesser.crew, urgent.crew) == (0, 1)
    dispatcher.done(first)
    env.run(until=env.now + 1.0)
    assert at_work.triggered
    assert second.crew_s == pytest.approx(travel_s + 1.0)
    # Then the lesser one, then home.
    dispatcher.done(second)
    dispatcher.done(lesser)
    assert dispatcher.book(0) is None
    env.run(until=env.now + travel_s + 1.0)
    assert dispatcher.book(0) == 0


def test_a_crew_past_the_depot_brings_no_further_spare():
    plant = two_sites(depots=[depot({"unit": 2})])
    env = simpy.Environment()
    dispatcher = Dispatcher(env, plant, unlimited=False)
    first = Episode(1, 1, 0.0, 1, depot=0)
    dispatcher.call(first)
    env.run(until=60.0)
    second = Episode(3, 1, 60.0, 1, depot=0)
    dispatcher.call(second)
    assert (first.crew, second.crew) == (0, 1)


def test_faults_called_together_at_night_go_on_the_urgent_visit():
    night = crew_at("base", 50.0, 10.0, shift=OFFICE_HOURS)  # and on call
    plant = replace(two_sites(depots=[depot({"unit": 3})]), crews=[night])
    env = simpy.Environment(initial_time=22 * HOUR)
    dispatcher = Dispatcher(env, plant, unlimited=False)
    lesser, lesser_done = call(dispatcher, env, 1, 1, 1)
    assert lesser.crew == -1
    urgent, _ = call(dispatcher, env, 3, 1, 0)
    assert (lesser.crew, urgent.crew) == (0, 0)
    env.run(until=30 * HOUR)
    dispatcher.done(urgent)
    env.run(until=env.now + 1.0)
    assert lesser_done.triggered


@pytest.mark.slow
def test_urgency_does_not_change_how_much_is_waited_for_spares():
    """Base stock, one for one: what is on order does not depend on who is served first (Palm's theorem, as in
    Feeney and Sherbrooke, Management Science 12 (1966) 391: from memory), so the mean wait stays."""
    n_parts, stock = 200, 3
    waits = {}
    for name, changes in {"mixed": {}, "alike": {"affecting_share": 1.0}}.items():
        plant = bare_plant(
            n_parts, unit_kind(20000.0, 1.0, spare="unit", **{"affecting_share": 0.3, **changes}), crews=50,
            depots=[spares_at("here", 50.0, 10.0, {"unit": stock}, lead_time=Law.exponential(720.0))],
        )  # fmt: skip
        means, urgent, other = [], [], []
        for block in range(60):
            log = simulate_failures(plant, Streams(3, block), 20 * 8766 * HOUR, warm_up_s=8766 * HOUR)
            wait = np.minimum(log.failures.spare_s, log.duration_s) - log.failures.noticed_s
            means.append(wait.mean())
            urgent.append(wait[log.failures.affecting].mean())
            other.append(wait[~log.failures.affecting].mean() if (~log.failures.affecting).any() else np.nan)
        waits[name] = means, urgent, other
    check_mean(waits["mixed"][0], float(np.mean(waits["alike"][0])), rel_error=0.2)
    assert np.mean(waits["mixed"][1]) < 0.6 * np.mean(waits["mixed"][2])
