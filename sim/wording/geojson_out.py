"""A network, and what a run found on it, as GeoJSON: sites as points, hops and services as lines.

References
----------
RFC 7946 (2016): longitude before latitude (3.1.1), lines cut at the 180th meridian (3.1.9).
"""

import math
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from hopyears.models.network.network import Network
from hopyears.sim.wording.wording import records

DIGITS = 7
"""Digits of a degree behind the point, a centimetre (RFC 7946, 11.2, finds six enough)."""


def collection(network: Network, tables: Mapping[str, pd.DataFrame] | None = None) -> dict[str, Any]:
    """The FeatureCollection of a network.

    Parameters
    ----------
    network : Network
    tables : mapping of str to DataFrame
        Results of a run: every figure of its tables ``sites``, ``hops`` and ``services`` becomes a property.

    Returns
    -------
    dict
        Features with the properties ``kind`` (site, hop, service), ``id`` and ``name``, fields and figures.
    """
    places = {site.id: _place(site.longitude_deg, site.latitude_deg) for site in network.sites}
    found = {
        kind: _figures(tables, kind) if tables is not None else {} for kind in ("site", "hop", "service")
    }
    features = [
        *_sites(network, places, found["site"]),
        *_hops(network, places, found["hop"]),
        *_services(network, places, found["service"]),
    ]
    return {"type": "FeatureCollection", "features": features}


def _figures(tables: Mapping[str, pd.DataFrame], kind: str) -> dict[str, dict[str, Any]]:
    """By id, every figure of the one row that a table has for an entry."""
    rows = records(tables[f"{kind}s"])
    return {str(row[kind]): {key: _plain(value) for key, value in row.items() if key != kind} for row in rows}


def _plain(value: Any) -> Any:
    """A cell as JSON holds it; no figure is null."""
    if isinstance(value, str | bool):
        return value
    number = float(value) if value is not None else math.nan
    return (int(number) if number.is_integer() else number) if math.isfinite(number) else None


def _sites(network: Network, places: Mapping[str, list[float]], figures: Mapping[str, Any]) -> Iterator[Any]:
    for site in network.sites:
        point = {"type": "Point", "coordinates": [*places[site.id], site.ground_height_m]}
        own = {"antenna_height_m": site.antenna_height_m}
        yield _feature("site", site.id, site.name, point, own | figures.get(site.id, {}))


def _hops(network: Network, places: Mapping[str, list[float]], figures: Mapping[str, Any]) -> Iterator[Any]:
    for hop in network.hops:
        steps = [step.states for step in network.radio(hop.radio).modulations]
        ends = {"a": hop.antenna, "b": hop.antenna_b or hop.antenna}
        antennas = {}
        for end, antenna_id in ends.items():
            antenna = network.antenna(antenna_id)
            field = "antenna_gain_dbi" if antenna.gain_dbi is not None else "antenna_diameter_m"
            value = antenna.gain_dbi if antenna.gain_dbi is not None else antenna.diameter_m
            antennas[field.replace("_", f"_{end}_", 1)] = value
        power = hop.transmit_power_dbm
        own = {
            "from": hop.site_a,
            "to": hop.site_b,
            "frequency_ghz": hop.frequency_ghz,
            "channel_width_mhz": hop.channel_width_mhz,
            "polarisation": hop.polarisation,
            "scheme": hop.scheme,
            "transmit_power_dbm": network.radio(hop.radio).transmit_power_dbm if power is None else power,
            "lowest_modulation": f"{steps[0]}QAM",
            "highest_modulation": f"{steps[-1]}QAM",
            **antennas,
        }
        line = _line(places[hop.site_a], places[hop.site_b])
        yield _feature("hop", hop.id, hop.name, line, own | figures.get(hop.id, {}))


def _services(
    network: Network, places: Mapping[str, list[float]], figures: Mapping[str, Any]
) -> Iterator[Any]:
    for service in network.services:
        forward, backward = service.committed_ways_mbit_s
        own = {"from": service.site_a, "to": service.site_b, "committed_mbit_s": forward}
        own["committed_backward_mbit_s"] = backward
        line = _line(places[service.site_a], places[service.site_b])
        yield _feature("service", service.id, service.name, line, own | figures.get(service.id, {}))


def _feature(
    kind: str, entry_id: str, name: str | None, geometry: Mapping[str, Any], properties: Mapping[str, Any]
) -> dict[str, Any]:
    own: dict[str, Any] = {"kind": kind, "id": entry_id, "name": name or entry_id}
    return {"type": "Feature", "id": entry_id, "geometry": geometry, "properties": {**own, **properties}}


def _place(longitude: float, latitude: float) -> list[float]:
    return [round(longitude, DIGITS), round(latitude, DIGITS)]


def _line(start: list[float], end: list[float]) -> dict[str, Any]:
    """A line; in two parts where it crosses the 180th meridian."""
    apart = end[0] - start[0]
    if abs(apart) <= 180.0:
        return {"type": "LineString", "coordinates": [start, end]}
    edge = math.copysign(180.0, start[0])
    over = abs(edge - start[0])
    share = over / (360.0 - abs(apart))
    latitude = round(start[1] + share * (end[1] - start[1]), DIGITS)
    return {"type": "MultiLineString", "coordinates": [[start, [edge, latitude]], [[-edge, latitude], end]]}
