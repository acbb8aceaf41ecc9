"""A network grown at random, invented: sites that join by hops of typical lengths and bands.

Sites come one by one at a log-normal distance (median 7 km, 1 to 40 km) from a random earlier one inside a
rectangle; a twelfth of the hops close rings between near sites. The band follows the length.
"""

from dataclasses import dataclass

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
