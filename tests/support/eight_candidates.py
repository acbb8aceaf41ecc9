"""A network of two hops in a row for which ``advise`` makes eight candidates. Invented; parts fail often."""

import copy
from typing import Any

from hopyears.sim.inputs.input_errors import FaultList
from hopyears.sim.inputs.network_build import build_network
from hopyears.sim.inputs.network_file import NetworkSource

PRICES = {
    "life_years": 10.0,
    "discount_rate": 0.05,
    "once": {
        "outdoor_radio": 100.0,
        "antenna_single_polarised": 40.0,
        "hybrid_coupler": 30.0,
        "cable": 5.0,
        "modem_port": 0.0,
        "modem_card": 50.0,
        "controller": 60.0,
        "indoor_unit": 150.0,
        "spare_outdoor_radio": 90.0,
    },
    "yearly": {
        "crew": 90.0,
        "base": 0.0,
        "radio_energy": 2.0,
        "mast_space": 10.0,
        "spare_outdoor_radio": 3.0,
    },
}

EIGHT: dict[str, Any] = {
    "title": "eight candidates",
    "sites": [
        {"id": "a", "latitude_deg": 50.0, "longitude_deg": 10.0},
        {"id": "b", "latitude_deg": 50.1, "longitude_deg": 10.0},
        {"id": "c", "latitude_deg": 50.1, "longitude_deg": 10.2},
    ],
    "radios": [{"id": "r", "modulations": [{"states": 4}]}],
    "antennas": [{"id": "dish", "diameter_m": 0.6}],
    "hops": [
        {"id": "a-b", "from": "a", "to": "b", "frequency_ghz": 18.0, "radio": "r", "antenna": "dish"},
        {"id": "b-c", "from": "b", "to": "c", "frequency_ghz": 18.0, "radio": "r", "antenna": "dish"},
    ],
    "services": [
        {"id": "far", "from": "a", "to": "c", "committed_mbit_s": 10.0, "weight": 3.0},
        {"id": "near", "from": "a", "to": "b", "committed_mbit_s": 10.0},
    ],
    "crews": [{"id": "crew", "base": "a", "speed_km_h": 5.0}],
    "depots": [{"id": "store", "base": "a", "lead_time_days": 25.0, "stock": {"outdoor_radio": 1}}],
    "power": [{"id": "standard", "mains_outages_per_year": 0.0}],
    "parts": [
        {"kind": "outdoor_radio", "mtbf_h": 9_000.0},
        {"kind": "controller", "mtbf_h": 20_000.0, "affecting_share": 1.0},
        {"kind": "software", "mtbf_h": 60_000.0},
    ],
    "prices": PRICES,
}


def source_of(data: dict[str, Any]) -> NetworkSource:
    """A network of plain data, as if it had been read from a file."""
    network = build_network(data, "network.toml", {}, FaultList(), {})
    return NetworkSource(network, "network.toml", (), copy.deepcopy(data))
