"""GeoJSON read as tables: points are rows of sites, lines rows of hops with the places of both ends.

References
----------
RFC 7946 (2016): longitude before latitude, WGS 84, heights in metres as a third number (3.1.1, 4).
"""

import json
from typing import Any

from hopyears.models.basics.faults import without_steering
from hopyears.sim.inputs.input_errors import InputError, printable

Cells = tuple[tuple[str, ...], list[list[str]], list[int]]
"""Columns, rows and their numbers; a row's number is that of its feature, counted from 1."""

POINT_COLUMNS = ("longitude", "latitude", "ground height")
LINE_COLUMNS = tuple(f"{column} {end}" for end in "ab" for column in POINT_COLUMNS)


def is_geojson(text: str) -> bool:
    """Whether a text looks like JSON, which no table does."""
    return text.lstrip()[:1] == "{"


def tables_of_geojson(text: str, name: str) -> list[Cells]:
    """Points and lines of a feature collection, each as a table; services and other kinds of place
    are left out.

    Raises
    ------
    InputError
        If the text is no JSON, or no collection of features with places of numbers.
    """
    try:
        features = json.loads(text)["features"]
        points = _rows(features, "Point", POINT_COLUMNS)
        lines = _rows(features, "Line", LINE_COLUMNS)
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, RecursionError) as error:
        reason = printable(f"{type(error).__name__}: {error}", 80)
        allowed = "a FeatureCollection of points and lines (RFC 7946)"
        raise InputError.one(f"{name}: text is not GeoJSON ({reason}); must be {allowed}") from None
    return [points, lines]


def _rows(features: list[dict[str, Any]], kind: str, columns: tuple[str, ...]) -> Cells:
    found = [
        (number, _properties(feature), _places(feature["geometry"], kind))
        for number, feature in enumerate(features, start=1)
        if (feature.get("geometry") or {}).get("type", "").removeprefix("Multi").startswith(kind)
        and (feature.get("properties") or {}).get("kind") != "service"
    ]
    names = dict.fromkeys(str(key) for _, properties, _ in found for key in properties)
    own = [name for name in names if name not in columns]
    rows = [[*places, *(_text_of(properties.get(key)) for key in own)] for _, properties, places in found]
    return (*columns, *(printable(key, 80) for key in own)), rows, [number for number, _, _ in found]


def _text_of(value: Any) -> str:
    return "" if value is None else without_steering(str(value))


def _properties(feature: dict[str, Any]) -> dict[str, Any]:
    """Properties of a feature, its own id among them (RFC 7946, 3.2)."""
    own = {"id": feature["id"]} if "id" in feature else {}
    return {**own, **(feature.get("properties") or {})}


def _places(geometry: dict[str, Any], kind: str) -> list[str]:
    """Longitude, latitude and height of a point, or of both ends of a line."""
    places = geometry["coordinates"]
    if geometry["type"] == "MultiLineString":  # a line cut at the 180th meridian
        places = [places[0][0], places[-1][-1]]
    elif geometry["type"] == "MultiPoint":
        places = places[0]
    cells = []
    for place in [places] if kind == "Point" else [places[0], places[-1]]:
        numbers = [repr(float(number)) for number in place]
        cells += [numbers[0], numbers[1], numbers[2] if len(numbers) > 2 else ""]
    return cells
