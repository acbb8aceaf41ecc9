"""From network file to plant: which parts stand where, who depends on them, who mends them."""

from collections import Counter

import pytest
from small_networks import hop, triangle

from hopyears.models.equipment.lifetimes import LawKind
from hopyears.models.equipment.part_kind import PART_KINDS, Place, kinds_at
from hopyears.models.equipment.plant import great_circle_km
from hopyears.models.equipment.power import Generator, fair_weather_rate
from hopyears.models.equipment.solar import Solar
from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import (
    Crew,
    Depot,
    IndoorUnit,
    Maintenance,
    Network,
    PartChange,
    Power,
    RepairRules,
    Service,
    Site,
    Switching,
)
from hopyears.sim.equipment.plant_builder import build_plant, part_kinds
from hopyears.sim.hops.hop_design import design_hops

COMMON_SITE_PARTS = tuple(kind.key for kind in kinds_at(Place.SITE))


def built(scheme="1+0", storm_share=0.0, **more):
    network = triangle(scheme, **more)
    return build_plant(network, design_hops(network), storm_share)


def names(found, indices):
    return [found.plant.parts[i].id for i in indices]


def test_every_part_once_and_at_its_site():
    found = built("1+1 HSB")
    ids = [part.id for part in found.plant.parts]
    assert len(ids) == len(set(ids))
    for part in found.plant.parts:
        site = found.plant.sites[part.site].id
        assert site in part.id.split("/")[:2]
    kinds = Counter(part.kind for part in found.plant.parts)
    # Two hops with a standby, one without: radios at both ends.
    assert kinds["outdoor_radio"] == kinds["cable"] == kinds["modem_card"] == 4 + 4 + 2
    assert all(kinds[kind] == 3 for kind in (*COMMON_SITE_PARTS, "controller", "chassis", "fan"))


def test_a_type_of_radio_and_a_site_have_failures_of_their_own():
    """Means by the statement of the fields: the type's own for its radios, divided by the site's factor."""
    network = triangle(parts=(PartChange(kind="outdoor_radio", mtbf_h=100e3, weibull_shape=2.0),))
    radios = (*network.radios, network.radios[0].model_copy(update={"id": "short-lived", "mtbf_h": 20e3}))
    hops = (network.hops[0].model_copy(update={"radio": "short-lived"}), *network.hops[1:])
    sites = (network.sites[0].model_copy(update={"failure_factor": 4.0}), *network.sites[1:])
    changed = network.model_copy(update={"radios": radios, "hops": hops, "sites": sites})
    plant = build_plant(Network(**dict(changed)), design_hops(Network(**dict(changed)))).plant
    kind, mean_h, spread = plant.lives
    for number, part in enumerate(plant.parts):
        expected_h = plant.kinds[part.kind].life.mean_h
        if part.kind == "outdoor_radio":
            expected_h = 20e3 if part.id.startswith("a-b/") else 100e3
            assert (kind[number], spread[number]) == (LawKind.WEIBULL, 2.0)
        site = plant.sites[part.site].id
        assert mean_h[number] == pytest.approx(expected_h / (4.0 if site == "a" else 1.0))


def test_own_parts_are_in_the_order_of_the_link_structure():
    network = triangle("1+1 SD")
    designs = design_hops(network)
    found = build_plant(network, designs)
    for design, dependence in zip(designs, found.hops, strict=True):
        assert names(found, dependence.own) == [part.id for part in design.structure.parts]


def test_outside_parts_of_both_ends_with_their_causes():
    found = built()
    dependence = found.hops[0]
    assert dependence.sites == (0, 1)
    by_name = dict(zip(names(found, [o.part for o in dependence.outside]), dependence.outside, strict=True))
    assert set(by_name) == {
        f"{site}/{part}"
        for site in ("a", "b")
        for part in ("unit-1/controller-1", "unit-1/chassis-1", "unit-1/fan-1", *COMMON_SITE_PARTS)
    }
    assert by_name["b/mast"].end == 1
    assert by_name["a/mast"].cause == Cause.MAST
    assert by_name["a/unit-1/fan-1"].cause == Cause.COMMON_UNIT
    assert by_name["a/software"].radios == (0,)


def test_a_second_controller_is_of_the_same_group():
    sites = triangle().sites
    doubled = Site(**{**sites[0].model_dump(), "indoor_unit": "two"})
    found = built(sites=(doubled, *sites[1:]), indoor_units=(IndoorUnit(id="two", controllers=2),))
    groups = Counter(part.group for part in found.hops[0].outside)
    assert groups["a/unit-1/controller"] == 2
    assert groups["b/unit-1/controller"] == 1


def test_a_pair_has_a_group_at_each_end():
    found = built("1+1 HSB", switching=Switching(changeover_s=0.25, failure_on_demand=0.03, reverts=True))
    first, second = (found.plant.groups[ends[0]] for ends in found.hops[0].groups)
    assert (first.id, second.id) == ("a-b/a/channel-1", "a-b/b/channel-1")
    assert (first.switch_time_s, first.switch_failure, first.revertive) == (0.25, 0.03, True)
    assert first.test.mean_h == 180.0 * 24.0
    # What only one radio needs is in its chain; coupler, antenna and common parts serve both.
    assert [names(found, chain) for chain in first.chains] == [
        [f"a-b/a/{kind}-{order}" for kind in ("radio", "cable", "modem")] for order in (1, 2)
    ]


def test_hops_without_a_standby_have_no_group():
    found = built("1+1 FD")
    assert found.hops[0].groups == ((-1, -1), (-1, -1))
    assert found.hops[1].groups != ((-1,), (-1,))


def test_a_chain_takes_in_the_indoor_unit_of_its_own():
    sites = triangle().sites
    two = Site(**{**sites[0].model_dump(), "indoor_units": 2})
    found = built("1+1 HSB", sites=(two, *sites[1:]))
    group = found.plant.groups[found.hops[0].groups[0][0]]
    chains = [set(names(found, chain)) for chain in group.chains]
    units = [{name for name in chain if "unit-" in name} for chain in chains]
    assert units[0] == {f"a/unit-1/{part}-1" for part in ("controller", "chassis", "fan")}
    assert units[1] == {f"a/unit-2/{part}-1" for part in ("controller", "chassis", "fan")}
    # At the other end one unit serves both radios, so it is in neither chain.
    other = found.plant.groups[found.hops[0].groups[1][0]]
    assert not any("unit-" in name for chain in other.chains for name in names(found, chain))


def test_changes_of_part_kinds():
    changes = (
        PartChange(kind="outdoor_radio", mtbf_h=123_000.0, swap_h=5.0, latent_share=0.5),
        PartChange(kind="modem_card", weibull_shape=2.0),
    )
    kinds = part_kinds(triangle(parts=changes))
    radio, modem = kinds["outdoor_radio"], kinds["modem_card"]
    assert (radio.life.mean_h, radio.mend.mean_h, radio.latent_share) == (123_000.0, 5.0, 0.5)
    assert radio.mend.spread == PART_KINDS["outdoor_radio"].mend.spread
    assert modem.life.kind is LawKind.WEIBULL
    assert (modem.life.mean_h, modem.life.spread) == (PART_KINDS["modem_card"].life.mean_h, 2.0)
    assert kinds["antenna"] == PART_KINDS["antenna"]


def test_power_of_sites():
    sites = triangle().sites
    hub = Site(**{**sites[1].model_dump(), "power": "hub"})
    found = built(
        sites=(sites[0], hub, sites[2]),
        power=(
            Power(id="hub", battery_h=8.0, outage_ln_sd=0.0, generator=True, generator_start_failure=0.1),
        ),
    )
    standard, other = (found.plant.sites[i].power for i in (0, 1))
    assert (standard.battery_h, standard.generator) == (4.0, None)
    # Median 35 min with a spread of 1.3 in the logarithm.
    assert standard.mains_outage.mean_h == pytest.approx(35.0 / 60.0 * 2.71828**0.845, rel=1e-3)
    assert other.mains_outage.kind is LawKind.FIXED
    assert (other.battery_h, other.generator.start_failure) == (8.0, 0.1)


def test_storms_take_from_the_calm_what_they_add():
    calm, stormy = (built(storm_share=share).plant.sites[0].power for share in (0.0, 0.1))
    assert calm.mains_outages_per_year == 1.5
    assert stormy.mains_outages_per_year == pytest.approx(1.5 / (0.9 + 6.0 * 0.1))
    assert stormy.mains_outages_per_year == fair_weather_rate(1.5, 6.0, 0.1)


def test_crews_depots_and_planned_work():
    found = built(
        crews=(
            Crew(id="west", base="a", teams=2, shift_start_h=8, shift_end_h=17, working_days_per_week=5),
            Crew(id="east", base="b", speed_km_h=60),
        ),
        depots=(Depot(id="store", base="c", stock={"outdoor_radio": 3}, lead_time_days=10.0),),
        maintenance=(
            Maintenance(site="b", every_days=36.525, duration_h=1.5, start_h=3.0),
            Maintenance(site="b", every_days=365.25),
        ),
    )
    west, east = found.plant.crews
    assert (west.number, west.shift.working_days) == (2, (True,) * 5 + (False,) * 2)
    assert west.shift.utc_offset_h == pytest.approx(11.0 / 15.0)
    assert (east.latitude_deg, east.longitude_deg, east.speed_km_h) == (45.0, 11.5, 60.0)
    (store,) = found.plant.depots
    assert (dict(store.stock), store.lead_time.mean_h) == ({"outdoor_radio": 3}, 240.0)
    often, yearly = found.plant.sites[1].planned
    assert (often.per_year, often.duration.mean_h, often.start_h) == (pytest.approx(10.0), 1.5, 3.0)
    assert yearly.per_year == pytest.approx(1.0)
    assert not found.plant.sites[0].planned


def test_who_is_on_call_and_how_standbys_are_tested():
    found = built(
        crews=(Crew(id="day", base="a", shift_end_h=17, on_call=False), Crew(id="all", base="b")),
        switching=Switching(standby_test_visit=True, standby_test_days=90.0, standby_test_h=2.0),
        maintenance=(Maintenance(site="b", every_days=30.0, visit=False, climbs=True),),
    )
    assert [base.shift.on_call for base in found.plant.crews] == [False, True]
    # a-c has standbys at both ends: there a crew tests by hand, and nothing is tested from a distance.
    assert {group.test for group in found.plant.groups} == {None}
    a, b, c = (site.planned for site in found.plant.sites)
    assert [(w.visit, w.climbs, w.tests, w.outage_share) for w in b] == [(False, True, False, 1.0)]
    for (window,) in (a, c):
        assert (window.tests, window.visit, window.outage_share) == (True, True, 0.0)
        assert window.per_year == pytest.approx(365.25 / 90.0)
        assert window.duration.mean_h == 2.0


def test_without_crews_one_team_stands_ready():
    (crew,) = built(crews=()).plant.crews
    assert (crew.latitude_deg, crew.longitude_deg, crew.number) == (45.0, 11.0, 1)


def test_line_cards_carry_the_services_that_need_them():
    network = triangle()
    many = tuple(Service(id=f"s{i}", site_a="a", site_b="b", committed_mbit_s=1.0) for i in range(6))
    circuits = Service(id="e1", site_a="a", site_b="c", committed_mbit_s=1.0, kind="circuit")
    unit = IndoorUnit(id="standard", own_line_ports={"packet": 4})
    found = built(services=(*many, circuits), indoor_units=(unit,))
    # Four packet ports are the unit's own; circuits always need a card.
    assert {service for service, _ in found.line_cards} == {"s4", "s5", "e1"}
    assert found.line_cards["s4", "a"] == found.line_cards["s5", "a"]
    assert found.plant.parts[found.line_cards["e1", "c"]].kind == "line_card"
    assert network.services[0].id == "one"


def test_part_names_stay_when_a_scheme_grows():
    before, after = ({part.id for part in built(scheme).plant.parts} for scheme in ("1+0", "1+1 HSB"))
    assert before <= after


def test_parallel_hops_are_held_apart():
    network = triangle()
    twin = hop("a-b-2", "a", "b", 8.0, antenna="large")
    found = built(hops=(*network.hops, twin))
    one, two = (set(found.hops[i].own) for i in (0, 3))
    assert not one & two
    shared = {part.part for part in found.hops[0].outside} & {part.part for part in found.hops[3].outside}
    assert "a/mast" in names(found, shared)


def test_the_spread_of_times_to_mend_is_the_network_s():
    fixed = built("1+1 HSB", repair=RepairRules(duration_ln_sd=0.0)).plant
    assert {kind.mend.kind for kind in fixed.kinds.values()} == {LawKind.FIXED}
    assert fixed.dispatch == fixed.groups[0].manual_switch.fixed(0.5)
    wide = built("1+1 HSB", repair=RepairRules(duration_ln_sd=0.9)).plant
    spreads = [kind.mend.spread for kind in wide.kinds.values()]
    assert {*spreads, wide.dispatch.spread, wide.groups[0].manual_switch.spread} == {0.9}


def test_switches_and_supplies_are_built_from_their_fields():
    found = built(
        "1+1 HSB",
        switching=Switching(manual_switch_h=4.0, reverts=True, wait_to_restore_s=60.0),
        power=(
            Power(
                id="standard",
                battery_life_years=3.0,
                battery_end_share=0.5,
                generator=True,
                generator_start_s=10.0,
                generator_fuel_h=6.0,
                solar_harvest_h=(9.0,) * 12,
                solar_ln_sd=0.3,
                solar_day_correlation=0.1,
                solar_reconnect_share=0.7,
            ),
        ),
        parts=(PartChange(kind="fan", affecting_share=0.9),),
    ).plant
    group, supply = found.groups[0], found.sites[0].power
    assert (group.manual_switch.mean_h, group.revertive, group.wait_to_restore_s) == (4.0, True, 60.0)
    assert (supply.battery_life_years, supply.battery_end_share) == (3.0, 0.5)
    assert supply.battery_at_age_h(0.5) == 3.0
    assert supply.generator == Generator(start_failure=0.02, start_s=10.0, fuel_h=6.0)
    assert supply.solar == Solar((9.0,) * 12, ln_sd=0.3, day_correlation=0.1, reconnect_share=0.7)
    assert found.kinds["fan"].affecting_share == 0.9


def test_access_to_a_site_is_added_to_each_journey():
    site = triangle().sites[0]
    sites = (site.model_copy(update={"access_h": 1.5}), *triangle().sites[1:])
    ((farther_h, _),) = built(sites=sites).plant.bases_near(0, None)
    assert farther_h == built().plant.bases_near(0, None)[0][0] + 1.5


def test_bases_come_by_their_travel_and_those_as_far_in_their_order():
    near, far = Crew(id="near", base="b"), Crew(id="far", base="c")
    bases = [built(crews=crews).plant.bases_near(1, None) for crews in ((far, near), (near, far, near))]
    assert [[base for _, base in each] for each in bases] == [[1, 0], [0, 2, 1]]
    assert all(travels == sorted(travels) and travels[0][0] == 0.0 for travels in bases)


def test_roads_are_longer_than_great_circles_by_the_road_factor():
    plant = built(
        crews=(Crew(id="crew", base="a", speed_km_h=40.0),), depots=(Depot(id="d", base="c"),)
    ).plant
    way_km = [great_circle_km(plant.crews[0], place) for place in (plant.sites[1], plant.depots[0])]
    assert plant.bases_near(1, None)[0][0] == pytest.approx(way_km[0] * plant.repair.road_factor / 40.0)
    assert plant.fetch_h(0, 0) == pytest.approx(way_km[1] * plant.repair.road_factor / 40.0)
    assert plant.repair.road_factor > 1.0


def test_a_network_without_crews_has_the_default_crew():
    (crew,) = built(crews=()).plant.crews
    (stated,) = built(crews=(Crew(id="crew", base="a"),)).plant.crews
    assert crew == stated
