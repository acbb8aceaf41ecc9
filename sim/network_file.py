"""Reads a network file (TOML, with CSV tables beside it) and plans laid over it.

Every fault of a file is gathered before anything stops, and each is one sentence:
``FILE: ENTRY: FIELD is FOUND; must be ALLOWED``.
"""

import csv
import hashlib
import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from models.faults import Fault, suggestion
from models.network import (
    Antenna,
    ClimateChange,
    Crew,
    Depot,
    Entry,
    Hop,
    Losses,
    Maintenance,
    Network,
    PartChange,
    Power,
    Radio,
    Service,
    Site,
    Switching,
)
from models.network_rules import DOUBTS, RULES

LARGEST_FILE_BYTES = 64 * 1024 * 1024
FAULTS_SHOWN = 20

_ENTRY_LISTS: dict[str, tuple[str, type[Entry]]] = {
    "sites": ("site", Site),
    "hops": ("hop", Hop),
    "radios": ("radio", Radio),
    "antennas": ("antenna", Antenna),
    "services": ("service", Service),
    "parts": ("part", PartChange),
    "power": ("power", Power),
    "crews": ("crew", Crew),
    "depots": ("depot", Depot),
    "maintenance": ("maintenance", Maintenance),
}
_SINGLE: dict[str, type[Entry]] = {"climate": ClimateChange, "switching": Switching, "losses": Losses}
_TABLES = {"site_table": "sites", "hop_table": "hops", "service_table": "services"}
_KNOWN_KEYS = ("title", *_ENTRY_LISTS, *_SINGLE, *_TABLES)


class InputError(Exception):
    """The input cannot be used. Its text is the message for the user, one fault a line."""

    @classmethod
    def of(cls, sentences: list[str]) -> "InputError":
        """Join sentences, the first 20 and then a count."""
        lines = sentences[:FAULTS_SHOWN]
        if len(sentences) > FAULTS_SHOWN:
            lines.append(f"... and {len(sentences) - FAULTS_SHOWN} more")
        return cls("\n".join(lines))


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
        The file as plain data (tables joined in), from which plans are laid over and digests taken.
    origins : dict
        (list name, index) to the name of the file that holds the entry.
    """

    network: Network
    name: str
    warnings: tuple[str, ...]
    raw: dict[str, Any]
    origins: Mapping[tuple[str, int], str]

    def digest(self) -> str:
        """Digest of all that the network file decides, whatever its layout or order of keys."""
        text = json.dumps(self.network.model_dump(mode="json"), sort_keys=True)
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
    raw = _read_toml(path)
    origins: dict[tuple[str, int], str] = {}
    faults: list[str] = []
    for key, target in _TABLES.items():
        if key in raw:
            faults += _join_table(path, raw, key, target, origins)
    if faults:
        raise InputError.of(faults)
    return _build(raw, path.name, origins)


def read_plan(path: Path | str, base: NetworkSource) -> NetworkSource:
    """Lay a plan over a network: entries of the plan change or add the entries of the same id.

    A plan is a TOML file with the same lists as a network file; an entry needs its id and only the
    fields that change. ``[switching]``, ``[losses]`` and ``[climate]`` change field by field.

    Raises
    ------
    InputError
        As ``read_network``.
    """
    path = Path(path)
    plan = _read_toml(path)
    faults = [
        f"{path.name}: {key} is in a plan; must stand in the network file" for key in _TABLES if key in plan
    ]
    if faults:
        raise InputError.of(faults)
    merged = json.loads(json.dumps(base.raw))
    origins = dict(base.origins)
    for key, value in plan.items():
        if key in _ENTRY_LISTS and isinstance(value, list):
            _merge_entries(merged.setdefault(key, []), value, key, path.name, origins)
        elif key in _SINGLE and isinstance(value, dict):
            merged[key] = {**merged.get(key, {}), **value}
        else:
            merged[key] = value
    return _build(merged, path.name, origins)


def _merge_entries(
    entries: list[Any], changes: list[Any], key: str, name: str, origins: dict[tuple[str, int], str]
) -> None:
    id_field = {"parts": "kind", "maintenance": "site"}.get(key, "id")
    places = {entry.get(id_field): i for i, entry in enumerate(entries) if isinstance(entry, dict)}
    for change in changes:
        wanted = change.get(id_field) if isinstance(change, dict) else None
        if wanted in places:
            index = places[wanted]
            entries[index] = {**entries[index], **change}
        else:
            index = len(entries)
            entries.append(change)
            places[wanted] = index
        origins[(key, index)] = name


def _read_bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise InputError(f"{path.name}: file is a folder; must be a file")
        if size > LARGEST_FILE_BYTES:
            found, allowed = size / 2**20, LARGEST_FILE_BYTES // 2**20
            raise InputError(f"{path.name}: size is {found:.0f} MiB; must be at most {allowed} MiB")
        return path.read_bytes()
    except OSError as error:
        raise InputError(
            f"{path}: file is not readable ({error.strerror}); must be a readable file"
        ) from None


def _read_text(path: Path) -> str:
    try:
        return _read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"{path.name}: byte {error.start} is not UTF-8; must be UTF-8 text") from None


def _read_toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(_read_text(path))
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path.name}: text is not TOML ({error}); must be a TOML file") from None
    except RecursionError:
        raise InputError(
            f"{path.name}: text is nested too deeply; must be a TOML file of plain tables"
        ) from None


def _join_table(
    path: Path, raw: dict[str, Any], key: str, target: str, origins: dict[tuple[str, int], str]
) -> list[str]:
    name = raw[key]
    if not isinstance(name, str):
        return [f"{path.name}: {key} is {name!r}; must be the name of a CSV file beside {path.name}"]
    entries = raw.setdefault(target, [])
    if not isinstance(entries, list):
        return []
    table = path.parent / name
    known = {field.alias or field_name for field_name, field in _ENTRY_LISTS[target][1].model_fields.items()}
    reader = csv.DictReader(_read_text(table).splitlines(), strict=True)
    try:
        unknown = [column for column in reader.fieldnames or [] if column not in known]
        if unknown:
            return [
                f'{name}: column is "{column}"; must be one of {", ".join(sorted(known))}'
                + (f". {hint}" if (hint := suggestion(column, known)) else "")
                for column in unknown
            ]
        for number, row in enumerate(reader, start=2):
            if None in row or None in row.values():
                return [
                    f"{name}: row {number} has another number of cells; must have as many as the first row"
                ]
            origins[(target, len(entries))] = name
            entries.append({column: cell.strip() for column, cell in row.items() if cell.strip()})
    except csv.Error as error:
        return [f"{name}: text is not CSV ({error}); must be comma-separated cells with a first row of names"]
    return []


def _build(raw: dict[str, Any], name: str, origins: Mapping[tuple[str, int], str]) -> NetworkSource:
    sentences = [
        f'{name}: "{key}" is not known; must be one of {", ".join(_KNOWN_KEYS)}'
        + (f". {hint}" if (hint := suggestion(key, _KNOWN_KEYS)) else "")
        for key in raw
        if key not in _KNOWN_KEYS
    ]
    values: dict[str, Any] = {}
    for key, (kind, model) in _ENTRY_LISTS.items():
        values[key] = tuple(_entries(raw, key, kind, model, name, origins, sentences))
    for key, model in _SINGLE.items():
        values[key] = _single(raw, key, model, name, sentences)
    if "title" in raw:
        values["title"] = raw["title"]
    if sentences:
        raise InputError.of(sentences)
    try:
        network = Network(**values)
    except ValidationError as error:
        raise InputError.of(
            [f"{name}: {fault.sentence()}" for fault in _faults(error, Network, "")]
        ) from None
    faults = [fault for rule in RULES for fault in rule(network)]
    if faults:
        files = _files_of_entries(network, name, origins)
        raise InputError.of([f"{files.get(fault.entry, name)}: {fault.sentence()}" for fault in faults])
    doubts = [f"{name}: {fault.sentence()}" for rule in DOUBTS for fault in rule(network)]
    return NetworkSource(network, name, tuple(doubts), raw, origins)


def _files_of_entries(network: Network, name: str, origins: Mapping[tuple[str, int], str]) -> dict[str, str]:
    files = {}
    for (key, index), origin in origins.items():
        kind = _ENTRY_LISTS[key][0]
        entry = getattr(network, key)[index]
        files[f'{kind} "{getattr(entry, "id", "")}"'] = origin
    return files


def _entries(
    raw: dict[str, Any],
    key: str,
    kind: str,
    model: type[Entry],
    name: str,
    origins: Mapping[tuple[str, int], str],
    sentences: list[str],
) -> Iterator[Entry]:
    entries = raw.get(key, [])
    if not isinstance(entries, list):
        sentences.append(f"{name}: {key} is {_shown(entries)}; must be a list of tables, [[{key}]]")
        return
    for index, data in enumerate(entries):
        origin = origins.get((key, index), name)
        from_csv = origin.endswith(".csv")
        if not isinstance(data, dict):
            sentences.append(f"{origin}: {kind} {index + 1} is {_shown(data)}; must be a table")
            continue
        label = data.get("id", data.get("kind"))
        entry = f'{kind} "{label}"' if isinstance(label, str) else f"{kind} {index + 1}"
        try:
            yield _validated(model, data, strict=not from_csv)
        except ValidationError as error:
            sentences += [f"{origin}: {fault.sentence()}" for fault in _faults(error, model, entry)]


def _validated(model: type[Entry], data: dict[str, Any], *, strict: bool) -> Entry:
    """CSV cells are text and convert; TOML values must have their own type already."""
    if strict:
        return model.model_validate_json(json.dumps(data, default=str), strict=True)
    return model.model_validate(data)


def _single(
    raw: dict[str, Any], key: str, model: type[Entry], name: str, sentences: list[str]
) -> Entry | None:
    data = raw.get(key, {})
    if not isinstance(data, dict):
        sentences.append(f"{name}: {key} is {_shown(data)}; must be a table, [{key}]")
        return None
    try:
        return _validated(model, data, strict=True)
    except ValidationError as error:
        sentences += [f"{name}: {fault.sentence()}" for fault in _faults(error, model, key)]
        return None


def _faults(error: ValidationError, model: type[Entry], entry: str) -> Iterator[Fault]:
    """Pydantic's errors in our one wording."""
    schema = model.model_json_schema()
    for item in error.errors(include_url=False):
        location = [str(part) if isinstance(part, str) else f"[{part + 1}]" for part in item["loc"]]
        field = "".join(part if part.startswith("[") else f".{part}" for part in location).lstrip(".")
        prop = _property(schema, item["loc"])
        match item["type"]:
            case "missing":
                yield Fault(entry, field, "missing", _allowed(prop))
            case "extra_forbidden":
                known = list(_owner(schema, item["loc"]).get("properties", {}))
                hint = suggestion(str(item["loc"][-1]), known)
                yield Fault(entry, field, "not a field here", f"one of {', '.join(known)}", hint)
            case "value_error":
                text = str(item["ctx"]["error"])
                found, _, allowed = text.partition("; must be ")
                subject, _, value = found.partition(" is ")
                yield Fault(entry, subject if value else field, value or found, allowed or "valid")
            case _:
                yield Fault(entry, field, _shown(item["input"]), _allowed(prop) or item["msg"])


def _shown(value: object) -> str:
    text = json.dumps(value, default=str)
    return text if len(text) <= 60 else text[:57] + "..."


def _owner(schema: dict[str, Any], location: tuple[int | str, ...]) -> dict[str, Any]:
    """The object schema that holds the last field of a location."""
    here = schema
    for part in location[:-1]:
        here = _resolved(schema, here)
        here = here.get("items", {}) if isinstance(part, int) else here.get("properties", {}).get(part, {})
    return _resolved(schema, here)


def _property(schema: dict[str, Any], location: tuple[int | str, ...]) -> dict[str, Any]:
    if not location:
        return {}
    owner = _owner(schema, location)
    last = location[-1]
    found = owner.get("items", {}) if isinstance(last, int) else owner.get("properties", {}).get(last, {})
    return _resolved(schema, found)


def _resolved(schema: dict[str, Any], node: dict[str, Any]) -> dict[str, Any]:
    if "$ref" in node:
        resolved: dict[str, Any] = schema.get("$defs", {}).get(node["$ref"].rsplit("/", 1)[-1], {})
        return resolved
    for choice in node.get("anyOf", []):
        if choice.get("type") != "null":
            return _resolved(schema, choice)
    return node


_TYPE_WORDS = {
    "string": "text",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "array": "a list",
    "object": "a table",
}


def _allowed(prop: dict[str, Any]) -> str:
    """What a field takes, in words, from its schema."""
    if "enum" in prop:
        return "one of " + ", ".join(f'"{choice}"' for choice in prop["enum"])
    words = _TYPE_WORDS.get(prop.get("type", ""), "")
    lowest = prop.get("minimum", prop.get("exclusiveMinimum", prop.get("minItems")))
    highest = prop.get("maximum", prop.get("exclusiveMaximum", prop.get("maxItems")))
    above = "above " if "exclusiveMinimum" in prop else ""
    below = "below " if "exclusiveMaximum" in prop else ""
    if lowest is not None and highest is not None:
        words += f", {above}{lowest:g} to {below}{highest:g}"
    elif lowest is not None:
        words += f", {above or 'at least '}{lowest:g}"
    elif highest is not None:
        words += f", {below or 'at most '}{highest:g}"
    if "pattern" in prop:
        words += " of letters, digits, dot, dash, underscore, at most 40"
    elif "maxLength" in prop:
        words += f" of at most {prop['maxLength']} characters"
    return words


def with_network(source: NetworkSource, network: Network) -> NetworkSource:
    """The same source holding another network (for studies that change it in Python)."""
    return replace(
        source, network=network, raw=network.model_dump(mode="json", by_alias=True, exclude_none=True)
    )


def file_schema() -> dict[str, Any]:
    """JSON Schema of the network file: the Network entries, and the names of CSV tables beside it."""
    schema = Network.model_json_schema(by_alias=True)
    for key, target in _TABLES.items():
        schema["properties"][key] = {
            "type": "string",
            "description": f"name of a CSV file beside this one with more {target}, one a row",
        }
    # Sites and hops may all stand in the tables.
    schema["required"] = [key for key in schema["required"] if f"{key[:-1]}_table" not in _TABLES]
    return schema
