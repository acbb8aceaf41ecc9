"""Reads a network file (TOML, with CSV tables beside it).

Every fault of a file is gathered before anything stops, and each is one sentence:
``FILE: ENTRY: FIELD is FOUND; must be ALLOWED``.
"""

import copy
import hashlib
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from hopyears.models.basics.faults import Fault
from hopyears.models.network.network import Network
from hopyears.models.network.network_doubts import doubts_of
from hopyears.sim.inputs.input_errors import FaultList, json_schema, shown
from hopyears.sim.inputs.input_text import read_toml
from hopyears.sim.inputs.network_build import ENTRY_LISTS, TABLE_KEYS, Origin, Origins, build_network
from hopyears.sim.inputs.network_tables import read_table

__all__ = ["NetworkSource", "file_schema", "read_network", "with_network"]


ONLY_MONEY = ("weight", "penalties", "penalty_cap_per_year", "undelivered_value_per_gbit")
"""Fields of services that say what their outages are worth."""


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
        """Digest of all in the network file that decides what happens, whatever its layout or order of keys.

        Title, names and money decide nothing that happens: a run stays good when they change.
        """
        content = self.network.model_dump(mode="json", exclude={"title": True, "prices": True})
        for key in ("sites", "hops", "services"):
            for entry in content[key]:
                del entry["name"]
        for service in content["services"]:
            for name in ONLY_MONEY:
                del service[name]
        text = json.dumps(content, sort_keys=True)
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
    return as_source(raw, path.name, build_network(raw, path.name, origins, faults, known_ids={}))


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
    before = len(faults)
    for row in read_table(path.parent / name, ENTRY_LISTS[target], faults):
        if isinstance(entries, list):
            origins[target, len(entries)] = Origin(row.file, f"line {row.line}")
            entries.append(row.values)
    if len(faults) > before:
        faults.broken.add(target)


def as_source(raw: dict[str, Any], name: str, network: Network) -> NetworkSource:
    """A network with the plain data that it was built of, and its doubts."""
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
