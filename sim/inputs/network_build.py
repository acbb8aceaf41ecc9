"""Turns the plain data of a network file into a checked Network, noting every fault on the way."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from pydantic import ValidationError

from hopyears.models.basics.faults import Fault, one_of
from hopyears.models.network.entry import Entry
from hopyears.models.network.network import (
    Antenna,
    ClimateChange,
    Contract,
    Crew,
    DemandProfile,
    Depot,
    Hop,
    IndoorUnit,
    LightningRisk,
    Losses,
    Maintenance,
    Network,
    PartChange,
    Power,
    Prices,
    Radio,
    RepairRules,
    Ring,
    Service,
    Sharing,
    Site,
    Switching,
)
from hopyears.models.network.network_references import ID_FIELDS, KINDS, with_names
from hopyears.models.network.network_rules import NEEDS, RULES
from hopyears.sim.inputs.input_errors import (
    FaultList,
    InputError,
    allowed_words,
    faults_of,
    field_rule,
    printable,
    shown,
)

ENTRY_LISTS: dict[str, type[Entry]] = {
    "sites": Site,
    "hops": Hop,
    "radios": Radio,
    "antennas": Antenna,
    "services": Service,
    "rings": Ring,
    "demand_profiles": DemandProfile,
    "contracts": Contract,
    "parts": PartChange,
    "power": Power,
    "indoor_units": IndoorUnit,
    "crews": Crew,
    "depots": Depot,
    "maintenance": Maintenance,
}
SINGLE_ENTRIES: dict[str, type[Entry]] = {
    "climate": ClimateChange,
    "switching": Switching,
    "losses": Losses,
    "sharing": Sharing,
    "repair": RepairRules,
    "lightning": LightningRisk,
    "prices": Prices,
}
TABLE_KEYS = {"site_table": "sites", "hop_table": "hops", "service_table": "services"}
KNOWN_KEYS = ("title", *ENTRY_LISTS, *SINGLE_ENTRIES, *TABLE_KEYS)


class Origin(NamedTuple):
    """Where an entry was written: file, and how to name it there if it has no id."""

    file: str
    place: str


Origins = dict[tuple[str, int], Origin]


def build_network(
    raw: Mapping[str, Any],
    name: str,
    origins: Origins,
    faults: FaultList,
    known_ids: Mapping[str, Iterable[str]],
) -> Network:
    """Network of plain data.

    Parameters
    ----------
    raw : mapping
        Contents of a network file, tables joined in.
    name : str
        File that is named in the message of an entry without an origin of its own.
    origins : dict
        Where entries stand that were written elsewhere.
    faults : FaultList
        Faults found so far; gets those found here.
    known_ids : mapping
        By list, ids of the network that a plan changes: near to them, an unknown id may be a slip.

    Raises
    ------
    InputError
        If ``faults`` is not empty at the end.
    """
    for key in raw:
        if key not in KNOWN_KEYS:
            found = f'"{printable(key, 60)}"'
            faults.add(name, Fault("", "key", found, one_of(KNOWN_KEYS), sought=key, known=KNOWN_KEYS))
    values: dict[str, Any] = {"title": raw["title"]} if "title" in raw else {}
    for key, model in ENTRY_LISTS.items():
        before = len(faults)
        values[key] = _entries(raw, key, model, name, origins, faults, list(known_ids.get(key, ())))
        if len(faults) > before:
            faults.broken.add(key)
    for key, model in SINGLE_ENTRIES.items():
        values[key] = _single(raw, key, model, name, faults)
    network = _whole_network(values, name, faults)
    rules = [rule for rule in RULES if faults.broken.isdisjoint(NEEDS.get(rule, ()))]
    files = _files_of_entries(raw, origins)
    for fault in (fault for rule in rules for fault in rule(network)):
        (named,) = with_names([fault], network)
        faults.add(files.get(fault.entry, name), named)
    faults.stop_if_any()
    return network


def _entries(
    raw: Mapping[str, Any],
    key: str,
    model: type[Entry],
    file: str,
    origins: Origins,
    faults: FaultList,
    known_ids: list[str],
) -> tuple[Entry, ...]:
    """Those entries of a list that are in order; the faults of the others are noted."""
    entries = raw.get(key, [])
    if not isinstance(entries, list):
        faults.add(file, Fault("", key, shown(entries), f"a list of tables, [[{key}]]"))
        return ()
    count = None if key in faults.broken else _count_fault(key, entries, given=key in raw)
    if count is not None:
        faults.add(file, count)
    good = []
    for index, data in enumerate(entries):
        origin = origins.get((key, index), Origin(file, f"{KINDS[key]} {index + 1}"))
        if not isinstance(data, dict):
            faults.add(origin.file, Fault("", origin.place, shown(data), "a table"))
            continue
        entry_id = data.get(ID_FIELDS.get(key, "id"))
        label = entry_label(key, entry_id, origin.place)
        inner = [
            Fault(label, "field", f'"{name}"', f'"{alias}"') for name, alias in _inner_names(model, data)
        ]
        for fault in inner:
            faults.add(origin.file, fault)
        if inner:
            continue
        try:
            good.append(_validated(model, data))
        except ValidationError as error:
            for fault in faults_of(error, model, label):
                faults.add(origin.file, _with_id_hint(fault, entry_id, known_ids))
    return tuple(good)


def _inner_names(model: type[Entry], data: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Fields given by the name they have in Python, with the name they have in a file."""
    names = ((name, field.alias or name) for name, field in model.model_fields.items())
    return [(name, alias) for name, alias in names if alias != name and name in data]


def _count_fault(key: str, entries: list[Any], *, given: bool) -> Fault | None:
    limits = Network.model_fields[key].metadata  # the schema, which says it in words, takes a while to make
    lowest = max((getattr(limit, "min_length", 0) for limit in limits), default=0)
    highest = min((getattr(limit, "max_length", len(entries)) for limit in limits), default=len(entries))
    if lowest <= len(entries) <= highest:
        return None
    found = f"a list of {len(entries)}" if given else "missing"
    return Fault("", key, found, f"{allowed_words(field_rule(Network, key))} tables, [[{key}]]")


def _with_id_hint(fault: Fault, entry_id: object, known_ids: list[str]) -> Fault:
    """In a plan, a new entry that lacks fields may be a change with its id mistyped."""
    if fault.found == "missing" and isinstance(entry_id, str) and entry_id not in known_ids:
        return replace(fault, sought=entry_id, known=known_ids)
    return fault


def entry_label(key: str, entry_id: object, place: str) -> str:
    """How messages name an entry: by its id, else by its place in the file."""
    return f"{KINDS[key]} {shown(entry_id)}" if isinstance(entry_id, str) else place


def _single(raw: Mapping[str, Any], key: str, model: type[Entry], name: str, faults: FaultList) -> Entry:
    data = raw.get(key, {})
    if not isinstance(data, dict):
        faults.add(name, Fault("", key, shown(data), f"a table, [{key}]"))
        return model()
    try:
        return _validated(model, data)
    except ValidationError as error:
        for fault in faults_of(error, model, key):
            faults.add(name, fault)
        return model()


def _validated(model: type[Entry], data: dict[str, Any]) -> Entry:
    """Entry of plain data; strict: text is no number, a number no text, true is not 1."""
    return model.model_validate(_with_tuples(data), strict=True)


def _with_tuples(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _with_tuples(item) for key, item in value.items()}
    return tuple(map(_with_tuples, value)) if isinstance(value, list) else value


def _whole_network(values: dict[str, Any], name: str, faults: FaultList) -> Network:
    """The network, or where it has faults already, one of such entries as are in order."""
    if len(faults):
        return Network.model_construct(**{**values, "title": ""})
    try:
        return Network(**values)
    except ValidationError as error:
        raise InputError.of(
            [f"{name}: {fault.sentence()}" for fault in faults_of(error, Network, "")]
        ) from None


def _files_of_entries(raw: Mapping[str, Any], origins: Origins) -> dict[str, str]:
    files = {}
    for (key, index), origin in origins.items():
        entry = raw[key][index]
        if isinstance(entry, dict):
            files[entry_label(key, entry.get(ID_FIELDS.get(key, "id")), origin.place)] = origin.file
    return files
