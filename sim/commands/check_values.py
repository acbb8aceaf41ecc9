"""Every value in force for a network, one row each: fields, stated or not, and what follows from them."""

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Literal, NamedTuple

import numpy as np

from hopyears.models.air import multipath
from hopyears.models.equipment.lifetimes import LawKind
from hopyears.models.equipment.part_kind import PartKind
from hopyears.models.network.entry import Entry
from hopyears.models.network.network import IndoorUnit, Network, PartChange, Power
from hopyears.models.network.network_references import ID_FIELDS, KINDS, named
from hopyears.sim.blocks.prepared import cycle_law, drift_law
from hopyears.sim.climate import land_shares
from hopyears.sim.commands.fixed_values import FIXED
from hopyears.sim.equipment.plant_builder import part_kinds
from hopyears.sim.equipment.upkeep_builder import crews_in_force
from hopyears.sim.hops.hop_design import HopDesign, network_centre_deg, network_climate
from hopyears.sim.hops.modulation_steps import steps_of
from hopyears.sim.inputs.input_errors import allowed_words, field_rule
from hopyears.sim.inputs.network_build import ENTRY_LISTS, SINGLE_ENTRIES
from hopyears.sim.services.service_demands import SWITCHING_S
from hopyears.sim.wording.fields import PRACTICE, source_of, unit_of


class Value(NamedTuple):
    """One value in force.

    ``default`` is "no" (stated in the file), "yes", "derived" (follows from fields and maps) or "fixed" (a
    constant of the model that no field changes).
    """

    entry: str
    field: str
    value: str
    unit: str
    default: Literal["no", "yes", "derived", "fixed"]
    allowed: str
    meaning: str
    source: str


def every_value(network: Network, designs: Sequence[HopDesign]) -> Iterator[Value]:
    """All values in force: first the entries in the order of the file, then what is derived, then constants.

    Parameters
    ----------
    network : Network
    designs : sequence of HopDesign
        Of its hops.
    """
    yield Value("network", "title", network.title, "", _stated(network, "title"), "", "of the file", "")
    by_rule = _by_rule(network, designs)
    for key in ENTRY_LISTS:
        for entry in _entries(network, key):
            name = named(KINDS[key], getattr(entry, ID_FIELDS.get(key, "id")))
            yield from _fields(entry, name, by_rule.get(name, {}))
    for key in SINGLE_ENTRIES:
        yield from _fields(getattr(network, key), key, by_rule.get(key, {}))
    yield from _modulations(network)
    yield from _part_kinds(network)
    yield from _derived(designs)
    for fixed in FIXED:
        name = f"{fixed.module}.{fixed.name}"
        yield Value(
            "constant", name, value_text(fixed.value), fixed.unit, "fixed", "", fixed.meaning, fixed.reason
        )


def _entries(network: Network, key: str) -> tuple[Entry, ...]:
    """Entries of a list with those that nobody wrote and that hold; kinds of part have their own rows."""
    if key == "parts":
        return ()
    if key == "crews":
        return crews_in_force(network)
    entries: tuple[Entry, ...] = getattr(network, key)
    model = {"power": Power, "indoor_units": IndoorUnit}.get(key)
    if model is not None and all(entry.id != "standard" for entry in getattr(network, key)):
        entries = (*entries, model(id="standard"))
    return entries


def _fields(entry: Entry, name: str, by_rule: dict[str, object]) -> Iterator[Value]:
    model = type(entry)
    for field, info in model.model_fields.items():
        if field == "modulations":
            continue
        label, value = info.alias or field, getattr(entry, field)
        meaning = info.description or ""
        if value is None or value == ():
            value = by_rule.get(field, rule_in_words(meaning))
        default = _stated(entry, field)
        source = source_of(field, value) if default == "yes" else ""
        allowed = allowed_words(field_rule(model, label))
        yield Value(name, label, value_text(value), unit_of(field), default, allowed, meaning, source)


def _stated(entry: Entry, field: str) -> Literal["no", "yes"]:
    return "no" if field in entry.model_fields_set else "yes"


def rule_in_words(meaning: str) -> str:
    """What stands for a value that is not given: the words after "default" in the field's meaning."""
    return meaning.partition("default ")[2] or "none"


def value_text(value: object) -> str:
    """A value as plain text: figures in full, lists joined by blanks."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, dict):
        return " ".join(f"{key}={_inner(item)}" for key, item in value.items()) or "none"
    if isinstance(value, np.ndarray | np.generic):
        return value_text(value.tolist())
    if isinstance(value, tuple | list):
        return " ".join(map(_inner, value)) or "none"
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return value_text(dataclasses.asdict(value))
    return str(value)


def _inner(value: object) -> str:
    text = value_text(value)
    return f"({text})" if " " in text else text


def _by_rule(network: Network, designs: Sequence[HopDesign]) -> dict[str, dict[str, object]]:
    """Figures of fields that are not given, where another field or a map gives them; by entry."""
    found: dict[str, dict[str, object]] = {}
    for design in designs:
        hop = design.hop
        found[named("hop", hop.id)] = {
            "antenna_b": hop.antenna,
            "antenna_height_a_m": network.site(hop.site_a).antenna_height_m,
            "antenna_height_b_m": network.site(hop.site_b).antenna_height_m,
            "frequency_separation_mhz": 1000.0 * design.channel_step_ghz,
            "duplex_spacing_mhz": 1000.0 * design.duplex_ghz,
            "reference_states": design.radio.modulations[0].states,
            "transmit_power_dbm": design.radio.transmit_power_dbm,
            "geoclimatic_factor": float(
                multipath.geoclimatic_factor_detailed(
                    design.climate.dn1_n_km, design.climate.terrain_roughness_m
                )
            ),
        }
    for service in network.services:
        found[named("service", service.id)] = {
            "peak_mbit_s": service.full_rate_mbit_s,
            "switching_time_s": SWITCHING_S.get(service.protection, "as the ring"),
        }
    climate = network_climate(network)
    latitude, longitude = network_centre_deg(network)
    drift = drift_law(network)(latitude, np.arange(12))
    about = np.array(
        [[max(latitude - 1.0, -90.0), longitude - 1.0, min(latitude + 1.0, 90.0), longitude + 1.0]]
    )
    cycle = cycle_law(network)(latitude, float(land_shares(about)[0]))
    found["climate"] = {
        "rain_rate_001_mm_h": climate.rain_rate_001_mm_h,
        "monthly_temperature_c": climate.temperature_c,
        "monthly_rainfall_mm": climate.rainfall_mm,
        "refractivity_gradient": climate.dn1_n_km,
        "terrain_roughness_m": climate.terrain_roughness_m,
        "rain_height_m": climate.rain_height_m,
        "multipath_edition": "ITU-R P.530-17",
        "year_to_year_ratio": climate.climatic_ratio,
        "storm_speed_km_h": tuple(drift[:, 0].tolist()),
        "storm_bearing_deg": tuple(drift[:, 1].tolist()),
        "shower_daily_amplitude": tuple(cycle[:, 0].round(3).tolist()),
        "shower_peak_hour": tuple(cycle[:, 1].round(1).tolist()),
    }
    return found


def _modulations(network: Network) -> Iterator[Value]:
    """Each modulation of a radio, on the channel of the first hop that uses it (else as stated)."""
    for radio in network.radios:
        hop = next((hop for hop in network.hops if hop.radio == radio.id), None)
        steps = None if hop is None else steps_of(hop, radio.model_copy(update={"adaptive": True}))
        for number, step in enumerate(radio.modulations):
            name = f"{named('radio', radio.id)} modulation {step.states}"
            inferred: dict[str, object] = {}
            if steps is not None:
                inferred = {
                    "required_snr_db": float(steps.required_snr_db[number]),
                    "threshold_dbm": float(steps.threshold_dbm[number]),
                    "capacity_mbit_s": float(steps.capacity_mbit_s[number]),
                    "signature_width_mhz": 1000.0 * float(steps.signature_width_ghz[number]),
                    "signature_depth_db": float(steps.signature_depth_db[number]),
                    "transmit_backoff_db": float(steps.backoff_db[number]),
                }
            yield from _fields(step, name, inferred)


def _part_kinds(network: Network) -> Iterator[Value]:
    """Every kind of part, changed or not."""
    changes = {change.kind: change for change in network.parts}
    for key, kind in part_kinds(network).items():
        name = named("part", key)
        yield from _fields(changes.get(key, PartChange(kind=key)), name, part_values(kind))
        for field, value, meaning in (
            ("mended", kind.repair.name.lower(), "indoors, outdoors (a climb) or from a distance"),
            ("spare", kind.spare or "none", "kind of spare that its swap takes from a depot"),
            ("outdoor", kind.outdoor, "lightning can damage it"),
        ):
            yield Value(name, field, value_text(value), "", "fixed", "", meaning, PRACTICE)


def part_values(kind: PartKind) -> dict[str, object]:
    """Values of a kind of part, by the fields that change them."""
    return {
        "mtbf_h": kind.life.mean_h,
        "swap_h": kind.mend.mean_h,
        "weibull_shape": kind.life.spread if kind.life.kind is LawKind.WEIBULL else 1.0,
        "latent_share": kind.latent_share,
        "affecting_share": kind.affecting_share,
        "infant_share": kind.infant_share,
        "infant_mean_h": kind.infant_mean_h,
    }


def _derived(designs: Sequence[HopDesign]) -> Iterator[Value]:
    """What geometry, maps and link budget make of each hop."""
    for design in designs:
        levels = design.levels
        rows: tuple[tuple[str, object, str, str], ...] = (
            ("path_length_km", design.path.length_km, "between the sites", "WGS 84"),
            ("rain_rate_001_mm_h", design.climate.rain_rate_001_mm_h, "at the middle", "ITU-R P.837-7"),
            ("rain_height_m", design.climate.rain_height_m, "mean of the year", "ITU-R P.839-4"),
            ("antenna_a_m", design.path.height_a_m, "above sea level", ""),
            ("antenna_b_m", design.path.height_b_m, "above sea level", ""),
            ("precipitation", design.rain.precipitation.kind, "what attenuates", "ITU-R P.530-18, 2.4.2"),
            (
                "occurrence",
                design.multipath.occurrence,
                "of multipath in the worst month",
                "ITU-R P.530-17, 2.3.1",
            ),
            ("received_level_dbm", levels.received_level_dbm[0], "in clear air, by modulation", ""),
            ("fixed_loss_db", levels.fixed_loss_db, "of ends and path, couplers apart", ""),
            ("power_reduction_db", levels.power_reduction_db, "by power control in clear air", ""),
            ("wet_loss_db", levels.wet_loss_db, "of both antennas in rain, at most", ""),
            ("margin_db", levels.margin_db[0], "in clear air against noise, by modulation", ""),
            ("capacity_mbit_s", design.clear_capacity_mbit_s, "of a direction in clear air", ""),
        )
        for field, value, meaning, source in rows:
            name = named("hop", design.hop.id)
            yield Value(name, field, value_text(value), unit_of(field), "derived", "", meaning, source)
