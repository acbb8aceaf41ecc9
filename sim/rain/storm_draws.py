"""Where systems of rain are born, how they drift, and which of their shapes may rain on a region.

Systems are born in fixed tiles of the globe. Each tile and year has a stream of its own, so what a system
does depends on the place and on the seed, not on the network that it crosses.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainccinv, gammaincinv, ndtr

from hopyears.models.air.rain_cell import CellPopulation
from hopyears.models.air.storm import StormModel
from hopyears.models.basics.arrays import Floats, Ints
from hopyears.sim.rain.rain_field import RainField, Region
from hopyears.sim.rain.rain_laws import FASTEST, longest_storm_s, longest_system_s, reach_km
from hopyears.sim.rain.shape_rooms import ShapeRooms
from hopyears.sim.rain.storm_loops import SCORES
from hopyears.sim.rain.system_loops import SPEEDS, systems_near
from hopyears.sim.rain.texture import Texture
from hopyears.sim.rain.weather import Weather


@dataclass(frozen=True)
class Systems:
    """Systems before their shapes are drawn: rows of ``shapes_near``, keys, ceilings and daily cycle."""

    rows: Floats
    keys: NDArray[np.uint64]
    ceilings: Floats
    days: Floats

    def __len__(self) -> int:
        return len(self.rows)


@lru_cache(maxsize=8)
def _speeds(shape: float) -> Floats:
    """Quantiles of the speed over its mean at even shares of one, at most ``FASTEST``."""
    shares = np.linspace(0.0, 1.0, SPEEDS)
    return np.asarray(np.minimum(gammaincinv(shape, shares) / shape, FASTEST), dtype=np.float64)


@lru_cache(maxsize=8)
def _sizes(shape: float) -> Floats:
    """Quantiles of a system's size over its mean at ``SCORES``."""
    upper = gammainccinv(shape, ndtr(-SCORES)) / shape
    return np.asarray(np.where(SCORES < 0.0, gammaincinv(shape, ndtr(SCORES)) / shape, upper))


@dataclass(frozen=True)
class SystemSource:
    """Draws systems of which shapes may rain on a region."""

    region: Region
    weather: Weather
    population: CellPopulation
    storms: StormModel

    def born(self, keys: NDArray[np.uint64], counts: Ints, start_s: Floats, length_s: Floats) -> Systems:
        """Systems of all tiles, each with its key: ``counts`` in each month, shape (n_tiles, 12), which begin
        within ``length_s`` from ``start_s``.

        Each stands in its tile half-way through its passage. Those that cannot come near are left out.
        """
        tiles, drifts, ceilings, days = self._tiles
        region = self.region
        rows, own, of = systems_near(
            keys,
            counts,
            tiles,
            np.stack([start_s, length_s]),
            drifts,
            _speeds(self.storms.drift_shape),
            _sizes(self.storms.system_size_shape),
            np.deg2rad(self.weather.centre_deg),
            np.array([region.west_km, region.south_km, region.east_km, region.north_km]),
            self._passage,
        )
        month = rows[:, 9].astype(np.int64)
        return Systems(rows, own, ceilings[of, month], days[of, month])

    @cached_property
    def _passage(self) -> Floats:
        """How far a system rains from its centre [km]; half the time of its passage, and all of it [s]."""
        storms, population = self.storms, self.population
        half_s = 0.5 * (storms.system_duration_s + longest_storm_s(population, storms))
        return np.array([reach_km(population, storms), half_s, longest_system_s(population, storms)])

    @cached_property
    def _tiles(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Of each tile bounds, drift, ceilings and daily cycle as the loops take them."""
        tiles = self.weather.tiles
        drifts = np.array([tile.drift for tile in tiles]) * [1.0 / 3600.0, np.pi / 180.0, np.pi / 180.0]
        distances_km, reach = np.array([tile.distance_km for tile in tiles]), self._passage[0]
        # Most systems are too slow to come near whatever their heading.
        slowest = np.maximum(distances_km - reach, 0.0)[:, None] / self._passage[1] / drifts[:, :, 0]
        least = (np.searchsorted(_speeds(self.storms.drift_shape), slowest) - 1.0) / (SPEEDS - 1)
        return (
            np.array([tile.bounds for tile in tiles]),
            np.concatenate([drifts, least[:, :, None]], axis=2),
            np.array([tile.ceilings for tile in tiles]),
            np.array([tile.days for tile in tiles]),
        )

    def field(self, parts: Iterable[Systems], n_years: int, texture_key: np.uint64) -> RainField:
        """The field of these systems on the region; those of one part are forgotten before the next."""
        rooms, n_systems = ShapeRooms(), 0
        for systems in parts:
            rooms.draw(*self._asked(systems))
            n_systems += len(systems)
        cells, storms, storm_of, wide, wide_of = rooms.filled
        rains = np.zeros(n_systems, np.bool_)
        rains[storm_of] = rains[wide_of] = True
        numbers = np.cumsum(rains) - 1
        return RainField(
            cells=cells,
            storm_start_s=storms[:, 0].copy(),
            storm_end_s=storms[:, 1].copy(),
            storm_first_cell=np.concatenate([[0], np.cumsum(storms[:, 6])]).astype(np.int64),
            population=self.population,
            n_years=n_years,
            wide=wide,
            storm_system=numbers[storm_of],
            wide_system=numbers[wide_of],
            texture=Texture(int(texture_key), *self.weather.centre_deg),
        )

    def _asked(self, systems: Systems) -> tuple[NDArray[Any], ...]:
        """What ``shapes_near`` is asked for."""
        region, weather = self.region, self.weather
        size = self.population
        return (
            systems.rows,
            systems.keys,
            systems.ceilings,
            systems.days,
            np.array([region.west_km, region.south_km, region.east_km, region.north_km]),
            np.ascontiguousarray(weather.laws),
            np.ascontiguousarray(weather.quantiles),
            weather.grid,
            self._model(),
            np.array(
                [
                    size.size_km,
                    size.size_exponent,
                    size.smallest_km,
                    size.largest_km,
                    self.storms.wide_radius_km,
                ]
            ),
        )

    def _model(self) -> Floats:
        storms, population = self.storms, self.population
        return np.array(
            [
                storms.system_spread_km,
                storms.system_duration_s,
                storms.storm_spread_km,
                storms.storm_duration_s,
                np.sqrt(storms.system_correlation),
                np.sqrt(storms.storm_correlation),
                np.sqrt(1.0 - storms.peak_correlation),
                population.mean_life_s,
                storms.wide_life_s,
                population.life_shape,
                storms.wide_ratio,
                population.profile.outer_radius,
            ]
        )
