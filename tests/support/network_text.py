"""Writes small network files for the tests: plain data to TOML, with every value inline."""

import copy
import datetime
import json
from pathlib import Path
from typing import Any

SPARES = (
    "antenna",
    "cable",
    "chassis",
    "controller",
    "coupler",
    "fan",
    "line_card",
    "modem_card",
    "outdoor_radio",
)
"""Every kind of spare that the small network takes."""

SMALL: dict[str, Any] = {
    "title": "two hops in a row",
    "sites": [
        {"id": "hill", "latitude_deg": 50.0, "longitude_deg": 10.0},
        {"id": "mill", "latitude_deg": 50.1, "longitude_deg": 10.0},
        {"id": "ridge", "latitude_deg": 50.1, "longitude_deg": 10.2},
        {"id": "dale", "latitude_deg": 50.3, "longitude_deg": 10.2},
    ],
    "radios": [{"id": "r18", "modulations": [{"states": 4}, {"states": 64}]}],
    "antennas": [{"id": "dish", "diameter_m": 0.6}],
    "hops": [
        {
            "id": "hill-mill", "from": "hill", "to": "mill", "frequency_ghz": 18.0,
            "radio": "r18", "antenna": "dish", "scheme": "1+1 HSB",
        },
        {
            "id": "mill-ridge", "from": "mill", "to": "ridge", "frequency_ghz": 18.0,
            "radio": "r18", "antenna": "dish",
        },
        {
            "id": "ridge-dale", "from": "ridge", "to": "dale", "frequency_ghz": 18.0,
            "radio": "r18", "antenna": "dish",
        },
    ],
    "services": [{"id": "s1", "from": "hill", "to": "ridge", "committed_mbit_s": 50.0}],
    "crews": [{"id": "crew", "base": "hill"}],
    "depots": [{"id": "store", "base": "hill", "stock": dict.fromkeys(SPARES, 1)}],
    "power": [{"id": "weak", "battery_h": 2.0}],
    "maintenance": [{"site": "mill", "every_days": 90.0}],
    "parts": [{"kind": "modem_card", "mtbf_h": 300_000.0}],
    "climate": {"rain_rate_001_mm_h": 30.0},
    "switching": {"changeover_s": 0.2},
    "losses": {"transducer_db": 0.5},
}  # fmt: skip
"""A network file with every kind of entry, as plain data."""


def small() -> dict[str, Any]:
    """A copy of ``SMALL`` to change."""
    return copy.deepcopy(SMALL)


def toml(data: dict[str, Any]) -> str:
    """TOML text of plain data: text, numbers, truth values, dates, lists and tables."""
    return "".join(f"{_key(key)} = {_value(value)}\n" for key, value in data.items())


def write(folder: Path, data: dict[str, Any], name: str = "network.toml") -> Path:
    """Write plain data as a TOML file."""
    path = folder / name
    path.write_text(toml(data), encoding="utf-8")
    return path


def _key(key: str) -> str:
    return _text(key)


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    match value:
        case bool():
            return str(value).lower()
        case str():
            return _text(value)
        case int() | float():
            return repr(value)
        case datetime.date() | datetime.datetime() | datetime.time():
            return value.isoformat()
        case list() | tuple():
            return "[" + ", ".join(map(_value, value)) + "]"
        case dict():
            return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + "}"
    raise TypeError(f"value is {type(value).__name__}; must be plain data")
