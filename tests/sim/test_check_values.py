"""Every value in force: no field of the schema and no constant that decides a result is missing."""

import ast
import csv
import io
import re
from enum import Enum
from pathlib import Path

import numpy as np
import pytest
from network_text import small, write
from small_networks import triangle

import hopyears.models
import hopyears.sim
from hopyears.models.network.contract_entry import Contract
from hopyears.models.network.network import DemandProfile, Modulation, Network, PartChange, Power, Radio, Ring
from hopyears.models.network.network_references import KINDS
from hopyears.sim.commands import main
from hopyears.sim.commands.check_values import Value, every_value
from hopyears.sim.commands.fixed_values import FIXED
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.inputs.network_build import ENTRY_LISTS, SINGLE_ENTRIES
from hopyears.sim.inputs.network_file import file_schema, read_network
from hopyears.sim.wording.fields import unit_of

ROOT = Path(__file__).parents[2]
SEARCHED = (
    *("models/equipment", "models/judging", "models/radio"),
    *("sim/blocks", "sim/equipment", "sim/hops", "sim/multipath", "sim/services"),
)
_NAMES = """
SPEED_OF_LIGHT_M_S BOLTZMANN_J_K REFERENCE_TEMPERATURE_K EARTH_RADIUS_KM HOUR_S
ERRORED SEVERELY_ERRORED UNAVAILABLE _FAR NOBODY FORWARD BACKWARD BITS_PER_LEVEL CHANNELS_PER_WORD _EMPTY
FLAT_BIT DISPERSIVE_BIT FLAT FLAT_WORST_MONTH DISPERSIVE N_KINDS HOPS ROUTE ALONE JOBS UP DOWN MUTE N_OUT
N_ROWS N_RESULTS N_WORDS EMPTY _STRIDE _KEPT _LEAST_ROW _PART_PURPOSES _MOST_WINDOWS _TRIAL_SEED _TABLE_SIZE
_SWITCHING CONGESTION NOWHERE _NO_CHANGES NIGHT_MODEL_VERSION HOURS_PER_NIGHT
_NIGHTS_PER_YEAR _SAMPLE_YEARS _LEVELS _SHELLS
CHANGES_AT_ONCE ROW_CELLS PLANNED GOOD FAILED DEGRADED UNLIMITED_MBIT_S HOURS_PER_DAY
HOURS_PER_WEEK OVERHEAD_SHARE _OWN _OUTSIDE _OWN_STRUCK _OUTSIDE_STRUCK _SITE _TRANSMITTER _STUCK
_SITES_AT_ONCE N_NOTED ROW_CELLS_A_SERVICE MOST_STATES MOST_RESULTS MOST_NIGHTS
PART MENDING STRUCK POWER WORK GROUP SWITCH _AT_ONCE
"""
NO_RESULT = set(_NAMES.split())
"""Numbers that decide no result: of physics, codes and sizes; defaults that a field shows by name."""


def rows_of(network) -> list[Value]:
    return list(every_value(network, design_hops(network)))


def whole_network() -> Network:
    """One entry of every kind."""
    return triangle(
        power=(Power(id="hut", generator=True),),
        parts=(PartChange(kind="fan", swap_h=2.0),),
        contracts=(Contract(id="c", services=("one",), outages=1),),
        demand_profiles=(DemandProfile(id="day", working_day=(1.0,) * 24),),
        rings=(Ring(id="r", hops=("a-b", "a-c", "c-b")),),
    )


def test_every_field_of_the_schema_is_listed_for_every_entry():
    network = whole_network()
    fields: dict[str, set[str]] = {}
    for row in rows_of(network):
        fields.setdefault(row.entry.partition(' "')[0], set()).add(row.field)
    schema = file_schema()
    for key, rule in schema["properties"].items():
        reference = rule.get("$ref") or rule.get("items", {}).get("$ref")
        if reference is None or key in ("depots", "maintenance"):
            continue
        wanted = set(schema["$defs"][reference.rpartition("/")[2]]["properties"]) - {"modulations"}
        if key == "parts":
            wanted -= {"id"}
        assert wanted <= fields[KINDS.get(key, key)], key
    assert set(ENTRY_LISTS) | set(SINGLE_ENTRIES) | {"title"} <= set(schema["properties"])
    assert set(Modulation.model_fields) <= fields["radio"]


def test_depots_and_maintenance_of_a_file_are_listed(tmp_path):
    data = small() | {
        "depots": [{"id": "store", "base": "hill", "stock": {"cable": 2}}],
        "maintenance": [{"site": "mill", "every_days": 90.0}],
    }
    found = {(row.entry, row.field): row for row in rows_of(read_network(write(tmp_path, data)).network)}
    assert found['depot "store"', "stock"][2:5] == ("cable=2", "", "no")
    assert found['depot "store"', "lead_time_days"][2:5] == ("30", "days", "yes")
    assert found['maintenance "mill"', "duration_h"][2:5] == ("1", "h", "yes")


@pytest.mark.parametrize("model", [*ENTRY_LISTS.values(), *SINGLE_ENTRIES.values(), Modulation])
def test_every_field_says_what_it_means(model):
    assert [name for name, field in model.model_fields.items() if not field.description] == []


def test_what_is_in_force_without_being_written():
    found = {(row.entry, row.field): row for row in rows_of(whole_network())}
    assert found['crew "crew"', "speed_km_h"][2:5] == ("40", "km/h", "yes")
    assert found['power "standard"', "battery_end_share"].value == "0.8"
    assert found['power "hut"', "generator"].default == "no"
    assert found['part "fan"', "swap_h"][2:5] == ("2", "h", "no")
    assert found['part "mast"', "mtbf_h"][2:5] == ("5000000", "h", "yes")
    assert found["repair", "duration_ln_sd"].source == "common practice, no source"
    assert found["climate", "rain_rate_001_mm_h"].source == "ITU-R P.837-7"
    assert float(found["climate", "rain_rate_001_mm_h"].value) > 1.0
    hop = 'hop "a-b"'
    assert float(found[hop, "frequency_separation_mhz"].value) == 2 * float(
        found[hop, "channel_width_mhz"].value
    )
    assert found[hop, "path_length_km"].default == "derived"


def test_no_value_in_force_is_left_open():
    for row in rows_of(whole_network()):
        assert row.value not in ("", "None"), row
        assert row.meaning, row
        if row.default == "yes" and re.fullmatch(r"-?[\d.]+(e-?\d+)?", row.value) and float(row.value):
            assert row.source, row


@pytest.mark.parametrize(
    ("field", "unit"),
    [
        ("speed_km_h", "km/h"),
        ("battery_h", "h"),
        ("rain_rate_001_mm_h", "mm/h"),
        ("gain_dbi", "dBi"),
        ("kind", ""),
    ],
)
def test_units_stand_in_names(field, unit):
    assert unit_of(field) == unit


def numbers_of(tree: ast.Module, module: object) -> set[str]:
    """Names in capitals that a module gives a number, or numbers in tuples, arrays and tables."""
    names = set()
    for node in tree.body:
        targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
        for target in targets:
            for name in ast.walk(target) if target is not None else ():
                if isinstance(name, ast.Name) and re.fullmatch(r"_?[A-Z][A-Z0-9_]+", name.id):
                    names.add(name.id)
    return {name for name in names if holds_numbers(getattr(module, name))}


def holds_numbers(value: object) -> bool:
    if isinstance(value, dict):
        return any(map(holds_numbers, value.values()))
    if isinstance(value, tuple | list):
        return any(map(holds_numbers, value))
    return isinstance(value, int | float | np.ndarray | np.number) and not isinstance(value, bool | Enum)


def hidden(folder: str) -> set[str]:
    import importlib

    top, _, _ = folder.partition("/")
    base = Path({"models": hopyears.models, "sim": hopyears.sim}[top].__file__ or "").parent.parent
    found = set()
    for path in sorted((base / folder).glob("*.py")):
        name = f"{folder.replace('/', '.')}.{path.stem}"
        module = importlib.import_module(f"hopyears.{name}")
        known = {fixed.name for fixed in FIXED if fixed.module == name} | NO_RESULT
        found |= {f"{name}.{each}" for each in numbers_of(ast.parse(path.read_text()), module) - known}
    return found


@pytest.mark.parametrize("folder", SEARCHED)
def test_no_constant_is_hidden(folder):
    assert hidden(folder) == set()


def test_the_search_finds_a_hidden_constant():
    class Module:
        SECRET_H, NAMES, SHARE = 4.0, ("a",), {"x": 0.5}

    tree = ast.parse("SECRET_H = 4.0\nNAMES = ('a',)\nSHARE: Final = {'x': 0.5}\nquiet = 3\n")
    assert numbers_of(tree, Module) == {"SECRET_H", "SHARE"}


def test_the_file_holds_every_value(tmp_path, capsys):
    path, out = write(tmp_path, small()), tmp_path / "values.csv"
    assert main(["check", str(path), "--out", str(out)]) == 0
    with out.open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    network = read_network(path).network
    assert tuple(header) == Value._fields
    assert [tuple(row) for row in rows] == [tuple(row) for row in rows_of(network)]
    assert f"{len(rows)} values" in " ".join(capsys.readouterr().out.split())
    assert main(["check", str(path), "--out", str(tmp_path / "none" / "values.csv")]) == 2
    assert "file is not writable" in capsys.readouterr().err


def test_radios_without_a_hop_show_their_modulations():
    network = triangle()
    spare = Radio(id="spare")
    rows = rows_of(Network(**{**network.model_dump(), "radios": (*network.radios, spare)}))
    found = {row.field: row for row in rows if row.entry == 'radio "spare" modulation 16'}
    assert found["capacity_mbit_s"].value == "by the channel width"


def test_text_of_the_list_is_one_line_each():
    text = io.StringIO()
    csv.writer(text).writerows(rows_of(triangle()))
    assert all(line.count('"') % 2 == 0 for line in text.getvalue().splitlines())
