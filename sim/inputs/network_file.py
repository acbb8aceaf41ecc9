"""Reads a network file (TOML, with CSV tables beside it) and plans laid over it.

Every fault of a file is gathered before anything stops, and each is one sentence:
``FILE: ENTRY: FIELD is FOUND; must be ALLOWED``.
"""

import copy
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from hopyears.models.basics.faults import Fault
from hopyears.models.network.network import Network
from hopyears.models.network.network_doubts import doubts_of
from hopyears.models.network.network_references import ID_FIELDS, KINDS
from hopyears.sim.inputs.input_errors import FaultList, InputError, json_schema, shown
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
from hopyears.sim.inputs.network_tables import read_table

__all__ = ["InputError", "NetworkSource", "file_schema", "read_network", "read_plan", "with_network"]


@dataclass(frozen=True)
class NetworkSource:
    """A network with where it came from.

    Attributes
    ----------
    network : Network
    name : str
        File name of the TOML file, for messages and manifests.
    warnings : tuple of str
        One sentence for each legal but doubtful input.
    raw : dict
        The file as plain data (tables joined in), over which plans are laid.
    """

    network: Network
    name: str
    warnings: tuple[str, ...]
    raw: dict[str, Any]

    def digest(self) -> str:
        """Digest of all that the network file decides, whatever its layout, order of keys or title."""
        text = json.dumps(self.network.model_dump(mode="json", exclude={"title"}), sort_keys=True)
        return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


def read_network(path: Path | str) -> NetworkSource:
    """Read and check a network file.

    Raises
    ------
    InputError
        With every fault found: unreadable, too large, not TOML, wrong types or ranges, unknown
        references, impossible hops, services without a route.
    """
    path = Path(path)
    raw = read_toml(path)
    origins: Origins = {}
    faults = FaultList()
    for key, target in TABLE_KEYS.items():
        if key in raw:
            _join_table(path, raw, key, target, origins, faults)
    return _source(raw, path.name, build_network(raw, path.name, origins, faults, known_ids={}))


def read_plan(plan: Path | str | Mapping[str, Any], base: NetworkSource) -> NetworkSource:
    """Lay a plan over a network: entries of the plan change or add the entries of the same id.

    A plan is a TOML file, given by its path, or the same as plain data. It has the same lists as a network
    file; an entry needs its id (a part its kind, a maintenance window its site) and only the fields that
    change. ``[switching]``, ``[losses]`` and ``[climate]`` change field by field.

    Raises
    ------
    InputError
        As ``read_network``.
    """
    if isinstance(plan, Mapping):
        name, changes = "plan", copy.deepcopy(dict(plan))
    else:
        name, changes = Path(plan).name, read_toml(Path(plan))
    faults = FaultList()
    merged = copy.deepcopy(base.raw)
    origins: Origins = {}
    for key, value in changes.items():
        if key in TABLE_KEYS:
            faults.add(name, Fault("", key, "given in a plan", "given in the network file"))
        elif key in ENTRY_LISTS and isinstance(value, list):
            _lay_over(merged.setdefault(key, []), value, key, name, origins, faults)
        elif key in SINGLE_ENTRIES and isinstance(value, dict):
            merged[key] = {**merged.get(key, {}), **value}
        else:
            merged[key] = value
    known_ids = {
        key: [str(entry.get(ID_FIELDS.get(key, "id"))) for entry in base.raw.get(key, [])]
        for key in ENTRY_LISTS
    }
    return _source(merged, name, build_network(merged, name, origins, faults, known_ids))


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
            entries[index] = {**entries[index], **change}
        origins[key, index] = Origin(file, f"{KINDS[key]} {number}")


def _join_table(
    path: Path, raw: dict[str, Any], key: str, target: str, origins: Origins, faults: FaultList
) -> None:
    """Add the rows of a CSV table to the entries of the file, and forget the table's name."""
    name = raw.pop(key)
    if not isinstance(name, str):
        faults.add(path.name, Fault("", key, shown(name), "the name of a CSV file beside it"))
        faults.broken.add(target)
        return
    entries = raw.setdefault(target, [])
    before = len(faults.sentences)
    for row in read_table(path.parent / name, ENTRY_LISTS[target], faults):
        if isinstance(entries, list):
            origins[target, len(entries)] = Origin(row.file, f"line {row.line}")
            entries.append(row.values)
    if len(faults.sentences) > before:
        faults.broken.add(target)


def _source(raw: dict[str, Any], name: str, network: Network) -> NetworkSource:
    doubts = (f"{name}: {doubt.sentence()}" for doubt in doubts_of(network))
    return NetworkSource(network, name, tuple(doubts), raw)


def with_network(source: NetworkSource, network: Network) -> NetworkSource:
    """The same source holding another network (for studies that change it in Python)."""
    return replace(
        source, network=network, raw=network.model_dump(mode="json", by_alias=True, exclude_none=True)
    )


def file_schema() -> dict[str, Any]:
    """JSON Schema of the network file: the Network entries, and the names of CSV tables beside it."""
    schema = copy.deepcopy(json_schema(Network))
    for key, target in TABLE_KEYS.items():
        schema["properties"][key] = {
            "type": "string",
            "description": f"name of a CSV file beside this one with more {target}, one a row",
        }
        # Entries may all stand in the table.
        schema["properties"][target].pop("minItems", None)
    in_tables = set(TABLE_KEYS.values())
    schema["required"] = [key for key in schema["required"] if key not in in_tables]
    return schema
