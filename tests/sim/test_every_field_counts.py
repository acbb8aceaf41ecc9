"""Every field of every entry of a network file changes something: walked over the schema itself.

For each field two legal values must give different prepared networks, or different failures, or a refusal.
A new field is walked without being named here, unless it needs a value or company that nobody can guess.
"""

import copy
import dataclasses
import enum
import json
from collections.abc import Mapping
from functools import cache

import numpy as np
import pytest

from hopyears.models.network.entry import Entry
from hopyears.models.network.network import DemandProfile, Modulation, Prices, Ring
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import Known, ModelOptions, prepare
from hopyears.sim.inputs.input_errors import FaultList, InputError
from hopyears.sim.inputs.network_build import ENTRY_LISTS, SINGLE_ENTRIES, build_network
from hopyears.sim.inputs.network_file import ONLY_MONEY

BASE = {
    "title": "every field",
    "sites": [
        {"id": "a", "latitude_deg": 45.0, "longitude_deg": 11.0},
        {"id": "b", "latitude_deg": 45.0, "longitude_deg": 11.5, "ground_height_m": 30.0},
        {"id": "c", "latitude_deg": 45.06, "longitude_deg": 11.06},
        {"id": "d", "latitude_deg": 45.0, "longitude_deg": 11.1},
    ],
    "radios": [
        {"id": "r", "mounting": "waveguide", "modulations": [{"states": 4}, {"states": 64}]},
        {"id": "s", "transmit_power_dbm": 25.0},
    ],
    "antennas": [{"id": "dish", "diameter_m": 1.2}, {"id": "large", "gain_dbi": 42.0}],
    "hops": [
        {"id": "a-b", "from": "a", "to": "b", "frequency_ghz": 7.0, "scheme": "1+1 SD"},
        {"id": "b-c", "from": "b", "to": "c", "frequency_ghz": 7.4, "scheme": "3+1"},
        {"id": "a-c", "from": "a", "to": "c", "frequency_ghz": 18.0, "scheme": "2+0 XPIC"},
        {"id": "c-d", "from": "c", "to": "d", "frequency_ghz": 18.0, "scheme": "1+1 HSB"},
        {"id": "a-d", "from": "a", "to": "d", "frequency_ghz": 23.0, "scheme": "1+1 HSB unequal"},
        {"id": "twin", "from": "a", "to": "d", "frequency_ghz": 18.0},
    ],
    "services": [
        {"id": "one", "from": "a", "to": "c", "committed_mbit_s": 20.0, "protection": "protected"},
        {"id": "two", "from": "a", "to": "b", "committed_mbit_s": 20.0, "peak_mbit_s": 50.0},
    ],
    "parts": [{"kind": "outdoor_radio", "mtbf_h": 3_000.0, "infant_share": 0.1}],
    "power": [{"id": "standard", "rectifiers": 3, "generator": True}],
    "indoor_units": [{"id": "standard", "fans": 3}, {"id": "other", "fans": 2}],
    "crews": [{"id": "crew", "base": "a", "shift_start_h": 6.0, "shift_end_h": 20.0}],
    "depots": [{"id": "store", "base": "a", "stock": {"outdoor_radio": 1}}],
    "maintenance": [{"site": "b", "every_days": 90.0}],
    "rings": [{"id": "round", "hops": ["a-b", "b-c", "a-c"]}],
    "demand_profiles": [{"id": "day", "working_day": [0.3] * 8 + [1.0] * 16, "day_off": [0.2] * 24}],
    "contracts": [{"id": "gold", "services": ["one"], "outages": 9}],
}
for _hop in BASE["hops"]:
    _hop |= {"radio": "r", "antenna": "dish"}

OTHER = {
    "sites": {"name": "A", "power": "none such", "indoor_unit": "other", "indoor_units": 2},
    "hops": {
        "name": "A to B", "from": "d", "to": "d", "polarisation": "H", "radio": "s",
        "antenna": "large", "antenna_b": "large",
        "scheme": "1+1 HSB", "antenna_height_a_m": 50.0, "antenna_height_b_m": 50.0,
        "frequency_separation_mhz": 84.0, "duplex_spacing_mhz": 150.0, "reference_states": 64,
        "transmit_power_dbm": 15.0, "terrain": "hilly", "geoclimatic_factor": 1e-5, "bundle": "both",
        "rain_exceedance_db": {"0.01": 30.0, "0.1": 8.0},
        "sub_band": "low", "multipath_exceedance_db": {"0.01": 30.0, "0.1": 15.0},
        "refractivity_75": 6.0, "mean_terrain_m": 5.0,
    },
    "radios": {
        "mtbf_h": 2_000.0, "channel_width_mhz": 56.0, "mounting": "direct", "modulations": [{"states": 16}],
    },
    "modulations": {
        "states": 16, "required_snr_db": 15.0, "threshold_dbm": -80.0, "capacity_mbit_s": 33.0,
        "signature_width_mhz": 20.0, "signature_depth_db": 21.0, "transmit_backoff_db": 1.5,
    },
    "antennas": {"diameter_m": 1.8, "gain_dbi": 40.0},
    "services": {
        "name": "1", "from": "d", "to": "b", "peak_mbit_s": 60.0, "kind": "circuit", "required_share": 1.0,
        "protection": "rerouted", "route": ["a-d", "c-d"], "protecting_route": ["twin", "c-d"],
        "demand_profile": "day", "switching_time_s": 1.0,
        "sharing_weight": 3.0, "committed_backward_mbit_s": 5.0, "peak_backward_mbit_s": 80.0,
        "hold_off_s": 1.0, "grade": "access", "commanded_switching_time_s": 2.0,
        "switch_trigger": "signal degrade", "availability_objective": 0.9999,
        "severely_errored_ratio_objective": 1e-3, "outages_per_year_objective": 10.0,
        "penalties": [{"availability": 0.999, "amount": 5.0}], "penalty_cap_per_year": 9.0,
        "undelivered_value_per_gbit": 2.0,
    },
    "demand_profiles": {"working_day": [0.4] * 24, "day_off": [0.4] * 24},
    "rings": {"hops": ["a-b", "b-c", "c-d", "a-d"], "blocked": "a-b", "degraded_below_mbit_s": 9.0},
    "sharing": {"within_priority": "by committed rate", "routes": "by load"},
    "prices": {
        "currency": "shells", "life_years": 9.0, "discount_rate": 0.1, "once": {"cable": 2.0},
        "yearly": {"site": 3.0}, "visit": 4.0,
    },
    "contracts": {
        "services": ["two"], "period": "month", "availability": 0.999, "unavailable_min": 50.0, "outages": 5,
        "mean_throughput_mbit_s": 10.0, "together": "mean",
    },
    "depots": {"base": "b", "stock": {"cable": 1}, "express_days": 1.0, "shipping_h": 3.0},
    "parts": {
        "kind": "cable", "swap_h": 9.0, "weibull_shape": 2.0, "latent_share": 0.3, "infant_mean_h": 99.0,
        "affecting_share": 0.5,
    },
    "power": {"solar_harvest_h": [30.0] * 12},
    "indoor_units": {
        "own_line_ports": {"packet": 1}, "ports_per_line_card": {"circuit": 1}, "directions_at_most": 1,
    },
    "crews": {"base": "b"},
    "repair": {"error_share": 1.0},
    "maintenance": {"site": "c"},
    "climate": {
        "rain_rate_001_mm_h": 50.0, "monthly_temperature_c": [12.0] * 12, "monthly_rainfall_mm": [70.0] * 12,
        "refractivity_gradient": -300.0, "terrain_roughness_m": 30.0, "rain_height_m": 90.0,
        "year_to_year_ratio": 0.5, "storm_speed_km_h": 60.0, "storm_bearing_deg": 200.0,
        "shower_daily_amplitude": 0.9, "shower_peak_hour": 12.0,
    },
}  # fmt: skip
"""Other values where half as much again, one more or the opposite is none, or is not legal."""

EDITION_18 = {"climate.multipath_edition": 18}
for _number in range(len(BASE["hops"])):
    EDITION_18 |= {f"hops.{_number}.geoclimatic_factor": 1e-5, f"hops.{_number}.refractivity_75": 5.0}
"""What edition 18 of the multipath law asks for of every hop."""
SUN = {"power.0.rectifiers": 0, "power.0.solar_harvest_h": [30.0] * 12}
COMPANY = {
    ("hops", "refractivity_75"): EDITION_18,
    ("hops", "mean_terrain_m"): EDITION_18,
    ("radios", "power_control_margin_db"): {"radios.0.power_control_range_db": 20.0},
    ("hops", "frequency_separation_mhz"): {"hops.1.frequency_separation_mhz": 60.0},
    ("hops", "bundle"): {"hops.5.bundle": "both"},
    ("hops", "reference_states"): {"radios.0.adaptive": False},
    ("radios", "channel_width_mhz"): {
        "radios.0.modulations": [{"states": 4, "threshold_dbm": -85.0}, {"states": 64}]
    },
    ("antennas", "gain_dbi"): {"hops.0.antenna": "large"},
    ("indoor_units", "modem_card_slots"): {"indoor_units.0.modem_card_slots": 4},
    ("indoor_units", "own_modem_ports"): {"indoor_units.0.ports_per_modem_card": 2},
    ("indoor_units", "own_port_stops_unit"): {"indoor_units.0.own_modem_ports": 1},
    ("services", "kind"): {"indoor_units.0.ports_per_line_card": {"circuit": 4}},
    ("power", "solar_harvest_h"): {"power.0.rectifiers": 0},
    **{("power", f"solar_{field}"): SUN for field in ("ln_sd", "day_correlation", "reconnect_share")},
    ("indoor_units", "ports_per_line_card"): {"services.0.kind": "circuit", "services.1.kind": "circuit"},
    ("indoor_units", "line_card_slots"): {"services.0.kind": "circuit"},
    **{
        ("demand_profiles", name): {"services.0.demand_profile": "day"} for name in DemandProfile.model_fields
    },
    **{("rings", name): {"services.0.protection": "ring"} for name in Ring.model_fields},
    ("climate", "wet_snow"): {"climate.rain_height_m": 100.0},
    ("switching", "standby_test_h"): {"switching.standby_test_visit": True},
    ("switching", "standby_test_start_h"): {"switching.standby_test_visit": True},
    ("repair", "error_h"): {"repair.error_share": 1.0},
    ("repair", "least_daylight_h"): {"repair.daylight_climbs": True},
    ("lightning", "strikes_per_storm_h"): {"lightning.strikes_per_storm_h": 0.1},
    ("lightning", "damage_chance"): {"lightning.strikes_per_storm_h": 0.1},
    **{
        ("prices", field): {"prices.life_years": 8.0, "prices.discount_rate": 0.0}
        for field in ("once", "yearly", "visit")
    },
}
"""What a field needs beside it to have any effect, in both networks that are compared."""

PLACE = {("hops", "frequency_separation_mhz"): 1, ("hops", "bundle"): 4, ("antennas", "gain_dbi"): 1,
         ("services", "peak_mbit_s"): 1}  # fmt: skip
"""Which entry of a list is changed, where it is not the first."""

CONTRACT = (
    "id", "services", "period", "years", "availability", "unavailable_min", "outages",
    "mean_throughput_mbit_s", "planned_work_counts", "below_committed_counts", "together",
)  # fmt: skip
ONLY_SAID = {
    **{(name, "name"): "what readers see in place of the id" for name in ("sites", "hops", "services")},
    ("services", "grade"): "chooses the objective that the counted outage is held against",
    ("services", "availability_objective"): "an objective that the counted outage is held against",
    ("services", "severely_errored_ratio_objective"): "an objective, likewise",
    ("services", "outages_per_year_objective"): "an objective, likewise",
    **{("services", name): "says what outages are worth; moves none" for name in ONLY_MONEY},
    **{("prices", name): "money moves nothing that happens" for name in Prices.model_fields},
    **{("contracts", field): "a contract that the counted outage is held against" for field in CONTRACT},
    ("rings", "id"): "names the ring for readers; nothing else refers to it",
    ("indoor_units", "line_card_slots"): "warns of a site that needs more; all line cards are placed",
}
"""Fields that change what is said of a network and nothing that happens in it, each with the reason."""


def fields_of(name: str, model: type[Entry]):
    """(list or table, field by its name in a file) of every field of an entry."""
    return [(name, field.alias or key) for key, field in model.model_fields.items()]


FIELDS = [
    pair for name, model in {**ENTRY_LISTS, **SINGLE_ENTRIES}.items() for pair in fields_of(name, model)
] + fields_of("modulations", Modulation)


def entry_of(raw, name: str, number: int = 0):
    if name == "modulations":
        return raw["radios"][0]["modulations"][0]
    return raw.setdefault(name, {}) if name in SINGLE_ENTRIES else raw[name][number]


def pair_of_networks(name: str, field: str):
    """Two networks as plain data that differ in one field."""
    one = copy.deepcopy(BASE)
    for path, value in COMPANY.get((name, field), {}).items():
        *way, last = path.split(".")
        entry_of(one, way[0], int(way[1]) if len(way) > 1 else 0)[last] = value
    other = copy.deepcopy(one)
    number = PLACE.get((name, field), 0)
    entry_of(other, name, number)[field] = OTHER.get(name, {}).get(
        field, guessed(entry_of(one, name, number), name, field)
    )
    return one, other


def guessed(entry: Mapping[str, object], name: str, field: str):
    """Another value of the kind of the present one: opposite, one more, half as much again, another name."""
    model = {**ENTRY_LISTS, **SINGLE_ENTRIES, "modulations": Modulation}[name]
    found = [each for key, each in model.model_fields.items() if field in (key, each.alias)]
    value = entry.get(field, found[0].get_default(call_default_factory=True))
    match value:
        case bool():
            return not value
        case int():
            return value + 1
        case float():
            return 0.9 * value if value >= 20.0 else 1.5 * value or 1e-3
        case str() if field == "id":
            return f"{value}-2"
    return None


def print_of(thing):
    """Everything that a value holds, entries of the file and what is worked out left out, to be compared."""
    match thing:
        case Entry() | Known() | None:
            return None
        case enum.Enum():
            return thing.name
        case np.ndarray():
            return (thing.shape, thing.dtype.str, thing.tobytes())
        case Mapping():
            return tuple(sorted((repr(key), print_of(value)) for key, value in thing.items()))
        case set() | frozenset():
            return tuple(sorted(repr(item) for item in thing))
        case list() | tuple():
            return tuple(print_of(item) for item in thing)
        case _ if dataclasses.is_dataclass(thing):
            return tuple(print_of(getattr(thing, field.name)) for field in dataclasses.fields(thing))
        case str() | bool() | int() | float() | np.generic():
            return repr(thing)
    raise TypeError(type(thing))


QUICK, WHOLE, FAILURES = (
    ModelOptions(rain=False, anchoring=False),
    ModelOptions(),
    ModelOptions(multipath=False),
)
"""Most is told apart without rain, some with its anchors, and some only by what fails in two years."""


@cache
def looks(text: str, options: ModelOptions):
    """What a run of a network starts from, or what fails in it; None where it is refused."""
    try:
        prepared = prepare(build_network(json.loads(text), "network.toml", {}, FaultList(), {}), options)
    except InputError:
        return None
    simulator = BlockSimulator(prepared)
    if options is FAILURES:
        return print_of(simulator.draw(1, 0, 1).log)
    return print_of((prepared, [(each.rule, each.nominal) for each in simulator.thresholds]))


def differs(one, other) -> bool:
    """Whether two networks as plain data are prepared or fail differently, or the other is refused."""
    texts = json.dumps(one), json.dumps(other)
    return any(looks(texts[0], each) != looks(texts[1], each) for each in (QUICK, WHOLE, FAILURES))


def test_the_networks_to_start_from_are_legal():
    for name, field in [("sites", "id"), *COMPANY]:
        assert looks(json.dumps(pair_of_networks(name, field)[0]), QUICK) is not None


@pytest.mark.parametrize(("name", "field"), FIELDS, ids=[".".join(pair) for pair in FIELDS])
def test_two_values_of_a_field_are_two_networks(name: str, field: str):
    one, other = pair_of_networks(name, field)
    assert entry_of(other, name, PLACE.get((name, field), 0))[field] is not None, "give it a value in OTHER"
    assert differs(one, other) == ((name, field) not in ONLY_SAID)


def test_what_is_only_said_is_a_field():
    assert set(ONLY_SAID) <= set(FIELDS)
    assert {pair for name, values in OTHER.items() for pair in ((name, field) for field in values)} <= set(
        FIELDS
    )
    assert set(COMPANY) | set(PLACE) <= set(FIELDS)


def test_a_title_changes_nothing():
    """The walk can tell that a field does nothing: the title is one."""
    assert not differs(BASE, {**BASE, "title": "another"})
