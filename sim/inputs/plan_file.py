"""Reads plans: what changes, adds or removes entries of a network, alone or on top of another plan."""

import copy
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from hopyears.models.basics.faults import Fault
from hopyears.models.network.network_references import ID_FIELDS, KINDS
from hopyears.sim.inputs.input_errors import FaultList, InputError, shown
from hopyears.sim.inputs.input_text import read_toml
from hopyears.sim.inputs.network_build import (
    ENTRY_LISTS,
    SINGLE_ENTRIES,
    TABLE_KEYS,
    Origin,
    Origins,
    build_network,
    entry_label,
)
from hopyears.sim.inputs.network_file import NetworkSource, as_source

__all__ = ["read_plan"]

REMOVE, BUILDS_ON = "remove", "builds_on"
"""Keys that only a plan has."""

GROWING = {("prices", "once"), ("prices", "yearly"), ("depots", "stock")}
"""Tables within an entry that a plan changes key by key; others it replaces."""


def read_plan(plan: Path | str | Mapping[str, Any], base: NetworkSource) -> NetworkSource:
    """Lay a plan over a network: entries of the plan change or add the entries of the same id.

    A plan is a TOML file, given by its path, or the same as plain data. It has the same lists as a network
    file; an entry needs its id (a part its kind, a maintenance window its site) and only the fields that
    change. ``[switching]``, ``[climate]`` and the like change field by field; prices and the stock of a depot
    item by item. ``remove = ["hops/mill-ridge"]`` takes entries away before any are changed or added, and
    ``builds_on = "other.toml"``, beside the plan, is a plan that is laid over the network first.

    Raises
    ------
    InputError
        As ``read_network``; also if plans build on each other in a ring.
    """
    if isinstance(plan, Mapping):
        return _laid_over(copy.deepcopy(dict(plan)), "plan", Path(), base, ())
    return _read(Path(plan), base, ())


def _read(path: Path, base: NetworkSource, above: tuple[Path, ...]) -> NetworkSource:
    place = path.resolve()
    if place in above:
        ring = " builds on ".join(each.name for each in (*above[above.index(place) :], place))
        raise InputError.one(f"{above[-1].name}: {BUILDS_ON} is a ring ({ring}); must be plans without one")
    return _laid_over(read_toml(path), path.name, path.parent, base, (*above, place))


def _laid_over(
    changes: dict[str, Any], name: str, folder: Path, base: NetworkSource, above: tuple[Path, ...]
) -> NetworkSource:
    faults = FaultList()
    first = changes.pop(BUILDS_ON, None)
    if isinstance(first, str):
        base = _read(folder / first, base, above)
    elif first is not None:
        faults.add(name, Fault("", BUILDS_ON, shown(first), "the name of a plan beside this one"))
    merged = copy.deepcopy(base.raw)
    _remove(merged, changes.pop(REMOVE, []), name, faults)
    origins: Origins = {}
    for key, value in changes.items():
        if key in TABLE_KEYS:
            faults.add(name, Fault("", key, "given in a plan", "given in the network file"))
        elif key in ENTRY_LISTS and isinstance(value, list):
            _lay_over(merged.setdefault(key, []), value, key, name, origins, faults)
        elif key in SINGLE_ENTRIES and isinstance(value, dict):
            merged[key] = _changed(key, merged.get(key, {}), value)
        else:
            merged[key] = value
    known_ids = {
        key: [str(entry.get(ID_FIELDS.get(key, "id"))) for entry in base.raw.get(key, [])]
        for key in ENTRY_LISTS
    }
    return as_source(merged, name, build_network(merged, name, origins, faults, known_ids))


def _changed(key: str, entry: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """An entry with the fields that a plan changes."""
    laid = {**entry, **change}
    for field, value in change.items():
        if (key, field) in GROWING and isinstance(value, dict) and isinstance(entry.get(field), dict):
            laid[field] = {**entry[field], **value}
    return laid


def _remove(merged: dict[str, Any], removed: Any, file: str, faults: FaultList) -> None:
    """Take entries away; a site's windows of maintenance all at once."""
    allowed = 'a list of entries, each as "hops/mill-ridge"'
    if not isinstance(removed, list) or not all(isinstance(each, str) for each in removed):
        faults.add(file, Fault("", REMOVE, shown(removed), allowed))
        return
    for number, each in enumerate(removed, start=1):
        key, _, entry_id = each.partition("/")
        field, place = f"{REMOVE}[{number}]", ID_FIELDS.get(key, "id")
        if key not in ENTRY_LISTS or not entry_id:
            lists = f"LIST/ID with LIST one of {', '.join(ENTRY_LISTS)}"
            faults.add(file, Fault("", field, shown(each), lists, sought=key, known=ENTRY_LISTS))
            continue
        entries = merged.get(key, [])
        kept = [entry for entry in entries if entry.get(place) != entry_id]
        if len(kept) == len(entries):
            known = [str(entry.get(place)) for entry in entries]
            what = f"the {place} of a {KINDS[key]} of the network"
            faults.add(file, Fault("", field, shown(each), what, sought=entry_id, known=known))
        merged[key] = kept


def _lay_over(
    entries: list[Any], changes: list[Any], key: str, file: str, origins: Origins, faults: FaultList
) -> None:
    """Change or add entries of one list."""
    id_field = ID_FIELDS.get(key, "id")
    places = {entry[id_field]: i for i, entry in enumerate(entries)}
    seen: set[str] = set()
    for number, change in enumerate(changes, start=1):
        wanted = change.get(id_field) if isinstance(change, dict) else None
        wanted = wanted if isinstance(wanted, str) else None
        if wanted in seen:
            label = entry_label(key, wanted, "")
            faults.add(file, Fault(label, id_field, "used again", "given once in a plan"))
        if wanted is not None:
            seen.add(wanted)
        index = places.get(wanted, len(entries)) if wanted is not None else len(entries)
        if index == len(entries):
            entries.append(change)
        else:
            entries[index] = _changed(key, entries[index], change)
        origins[key, index] = Origin(file, f"{KINDS[key]} {number}")
