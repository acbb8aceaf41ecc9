"""The failure simulation against Markov chains: pairs, switches, latent failures, shared crews, spares."""

from functools import cache

import numpy as np
import pytest
from bare_plant import HOUR, bare_plant, blocks, check_mean, pair, silent_s, standard_errors_off, unit_kind
from markov import (
    dark_share,
    latent_pair_unavailability,
    long_run,
    pair_chances,
    pair_outages_per_year,
    repair_shop,
)
from plant_entries import crew_at, spares_at, supply
from reference import cases, rows
from scipy.stats import poisson

from hopyears.models.basics.units import HOURS_PER_YEAR
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.plant import Plant, PlantPart, PlantSite
from hopyears.models.network.network import RepairRules

MTBF_H, MTTR_H = 1000.0, 50.0
SPAN_YEARS = 40
SPAN_H = SPAN_YEARS * HOURS_PER_YEAR


def reference(quantity, **inputs):
    """One published value; the table's rows with these inputs, or a failure if there is none."""
    found = [
        row["value"]
        for row in rows("reliability", quantity)
        if all(row["inputs"].get(key) == value for key, value in inputs.items())
    ]
    assert len(found) == 1
    return found[0]


def solved(row):
    """The value of a published row, from the solved chain that the simulation is held to."""
    given, quantity = row["inputs"], row["quantity"]
    mean = given["MTBF_h"], given["MTTR_h"]
    if quantity.startswith("repairshop"):
        shop = repair_shop(*mean, n_units=given["N"], crews=given["crews"])
        return shop[quantity.removeprefix("repairshop_")]
    if quantity == "hot_1+1_outages_per_year":
        return pair_outages_per_year(*mean, crews=given["crews"])
    if quantity == "latent_standby_1+1_U":
        detect_h = given["mean_time_to_detect_h"]
        return latent_pair_unavailability(*mean, detect_h=detect_h, crews=given["crews"])
    return pair_chances(*mean, crews=given["crews"], cold=quantity.startswith("cold"))[0]


@pytest.mark.parametrize(
    "row",
    [
        case
        for case in cases("reliability")
        if case.values[0]["quantity"].startswith(("hot", "cold", "latent", "repairshop"))
    ],
)
def test_the_chains_give_the_published_values(row):
    assert solved(row) == pytest.approx(row["value"], rel=row["rel_tol"])


def silent_shares(plant, n_blocks=14, **how):
    logs = list(blocks(plant, n_blocks=n_blocks, hours=SPAN_H, **how))
    spans = [silent_s(log) for log in logs]
    shares = [
        float(np.sum(end - start)) / log.duration_s for (start, end), log in zip(spans, logs, strict=True)
    ]
    return shares, [len(start) for start, _ in spans]


@cache
def hot_pair_results(crews):
    return silent_shares(pair_plant(crews))


def pair_plant(crews, kind=None, **group):
    return bare_plant(2, kind or unit_kind(MTBF_H, MTTR_H), crews=crews, groups=[pair(**group)])


@pytest.mark.parametrize("crews", [1, 2])
def test_hot_pair(crews):
    shares, outages = hot_pair_results(crews)
    check_mean(shares, pair_chances(MTBF_H, MTTR_H, crews=crews)[0])
    check_mean(np.array(outages) / SPAN_YEARS, pair_outages_per_year(MTBF_H, MTTR_H, crews=crews))
    published = reference("hot_1+1_outages_per_year", MTBF_h=MTBF_H, MTTR_h=MTTR_H, crews=crews)
    check_mean(np.array(outages) / SPAN_YEARS, published)


def test_the_checker_rejects_the_wrong_number_of_crews():
    shares, _ = hot_pair_results(1)
    assert abs(standard_errors_off(shares, pair_chances(MTBF_H, MTTR_H, crews=2)[0])) > 8.0


@pytest.mark.parametrize("crews", [pytest.param(1, marks=pytest.mark.slow), 2])
def test_cold_pair(crews):
    shares, _ = silent_shares(pair_plant(crews, cold=True), n_blocks=24)
    check_mean(shares, pair_chances(MTBF_H, MTTR_H, crews=crews, cold=True)[0])
    if crews == 2:
        check_mean(shares, reference("cold_1+1_U", MTBF_h=MTBF_H, MTTR_h=MTTR_H, crews=2))


def test_unlimited_crews_are_two_crews_for_a_pair():
    shares, _ = silent_shares(pair_plant(1), unlimited=True)
    check_mean(shares, pair_chances(MTBF_H, MTTR_H, crews=2)[0])


def imperfect_switch_chain(coverage, manual_h):
    """Share of silence of the pair as simulated, from its Markov chain solved by a general library.

    States: 0 both work; 1 one works and transmits; 2 both down; 3 switch stuck on a failed chain, the
    other works; 4 stuck, both down. Mending the chain that the switch stands on ends the silence (3 to 0,
    4 to 1); mending the other asks the switch (2) or not (4, stuck).
    """
    fail, mend, hand = 1 / MTBF_H, 1 / MTTR_H, 1 / manual_h
    chance = long_run({
        (0, 1): fail * (1 + coverage), (0, 3): fail * (1 - coverage), (1, 0): mend, (1, 2): fail,
        (2, 1): mend * (1 + coverage), (2, 3): mend * (1 - coverage), (3, 0): mend, (3, 1): hand,
        (3, 4): fail, (4, 1): mend, (4, 3): mend, (4, 2): hand,
    })  # fmt: skip
    return chance[2] + chance[3] + chance[4]


@pytest.mark.parametrize(("failure", "manual_h"), [(0.1, 5.0), (0.3, 100.0)])
def test_switch_that_fails_on_demand(failure, manual_h):
    plant = pair_plant(2, switch_failure=failure, manual_switch=Law.exponential(manual_h))
    shares, _ = silent_shares(plant)
    check_mean(shares, imperfect_switch_chain(1 - failure, manual_h))


@pytest.mark.slow
def test_published_imperfect_switch():
    # The textbook chain has no repair while the switch is stuck, which matters little when the switch is
    # worked by hand within 5 h of a repair of 50 h: the two laws differ by less than 8 %.
    published = reference("imperfect_switch_1+1_U", MTBF_h=MTBF_H, coverage=0.9)
    shares, _ = silent_shares(
        bare_plant(
            2,
            unit_kind(MTBF_H, MTTR_H),
            crews=1,
            groups=[pair(switch_failure=0.1, manual_switch=Law.exponential(5.0))],
        )
    )
    assert np.mean(shares) == pytest.approx(published, rel=0.12)


def test_latent_standby_found_at_random():
    detect_h = 200.0
    kind = unit_kind(MTBF_H, MTTR_H, latent_share=1.0)
    shares, _ = silent_shares(pair_plant(2, kind, test=Law.exponential(detect_h)))
    expected = latent_pair_unavailability(MTBF_H, MTTR_H, detect_h=detect_h, crews=2)
    check_mean(shares, expected)
    assert abs(standard_errors_off(shares, pair_chances(MTBF_H, MTTR_H, crews=2)[0])) > 8.0


def test_latent_standby_found_on_a_timetable():
    # The main never fails; the standby is silent from failure to test, then mended in no time.
    kind = unit_kind(MTBF_H, 1e-6, latent_share=1.0)
    tested = pair(test=Law.fixed(900.0))
    plant = Plant(
        [PlantSite("here", 50.0, 10.0)],
        [PlantPart("main", "unit", 0, life=Law.fixed(1e12)), PlantPart("standby", "unit", 0)],
        groups=[tested],
        crews=[crew_at("here", 50.0, 10.0)],
        kinds={"unit": kind},
        repair=RepairRules(dispatch_h=0.0),
    )
    shares = [
        log.phases_s()[:, 0].sum() / log.duration_s
        for log in blocks(plant, n_blocks=14, hours=SPAN_H, warm_up_h=2000.0)
    ]
    # Found and renewed at each test only: 1 - (1 - exp(-a))/a, a = interval/mean life (IEC 61508-6, annex B).
    a = 900.0 / MTBF_H
    check_mean(shares, 1 + np.expm1(-a) / a)


def check_machine_repair(mtbf_h, mttr_h, n_units, crews, *, n_blocks, hours):
    plant = bare_plant(n_units, unit_kind(mtbf_h, mttr_h), crews=crews)
    down, waiting = [], []
    for log in blocks(plant, n_blocks=n_blocks, hours=hours, warm_up_h=500.0):
        phases = log.phases_s()
        down.append(phases.sum() / log.duration_s)
        waiting.append(phases[:, 2].sum() / log.duration_s)
    law = repair_shop(mtbf_h, mttr_h, n_units=n_units, crews=crews)
    check_mean(down, law["mean_failed"])
    check_mean(waiting, law["mean_waiting"])
    return np.array(down) / n_units


def test_machine_repair_with_much_waiting():
    check_machine_repair(200.0, 20.0, 12, 2, n_blocks=60, hours=1000.0)


def test_published_machine_repair():
    share = check_machine_repair(2000.0, 20.0, 10, 1, n_blocks=25, hours=8 * HOURS_PER_YEAR)
    check_mean(share, reference("repairshop_unit_U", MTBF_h=2000, MTTR_h=20, N=10, crews=1))


@pytest.mark.slow
def test_published_machine_repair_with_three_crews():
    share = check_machine_repair(10_000.0, 24.0, 100, 3, n_blocks=250, hours=15 * HOURS_PER_YEAR)
    check_mean(share, reference("repairshop_unit_U", MTBF_h=10_000, MTTR_h=24, N=100, crews=3))


@pytest.mark.parametrize("lead", [Law.fixed(720.0), Law.exponential(720.0)], ids=["fixed", "exponential"])
def test_waiting_for_spares_follows_palm(lead):
    n_parts, stock = 200, 3
    kind = unit_kind(50_000.0, 1e-6, spare="unit")
    plant = bare_plant(
        n_parts, kind, crews=50, depots=[spares_at("here", 50.0, 10.0, {"unit": stock}, lead_time=lead)]
    )
    rate = n_parts / 50_000.0
    short, late = [], []
    for log in blocks(plant, n_blocks=40, hours=4 * HOURS_PER_YEAR, warm_up_h=HOURS_PER_YEAR):
        begun = log.failures.failed_s >= 0.0
        wait_h = (log.failures.spare_s - log.failures.noticed_s)[begun] / HOUR
        short.append(float(np.sum(wait_h > 0.0)))
        late.append(log.phases_s()[:, 1].sum() / log.duration_s)
    # Palm's theorem (C. Palm 1938): the orders under way are Poisson; a demand waits if all stock is among
    # them, and the mean wait is the mean of what is asked for beyond the stock over the rate (Little).
    under_way = poisson(rate * 720.0)
    chance = under_way.sf(stock - 1)
    mean_wait_h = under_way.expect(lambda n: np.maximum(n - stock, 0)) / rate
    check_mean(short, rate * 4 * HOURS_PER_YEAR * chance)
    # Parts that wait do not fail meanwhile, which lowers the demand by their share (below 2 %).
    check_mean(np.array(late), rate * mean_wait_h * (1 - rate * mean_wait_h / n_parts), rel_error=0.2)


def test_the_fluid_queue_without_recharging_time_has_the_exponential_tail():
    # A full battery meets every outage: dark share = rate x mean x exp(-B/mean)/(1 + rate x mean).
    fast = dark_share(1000.0, 10.0, battery_h=15.0, recharge_h=1e-9)
    assert fast == pytest.approx(10 / 1010 * np.exp(-1.5), rel=1e-6)


def test_battery_backed_mains():
    fed = supply(
        mains_outages_per_year=HOURS_PER_YEAR / 200.0,
        mains_outage=Law.exponential(5.0),
        battery_h=4.0,
        recharge_h=160.0,
        battery_end_share=1.0,
    )
    sites = [PlantSite(f"s{i}", 50.0, 10.0, power=fed) for i in range(20)]
    plant = Plant(sites, [])
    dark, lost = [], []
    for log in blocks(plant, n_blocks=30, hours=2 * HOURS_PER_YEAR, warm_up_h=1000.0):
        dark.append(log.sites.power_down.total_s().mean() / log.duration_s)
        lost.append(log.sites.mains_lost.total_s().mean() / log.duration_s)
    check_mean(lost, 5 / 205, rel_error=0.02)
    check_mean(dark, dark_share(200.0, 5.0, battery_h=4.0, recharge_h=160.0), rel_error=0.02)
    # A battery that never discharges would give another figure: the check can tell.
    full = dark_share(200.0, 5.0, battery_h=4.0, recharge_h=1e-9)
    assert abs(standard_errors_off(dark, full)) > 8.0


@pytest.mark.slow
@pytest.mark.parametrize("crews", [1, 2])
def test_hot_pair_closely(crews):
    shares, _ = silent_shares(pair_plant(crews), n_blocks=120)
    check_mean(shares, pair_chances(MTBF_H, MTTR_H, crews=crews)[0], rel_error=0.03)


@pytest.mark.slow
def test_rare_double_failures_of_many_pairs():
    # Published row, MTBF 50 000 h and MTTR 24 h with two crews a pair: 1.7e-4 double failures a year.
    n = 1000
    kind = unit_kind(50_000.0, 24.0)
    groups = [pair(id=f"g{i}", chains=((2 * i,), (2 * i + 1,))) for i in range(n)]
    plant = bare_plant(2 * n, kind, crews=50, groups=groups)
    counts = []
    for log in blocks(plant, n_blocks=16, hours=50 * HOURS_PER_YEAR):
        ends = np.append(log.transmitters.time_s[1:], np.inf)
        counts.append(np.sum((log.transmitters.chain < 0) & (ends != log.transmitters.time_s)))
    published = reference("hot_1+1_outages_per_year", MTBF_h=50_000, MTTR_h=24, crews=2)
    check_mean(np.array(counts) / (n * 50), published)
