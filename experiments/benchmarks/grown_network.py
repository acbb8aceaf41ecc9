"""A network grown at random, invented: sites that join by hops of typical lengths and bands.

    python -m experiments.benchmarks.grown_network FILE [--hops N] [--services N] [--width KM] [--height KM]

Sites come one by one at a log-normal distance (median 7 km, 1 to 40 km) from a random earlier one inside a
rectangle; a twelfth of the hops close rings between near sites. The band follows the length. The file made of
it has five modulations of 4 to 1024 states in 28 MHz; half of the hops 1+0, a quarter 1+1 HSB, the rest 2+0
with and without XPIC (all with space diversity at 7 GHz); 70 % of the services end at the first site, each
with 5 of 20 Mbit/s committed, in three priorities, 30 % of them rerouted; two teams for each hundred hops.
"""

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

BANDS = ((3.0, 38.0), (8.0, 23.0), (15.0, 18.0), (25.0, 15.0), (np.inf, 7.0))
"""Longest hop [km] of each carrier frequency [GHz]."""


@dataclass(frozen=True)
class GrownNetwork:
    """Sites and hops: places [km] of shape (n_sites, 2), sites of each hop (n_hops, 2), frequencies [GHz]."""

    sites_km: NDArray[np.float64]
    hops: NDArray[np.int64]
    frequency_ghz: NDArray[np.float64]

    @property
    def length_km(self) -> NDArray[np.float64]:
        """Length of each hop [km]."""
        ends = self.sites_km[self.hops]
        return np.hypot(*(ends[:, 1] - ends[:, 0]).T)


def grow(n_hops: int, width_km: float, height_km: float, *, seed: int = 1) -> GrownNetwork:
    """Network of a number of hops within a rectangle about the origin."""
    rng = np.random.default_rng(seed)
    half = np.array([0.5 * width_km, 0.5 * height_km])
    n_rings = n_hops // 12
    sites = [np.zeros(2)]
    hops = []
    while len(hops) < n_hops - n_rings:
        parent = int(rng.integers(len(sites)))
        distance, heading = _distance_km(rng), rng.uniform(0.0, 2.0 * np.pi)
        place = sites[parent] + distance * np.array([np.sin(heading), np.cos(heading)])
        if np.all(np.abs(place) <= half):
            hops.append((parent, len(sites)))
            sites.append(place)
    places = np.array(sites)
    while len(hops) < n_hops:
        one = int(rng.integers(len(places)))
        away = np.hypot(*(places - places[one]).T)
        near = [int(site) for site in np.argsort(away) if away[site] >= 1.0 and site != one]
        other = next((site for site in near if not {(one, site), (site, one)} & set(hops)), None)
        if other is not None:
            hops.append((one, other))
    ends = np.array(hops)
    length = np.hypot(*(places[ends[:, 1]] - places[ends[:, 0]]).T)
    limits, bands = np.array(BANDS).T
    return GrownNetwork(places, ends, bands[np.searchsorted(limits, length, side="right")])


def _distance_km(rng: np.random.Generator) -> float:
    while True:
        distance = 7.0 * np.exp(0.7 * rng.standard_normal())
        if 1.0 <= distance <= 40.0:
            return float(distance)


ANTENNA_M = {38.0: 0.3, 23.0: 0.6, 18.0: 0.9, 15.0: 1.2, 7.0: 2.4}
"""Diameter [m] by carrier frequency [GHz]."""

CENTRE_DEG = (45.0, 9.5)
"""Latitude and longitude of the first site, unless stated."""

KM_PER_DEG = 111.2
"""Of a meridian; good enough for places that are invented."""


def network_file(
    grown: GrownNetwork, n_services: int, *, centre_deg: tuple[float, float] = CENTRE_DEG, seed: int = 1
) -> str:
    """Text of a network file (TOML) with these sites and hops, and a number of services."""
    rng = np.random.default_rng([seed, 1])
    n_hops, n_sites = len(grown.hops), len(grown.sites_km)
    parts = [f'title = "{n_hops} hops grown at random, all invented"']
    east_deg = KM_PER_DEG * np.cos(np.radians(centre_deg[0]))
    for site, (east, north) in enumerate(grown.sites_km):
        place = centre_deg[0] + north / KM_PER_DEG, centre_deg[1] + east / east_deg
        parts.append(_entry("sites", id=f"s{site}", latitude_deg=place[0], longitude_deg=place[1]))
    parts.append(_entry("radios", id="radio", transmit_power_dbm=20.0) + _MODULATIONS)
    for frequency, diameter in ANTENNA_M.items():
        parts.append(_entry("antennas", id=f"dish-{frequency:.0f}", diameter_m=diameter))
    schemes = rng.choice(["1+0", "1+1 HSB", "2+0", "2+0 XPIC"], n_hops, p=[0.5, 0.25, 0.125, 0.125])
    for number, ((a, b), frequency, scheme) in enumerate(
        zip(grown.hops.tolist(), grown.frequency_ghz.tolist(), schemes.tolist(), strict=True)
    ):
        parts.append(
            _entry("hops", id=f"h{number}", **{"from": f"s{a}", "to": f"s{b}"})
            + _fields(frequency_ghz=frequency, radio="radio", antenna=f"dish-{frequency:.0f}")
            + _fields(channel_width_mhz=28.0, scheme=scheme + (" SD" if frequency == 7.0 else ""))
        )
    for number in range(n_services):
        to_first = rng.random() < 0.7
        one, other = (int(site) for site in rng.choice(np.arange(1, n_sites), 2, replace=False))
        parts.append(
            _entry("services", id=f"d{number}", **{"from": f"s{one}", "to": f"s{0 if to_first else other}"})
            + _fields(committed_mbit_s=5.0, peak_mbit_s=20.0, priority=1 + number % 3)
            + _fields(protection="rerouted" if rng.random() < 0.3 else "none")
        )
    for crew in range(max(1, round(n_hops / 100))):
        base = int(rng.integers(n_sites)) if crew else 0
        parts.append(_entry("crews", id=f"crew{crew}", base=f"s{base}", teams=2))
    return "\n".join(parts)


_MODULATIONS = "".join(f"[[radios.modulations]]\nstates = {states}\n" for states in (4, 16, 64, 256, 1024))


def _entry(kind: str, **fields: object) -> str:
    return f"\n[[{kind}]]\n" + _fields(**fields)


def _fields(**fields: object) -> str:
    return "".join(f"{name} = {_toml(value)}\n" for name, value in fields.items())


def _toml(value: object) -> str:
    return (
        f"{value:.6f}" if isinstance(value, float) else f'"{value}"' if isinstance(value, str) else f"{value}"
    )


def main(arguments: list[str] | None = None) -> int:
    """Write a network file."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("file", type=Path)
    parser.add_argument("--hops", type=int, default=200)
    parser.add_argument("--services", type=int, default=150)
    parser.add_argument("--width", type=float, default=75.0, help="km")
    parser.add_argument("--height", type=float, default=100.0, help="km")
    options = parser.parse_args(arguments)
    grown = grow(options.hops, options.width, options.height)
    options.file.write_text(network_file(grown, options.services))
    return 0


if __name__ == "__main__":
    sys.exit(main())
