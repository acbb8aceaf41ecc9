"""Rain laws over the map and the tiles of the globe in which systems of rain are born."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from hopyears.models.air.rain_cell import CellPopulation
from hopyears.models.air.storm import StormModel
from hopyears.sim.rain.rain_field import Floats, Region
from hopyears.sim.rain.rain_laws import MonthLaw, gathering
from hopyears.sim.rain.storm_loops import SCORES

TILE_DEG = 2.0
"""Height of a tile; each band of latitude is cut into tiles about as wide."""

_EARTH_KM = 6371.0


@dataclass(frozen=True)
class Tile:
    """A tile of the globe: its band and number in it, bounds [rad], area [km^2] and, by month, the most that any
    place in reach has (see ``shapes_near``)."""

    band: int
    number: int
    south: float
    west: float
    north: float
    east: float
    ceilings: Floats

    @property
    def area_km2(self) -> float:
        """Area on the sphere."""
        return _EARTH_KM**2 * (self.east - self.west) * (np.sin(self.north) - np.sin(self.south))


@dataclass(frozen=True)
class Weather:
    """What systems are drawn from about a network's plane: rain laws of the nodes of a map, in ``shapes_near``'s
    layout, and the plane's centre. One node serves everywhere."""

    centre_deg: tuple[float, float]
    laws: Floats
    quantiles: Floats
    grid: Floats

    def tiles(self, region: Region, farthest_km: float) -> list[Tile]:
        """Tiles within a distance of the region, in a fixed order."""
        found = []
        latitude = self.centre_deg[0]
        reach = np.hypot(
            max(-region.south_km, region.north_km, 0.0) + farthest_km,
            max(-region.west_km, region.east_km, 0.0) + farthest_km,
        )
        span = np.rad2deg(reach / _EARTH_KM) + TILE_DEG
        bands = round(180.0 / TILE_DEG)
        for band in range(bands):
            south = -90.0 + band * TILE_DEG
            if abs(south + 0.5 * TILE_DEG - latitude) > span:
                continue
            per_band = max(round(360.0 * np.cos(np.deg2rad(south + 0.5 * TILE_DEG)) / TILE_DEG), 3)
            for number in range(per_band):
                tile = self._tile(band, number, south, per_band)
                if self._within(tile, region, farthest_km):
                    found.append(tile)
        return found

    def _tile(self, band: int, number: int, south: float, per_band: int) -> Tile:
        width = 360.0 / per_band
        west = -180.0 + number * width
        corners = np.deg2rad([south, west, south + TILE_DEG, west + width])
        return Tile(band, number, *(float(each) for each in corners), ceilings=self.laws.max(axis=1))

    def _within(self, tile: Tile, region: Region, farthest_km: float) -> bool:
        """Whether any of a tile's points, taken densely, is within the distance."""
        share = np.linspace(0.0, 1.0, 5)
        x, y, _ = self.places(tile, *(each.ravel() for each in np.meshgrid(share, share)))
        slack = farthest_km + 0.15 * np.deg2rad(TILE_DEG) * _EARTH_KM
        return bool(
            np.any(
                (x > region.west_km - slack)
                & (x < region.east_km + slack)
                & (y > region.south_km - slack)
                & (y < region.north_km + slack)
            )
        )

    def places(self, tile: Tile, up: Floats, along: Floats) -> tuple[Floats, Floats, Floats]:
        """Places in a tile, even on the sphere for two even numbers: x, y [km], and north's bearing there [rad].

        Azimuthal equidistant on the sphere, as ``models.basics.geometry`` on the ellipsoid to 0.3 %.
        """
        sine = np.sin(tile.south) + up * (np.sin(tile.north) - np.sin(tile.south))
        cosine = np.sqrt(1.0 - sine**2)
        centre, middle = np.deg2rad(self.centre_deg)
        turn = tile.west + along * (tile.east - tile.west) - middle
        across, ahead = cosine * np.sin(turn), np.cos(centre) * sine - np.sin(centre) * cosine * np.cos(turn)
        towards = np.clip(np.sin(centre) * sine + np.cos(centre) * cosine * np.cos(turn), -1.0, 1.0)
        angle = np.arccos(towards)
        stretch = _EARTH_KM * angle / np.maximum(np.sin(angle), 1e-12)
        return stretch * across, stretch * ahead, -np.sin(centre) * np.sin(turn)


def uniform_weather(
    months: tuple[MonthLaw, ...],
    population: CellPopulation,
    storms: StormModel,
    *,
    centre_deg: tuple[float, float] = (0.0, 0.0),
) -> Weather:
    """The same climate everywhere."""
    laws, quantiles = node_numbers(months, population, storms)
    centre = np.deg2rad(centre_deg)
    grid = np.array([*centre, 0.0, 0.0, 1.0, 1.0, 1.0])
    return Weather(centre_deg, laws[:, None], quantiles[:, None], grid)


def node_numbers(
    months: tuple[MonthLaw, ...], population: CellPopulation, storms: StormModel
) -> tuple[Floats, Floats]:
    """Gathering and quantiles of a node's months in the layout of ``shapes_near``: (12, 4) and (12, 2, n_scores)."""
    shares = ndtr(SCORES)
    held = [gathering(month, population, storms) for month in months]
    laws = [
        [each.systems_per_km2_s, each.storms_per_system, each.wide_per_system, each.cells_per_storm]
        for each in held
    ]
    quantiles = [[month.showers.quantile(shares), month.wide.quantile(shares)] for month in months]
    return np.array(laws), np.array(quantiles)
