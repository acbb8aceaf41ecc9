"""What the standards alone say, by hand: link budget, fading, diversity, equipment, power, sums."""

import math
from dataclasses import replace

import numpy as np
import pytest
from markov import dark_share
from plant_entries import supply
from scipy.integrate import quad
from scipy.stats import lognorm
from small_networks import RADIO, hop, triangle

from hopyears.models.air import diversity
from hopyears.models.basics.units import MINUTES_PER_YEAR
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.power import dark_h_per_year
from hopyears.models.network.network import (
    Antenna,
    Crew,
    IndoorUnit,
    Network,
    PartChange,
    Power,
    RepairRules,
    Service,
    Site,
)
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.textbook.common_parts import part_unavailability, power_unavailability, site_unavailability
from hopyears.sim.textbook.fading import fading_outage, rain_exceedance
from hopyears.sim.textbook.predict import hop_equipment_unavailability, predict_hops, predict_services

PLAIN = ModelOptions(rain=False, anchoring=False)
HORNS = (Antenna(id="small", gain_dbi=40.0), Antenna(id="large", gain_dbi=44.0))


def ready(**more):
    return prepare(triangle(**more), PLAIN)


@pytest.fixture(scope="module")
def plain():
    return ready()


def test_link_budget_by_hand():
    table = predict_hops(ready(antennas=HORNS)).set_index(["hop", "states"])
    row = table.loc[("a-c", 4)]
    d, f = row["length_km"], 23.0
    # Sphere: 0.06 degrees north, 0.06 degrees east at 45.03 degrees.
    sphere_km = 111.195 * math.hypot(0.06, 0.06 * math.cos(math.radians(45.03)))
    assert d == pytest.approx(sphere_km, rel=0.003)
    free_space_db = 92.45 + 20 * math.log10(d) + 20 * math.log10(f)
    assert row["combining_loss_db"] == 7.0  # an equal coupler of 3.5 dB at each end
    level_dbm = 20.0 + 40.0 + 40.0 - free_space_db - row["gas_loss_db"] - 7.0
    assert row["received_level_dbm"] == pytest.approx(level_dbm, abs=0.01)
    assert 0.1 < row["gas_loss_db"] / d < 0.4  # P.676: about 0.2 dB/km near 23 GHz
    threshold_dbm = -173.975 + 10 * math.log10(25.2e6) + 6.0 + 8.3
    assert row["threshold_dbm"] == pytest.approx(threshold_dbm, abs=0.01)
    assert row["margin_db"] == pytest.approx(level_dbm - threshold_dbm, abs=0.02)
    assert table.loc[("a-b", 1024), "margin_db"] == pytest.approx(
        table.loc[("a-b", 4), "margin_db"] - (31.1 - 8.3) - 5.0,
        abs=1e-9,  # and 5 dB less power
    )


def test_rain_is_the_law_at_the_margin(plain):
    table = predict_hops(plain)
    for index, design in enumerate(plain.designs):
        for _, row in table[table["hop"] == design.hop.id].iterrows():
            fraction = row["rain_min_per_year"] / MINUTES_PER_YEAR
            margin_db = design.rain.precipitation.attenuation_db(fraction)
            assert margin_db == pytest.approx(row["rain_margin_db"], rel=1e-9)
        assert index < 3


def test_measured_rain_goes_before_the_law():
    measured = hop("a-c", "a", "c", 23.0, rain_exceedance_db={"0.01": 35.0, "0.1": 12.0})
    network = triangle()
    prepared = ready(hops=(network.hops[0], measured, network.hops[2]))
    design = prepared.designs[1]
    assert rain_exceedance(design, 35.0) == pytest.approx(1e-4, rel=1e-3)
    assert rain_exceedance(design, 12.0) == pytest.approx(1e-3, rel=1e-3)
    assert rain_exceedance(design, 0.0) == 1.0
    found = [rain_exceedance(design, margin) for margin in np.linspace(0.5, 90.0, 60)]
    assert (np.diff(found) < 0.0).all()
    assert rain_exceedance(prepared.designs[0], 3.0) == pytest.approx(
        float(prepared.designs[0].rain.precipitation.exceedance(3.0))
    )


def multipath_by_hand(design, step):
    """P.530: deep fades p0 10^(-A/10); signatures; all of the worst month, no diversity."""
    p0, depth_db = design.multipath.occurrence, design.levels.margin_db[0, step]
    eta = 1.0 - math.exp(-0.2 * p0**0.75)
    delay_ns = 0.7 * (design.path.length_km / 50.0) ** 1.3
    flat = p0 * 10.0 ** (-depth_db / 10.0)
    depth = design.steps.signature_depth_db[step]
    width = design.steps.signature_width_ghz[step]
    dispersive = 2.15 * eta * 2 * width * 10.0 ** (-depth / 20.0) * delay_ns**2 / 6.3
    return flat, dispersive, eta


def outage(prepared, index, step):
    return fading_outage(HopThresholds(prepared.designs[index], prepared.anchors[index], None), step)


def test_multipath_without_diversity_by_hand(plain):
    design = plain.designs[0]
    for step in (0, 3):
        flat, dispersive, _ = multipath_by_hand(design, step)
        found = outage(plain, 0, step)
        assert (found.flat, found.dispersive) == pytest.approx((flat, dispersive))
        assert found.multipath_worst_month == pytest.approx(flat + dispersive)
        year = 10.0 ** (-design.multipath.annual_reduction_db / 10.0)
        assert found.multipath == pytest.approx((flat + dispersive) * year)
        assert found.crossed == 0.0


def test_shallow_fades_of_the_year_follow_the_law_for_all_depths(plain):
    design = plain.designs[0]
    shallow = replace(
        design, levels=replace(design.levels, margin_db=np.full_like(design.levels.margin_db, 3.0))
    )
    found = fading_outage(HopThresholds(shallow, plain.anchors[0], None), 0)
    assert found.flat_year > found.flat * found.to_year * 1.02


def test_space_diversity_by_hand():
    prepared = ready(scheme="1+1 SD")
    design = prepared.designs[0]
    flat, dispersive, eta = multipath_by_hand(design, 2)
    percent, depth_db = 100.0 * design.multipath.occurrence, design.levels.margin_db[0, 2]
    exponent = 0.04 * 8.0**0.87 * 7.0**-0.12 * design.path.length_km**0.48 * percent**-1.04
    constant = 1.0 - math.exp(-exponent)
    improvement = constant * 10.0 ** (depth_db / 10.0)
    rest = constant * design.multipath.occurrence / eta  # 1 - k_ns^2
    r_w = 1.0 - 0.9746 * rest**2.170 if rest >= 0.74 else 1.0 - 0.6921 * rest**1.034
    lack = 1.0 - r_w
    if r_w <= 0.5:
        ks2 = 0.8238
    elif r_w <= 0.9628:
        ks2 = 1.0 - 0.195 * lack ** (0.109 - 0.13 * math.log10(lack))
    else:
        ks2 = 1.0 - 0.3957 * lack**0.5136
    pair = min(dispersive**2 / (eta * (1.0 - ks2)), dispersive)
    expected = ((flat / improvement) ** 0.75 + pair**0.75) ** (4.0 / 3.0)
    found = outage(prepared, 0, 2)
    assert found.multipath_worst_month == pytest.approx(expected, rel=1e-9)
    assert found.multipath == pytest.approx(expected * found.to_year, rel=1e-9)
    assert found.multipath_worst_month < 0.2 * (flat + dispersive)


@pytest.mark.parametrize("scheme", ["1+1 FD", "1+1 SD+FD"])
def test_frequency_diversity_uses_the_channel_step(scheme):
    prepared = ready(scheme=scheme)
    design = prepared.designs[0]
    # 80 df/(f^2 d), two channel widths apart.
    frequency = 80.0 * 0.056 / (7.0**2 * design.path.length_km)
    assert diversity.frequency_constant(
        design.channel_step_ghz, frequency_ghz=7.0, path_length_km=design.path.length_km
    ) == pytest.approx(frequency)
    found = outage(prepared, 0, 0)
    assert found.multipath_worst_month < 0.6 * (found.flat + found.dispersive)


def test_co_channel_carriers_add_interference():
    crossed, plain = outage(ready(scheme="2+0 XPIC"), 0, 4), outage(ready(scheme="2+0 DP"), 0, 4)
    assert plain.crossed == 0.0
    assert crossed.crossed > 0.0
    assert crossed.multipath_worst_month == pytest.approx(crossed.flat + crossed.dispersive + crossed.crossed)


def test_parts_by_hand(plain):
    at_base, away = part_unavailability(plain, 0), part_unavailability(plain, 1)
    # Dispatch 0.5 h, climb and swap 2 h; 300,000 h between failures; no travel at the base.
    kinds = plain.built.plant.kinds
    assert at_base["outdoor_radio"] == pytest.approx(2.5 / (kinds["outdoor_radio"].life.mean_h + 2.5))
    # 0.5 degrees of longitude at 45 degrees is 39.3 km, 1.3 times that by road at 40 km/h.
    restore_h = 2.5 + 39.31 * 1.3 / 40.0
    assert away["outdoor_radio"] == pytest.approx(
        restore_h / (kinds["outdoor_radio"].life.mean_h + restore_h), rel=1e-4
    )
    assert away["software"] == at_base["software"]


def test_the_nearest_crew_comes():
    two = ready(crews=(Crew(id="one", base="a"), Crew(id="two", base="b")))
    assert part_unavailability(two, 1)["mast"] == part_unavailability(two, 0)["mast"]


def test_equipment_of_plain_and_protected_hops_by_hand(plain):
    def chain(u, kinds):
        return 1.0 - math.prod(1.0 - u[kind] for kind in kinds)

    radio = ("outdoor_radio", "cable", "modem_card")
    one, other = part_unavailability(plain, 0), part_unavailability(plain, 1)
    up = (1.0 - chain(one, (*radio, "antenna"))) * (1.0 - chain(other, (*radio, "antenna")))
    assert hop_equipment_unavailability(plain, 0) == pytest.approx(1.0 - up, rel=1e-9)
    third = part_unavailability(plain, 2)
    up = 1.0
    for u in (one, third):
        up *= (1.0 - chain(u, ("antenna", "coupler"))) * (1.0 - chain(u, radio) ** 2)
    assert hop_equipment_unavailability(plain, 1) == pytest.approx(1.0 - up, rel=1e-6)


def test_common_parts_of_a_site_by_hand():
    sites = triangle().sites
    doubled = Site(**{**sites[0].model_dump(), "indoor_unit": "two"})
    prepared = ready(
        sites=(doubled, *sites[1:]),
        indoor_units=(IndoorUnit(id="two", controllers=2),),
        parts=(PartChange(kind="controller", mtbf_h=1000.0),),
    )
    u = part_unavailability(prepared, 0)
    rest = u["chassis"] + u["fan"] + u["power_distribution"] + u["mast"] + u["software"]
    dark = power_unavailability(prepared, 0)
    assert site_unavailability(prepared, 0, [0, 1]) == pytest.approx(u["controller"] ** 2 + rest + dark)
    away = part_unavailability(prepared, 1)
    assert site_unavailability(prepared, 1, [0, 2]) > away["controller"]


def test_the_network_says_how_soon_a_crew_is_called():
    slow = ready(repair=RepairRules(dispatch_h=10.0))
    kind = slow.built.plant.kinds["chassis"]
    travel_h = 0.0  # the crew's base is the site
    restore_h = 10.0 + travel_h + kind.mend.mean_h
    expected = restore_h / (kind.life.mean_h + restore_h)
    assert part_unavailability(slow, 0)["chassis"] == pytest.approx(expected)


def test_a_second_indoor_unit_by_hand():
    # Site a, two units: a-c (1+1) has a radio in each, a-b (1+0) stands in the first alone.
    sites = triangle().sites
    doubled = Site(**{**sites[0].model_dump(), "indoor_units": 2})
    prepared = ready(sites=(doubled, *sites[1:]), parts=(PartChange(kind="chassis", mtbf_h=1000.0),))
    u = part_unavailability(prepared, 0)
    unit = {kind: u[kind] for kind in ("controller", "chassis", "fan")}
    rest = u["power_distribution"] + u["mast"] + u["software"] + power_unavailability(prepared, 0)
    single = sum(unit.values())
    pairs = single**2  # any part of one unit with any of the other
    assert site_unavailability(prepared, 0, [0]) == pytest.approx(single + rest)
    assert site_unavailability(prepared, 0, [1]) == pytest.approx(pairs + rest)
    assert site_unavailability(prepared, 0, [0, 1]) == pytest.approx(single + rest)


def supply_of(**more):
    return ready(power=(Power(id="standard", **more),))


@pytest.mark.parametrize(("battery_h", "ln_sd"), [(4.0, 1.3), (0.5, 1.3), (8.0, 2.0), (0.0, 1.0)])
def test_power_against_a_numerical_integral(battery_h, ln_sd):
    prepared = supply_of(battery_h=battery_h, outage_ln_sd=ln_sd, mains_outages_per_year=3.0)
    law = lognorm(ln_sd, scale=35.0 / 60.0)

    def excess_h(age):
        """Mean time beyond a battery that falls to 80 % over its life."""
        return quad(law.sf, battery_h * (1.0 - 0.2 * age), np.inf, limit=200)[0]

    expected = 3.0 * quad(excess_h, 0.0, 1.0)[0] / 8766.0
    assert power_unavailability(prepared, 0) == pytest.approx(expected, rel=1e-3)


def test_power_of_fixed_outages_by_hand():
    prepared = supply_of(battery_h=1.0, outage_ln_sd=0.0, outage_median_min=180.0, mains_outages_per_year=2.0)
    # Three hours less a battery of on average 0.9 h, twice a year.
    assert power_unavailability(prepared, 0) == pytest.approx(2.0 * 2.1 / 8766.0, rel=1e-9)


def test_a_generator_helps_when_it_starts():
    without, failing = (
        supply_of(battery_h=0.5),
        supply_of(battery_h=0.5, generator=True, generator_start_failure=1.0),
    )
    assert power_unavailability(failing, 0) == pytest.approx(power_unavailability(without, 0))
    good = supply_of(battery_h=0.5, generator=True, generator_start_failure=0.02)
    law = lognorm(1.3, scale=35.0 / 60.0)
    # Once started it lasts for 48 h, then the battery's 0.45 h of middle age.
    beyond_h = 1.5 * 0.98 * quad(law.sf, 48.0 + 0.02 + 0.45, np.inf)[0]
    expected = 0.02 * power_unavailability(without, 0) + beyond_h / 8766.0
    assert power_unavailability(good, 0) == pytest.approx(expected, rel=0.01)


def test_the_stated_rate_is_the_mean_rate_whatever_the_storms():
    stormy = prepare(triangle(), ModelOptions(anchoring=False))
    calm = ready()
    assert stormy.built.plant.sites[0].power.mains_outages_per_year < 1.5
    assert calm.built.plant.sites[0].power.mains_outages_per_year == 1.5
    assert power_unavailability(stormy, 0) == power_unavailability(calm, 0)


def test_the_closed_form_is_the_fluid_queue_where_outages_are_rare():
    fed = supply(
        mains_outages_per_year=1.5, mains_outage=Law.exponential(5.0), battery_h=4.0, battery_end_share=1.0
    )
    exact = dark_share(8766.0 / 1.5, 5.0, battery_h=4.0, recharge_h=11.0)
    assert dark_h_per_year(fed) / 8766.0 == pytest.approx(exact, rel=0.01)


def test_a_solar_powered_site_counts_no_dark_time():
    sunny = supply_of(solar_harvest_h=(30.0,) * 12)
    assert power_unavailability(sunny, 0) == 0.0
    assert (predict_hops(sunny)["sites_min_per_year"] > 0.0).all()


def test_services_add_up_their_hops():
    network = triangle()
    chain = Service(id="far", site_a="c", site_b="b", committed_mbit_s=30.0, route=("a-c", "a-b"))
    prepared = ready(services=(*network.services, chain))
    hops = predict_hops(prepared).set_index(["hop", "states"])
    row = predict_services(prepared).set_index("service").loc["far"]
    assert row["hops"] == 2
    for column in ("rain_min_per_year", "multipath_min_per_year", "equipment_min_per_year"):
        assert row[column] == pytest.approx(hops.loc[("a-b", 4), column] + hops.loc[("a-c", 4), column])
    ending = ((0, [0, 1]), (1, [0]), (2, [1]))
    sites = sum(site_unavailability(prepared, *each) for each in ending) * MINUTES_PER_YEAR
    assert row["sites_min_per_year"] == pytest.approx(sites)
    parts = ("rain_min_per_year", "multipath_min_per_year", "equipment_min_per_year", "sites_min_per_year")
    assert row["total_min_per_year"] == pytest.approx(sum(row[part] for part in parts))


def test_the_lowest_modulation_that_carries_the_rate_counts():
    network = triangle()
    fast = Service(id="fast", site_a="a", site_b="c", committed_mbit_s=150.0, kind="circuit")
    faster = Service(id="faster", site_a="a", site_b="c", committed_mbit_s=1000.0, kind="circuit")
    prepared = ready(services=(fast, faster))
    hops = predict_hops(prepared).set_index(["hop", "states"])
    rows = predict_services(prepared).set_index("service")
    assert rows.loc["fast", "rain_min_per_year"] == hops.loc[("a-c", 256), "rain_min_per_year"]
    assert rows.loc["faster", "total_min_per_year"] == MINUTES_PER_YEAR
    assert network.services[0].id == "one"


def test_a_short_hop_has_no_multipath():
    sites = (
        Site(id="a", latitude_deg=45.0, longitude_deg=11.0),
        Site(id="b", latitude_deg=45.02, longitude_deg=11.0),
    )
    prepared = prepare(
        Network(sites=sites, hops=(hop("x", "a", "b", 38.0),), radios=(RADIO,), antennas=triangle().antennas),
        PLAIN,
    )
    table = predict_hops(prepared)
    assert (table["multipath_min_per_year"] == 0.0).all()
    assert (table["rain_min_per_year"] > 0.0).all()
    assert predict_services(prepared).empty
