"""Networks drawn at random, as plain data of a network file: places, lengths, bands, schemes and powers."""

import random
from typing import Any

LATITUDES_DEG = (-45.0, -33.0, -5.0, 0.0, 12.0, 25.0, 35.0, 48.0, 58.0, 68.0)
FREQUENCIES_GHZ = (2.0, 6.0, 7.0, 11.0, 15.0, 18.0, 23.0, 38.0, 60.0, 74.0, 86.0)
SCHEMES = (
    "1+0", "1+1 HSB", "1+1 HSB unequal", "1+1 FD", "1+1 SD", "1+1 SD+FD", "2+0", "2+0 DP", "2+0 XPIC",
    "1+1 XPIC", "4+0 XPIC", "4+0 DP", "3+1", "3+2",
)  # fmt: skip
POWERS_DBM = (-10.0, 10.0, 20.0, 30.0)

REACH_DEG = 0.4
"""Sites lie so far from the middle at most, either way: hops are up to some 80 km long."""


def random_network(seed: int) -> dict[str, Any]:
    """A network of 2 to 4 sites, a tree of hops (of some, closed to a ring), and 1 to 4 services.

    Most are legal; a few are refused, such as hops on which no law of fading holds.
    """
    draw = random.Random(seed)
    middle_deg = draw.choice(LATITUDES_DEG), draw.uniform(-170.0, 170.0)
    n_sites = draw.randint(2, 4)
    pairs = [(i, draw.randrange(i)) for i in range(1, n_sites)]
    if n_sites > 2 and draw.random() < 0.5 and (n_sites - 1, 0) not in pairs:
        pairs.append((0, n_sites - 1))
    return {
        "title": f"random network {seed}",
        "sites": [_site(draw, i, middle_deg) for i in range(n_sites)],
        "radios": [{"id": "radio", "transmit_power_dbm": draw.choice(POWERS_DBM)}],
        "antennas": [{"id": "dish", "diameter_m": draw.choice((0.3, 0.6, 1.8, 3.0))}],
        "hops": [_hop(draw, i, pair) for i, pair in enumerate(pairs)],
        "services": [_service(draw, i, n_sites) for i in range(draw.randint(1, 4))],
        "crews": [{"id": "crew", "base": "s0"}] * draw.randint(0, 1),
        "maintenance": [{"site": "s1", "every_days": 90.0}] * draw.randint(0, 1),
        "power": [{"id": "standard", "battery_h": draw.choice((0.0, 4.0)), **_rectifiers(draw)}],
        "indoor_units": [_indoor_unit(draw)] * draw.randint(0, 1),
    }


def _rectifiers(draw: random.Random) -> dict[str, Any]:
    return draw.choice(({}, {"rectifiers": 3, "rectifiers_needed": 2}))


def _indoor_unit(draw: random.Random) -> dict[str, Any]:
    own = draw.randint(0, 2)
    return {
        "id": "standard",
        "own_modem_ports": own,
        "own_port_stops_unit": own > 0 and draw.random() < 0.5,
        "ports_per_modem_card": draw.randint(1, 3),
        "own_line_ports": {"packet": draw.randint(0, 2)},
        "controllers": draw.randint(1, 2),
        "alarm_board": draw.random() < 0.5,
    }


def _site(draw: random.Random, number: int, middle_deg: tuple[float, float]) -> dict[str, Any]:
    latitude_deg, longitude_deg = (round(at + draw.uniform(-REACH_DEG, REACH_DEG), 4) for at in middle_deg)
    return {
        "id": f"s{number}",
        "latitude_deg": latitude_deg,
        "longitude_deg": longitude_deg,
        "ground_height_m": draw.choice((0.0, 50.0, 800.0, 2500.0)),
        "antenna_height_m": draw.choice((5.0, 30.0, 80.0)),
    }


def _hop(draw: random.Random, number: int, pair: tuple[int, int]) -> dict[str, Any]:
    return {
        "id": f"h{number}",
        "from": f"s{pair[0]}",
        "to": f"s{pair[1]}",
        "frequency_ghz": draw.choice(FREQUENCIES_GHZ),
        "radio": "radio",
        "antenna": "dish",
        "scheme": draw.choice(SCHEMES),
        "polarisation": draw.choice("VH"),
    }


def _service(draw: random.Random, number: int, n_sites: int) -> dict[str, Any]:
    start, end = draw.sample(range(n_sites), 2)
    return {
        "id": f"v{number}",
        "from": f"s{start}",
        "to": f"s{end}",
        "committed_mbit_s": draw.choice((1.0, 50.0, 500.0)),
        "peak_mbit_s": draw.choice((500.0, 900.0)),
        "priority": draw.randint(1, 4),
        "protection": draw.choice(("none", "rerouted")),
        "switch_trigger": "congestion" if number % 2 else "signal fail",
    }
