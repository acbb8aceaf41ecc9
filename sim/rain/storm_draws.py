"""Where systems of rain are born, how they drift, and which of their shapes may rain on a region.

Systems are born in fixed tiles of the globe. Each tile and year has a stream of its own, so what a system
does depends on the place and on the seed, not on the network that it crosses.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hopyears.models.air.rain_cell import CellPopulation
from hopyears.models.air.storm import StormModel
from hopyears.sim.rain.rain_field import Floats, Integers, RainField, Region
from hopyears.sim.rain.rain_laws import longest_storm_s, longest_system_s
from hopyears.sim.rain.system_loops import shapes_near
from hopyears.sim.rain.weather import Tile, Weather

SCORE = 6
"""Column of ``Systems.rows`` that holds the score."""

_FASTEST = 2.75
"""Drift over its mean that no system exceeds: one in 200 of the gamma law's would."""


@dataclass(frozen=True)
class Systems:
    """Systems before their shapes are drawn: rows of ``shapes_near``, keys and ceilings."""

    rows: Floats
    keys: NDArray[np.uint64]
    ceilings: Floats

    def __len__(self) -> int:
        return len(self.rows)


def reach_km(population: CellPopulation, storms: StormModel) -> float:
    """How far from its centre a system rains, but for one shape in a thousand."""
    cell = 3.0 * storms.storm_spread_km + 2.0 * population.largest_km * population.profile.outer_radius
    wide = 3.0 * np.sqrt(storms.wide_ratio) * storms.wide_radius_km
    return float(3.3 * storms.system_spread_km + max(cell, wide))


def farthest_km(population: CellPopulation, storms: StormModel) -> float:
    """How far from a place a system may be born that rains on it."""
    passage_s = storms.system_duration_s + longest_storm_s(population, storms)
    return reach_km(population, storms) + 0.5 * passage_s * _FASTEST * storms.mean_drift_km_h / 3600.0


@dataclass(frozen=True)
class SystemSource:
    """Draws systems of which shapes may rain on a region."""

    region: Region
    weather: Weather
    population: CellPopulation
    storms: StormModel

    def born(
        self, rng: np.random.Generator, tile: Tile, count: Integers, start_s: Floats, length_s: Floats
    ) -> Systems:
        """Systems of one tile: ``count`` in each month, which begin within ``length_s`` from ``start_s``.

        Each stands in the tile half-way through its passage.
        """
        storms, n = self.storms, int(count.sum())
        month = np.repeat(np.arange(12), count)
        lots = rng.random((4, n))
        mean_km_h, towards_deg, spread_deg = tile.drift[month].T
        speed = rng.gamma(storms.drift_shape, 1.0 / storms.drift_shape, n)
        speed = np.minimum(speed, _FASTEST) * mean_km_h / 3600.0
        size = rng.gamma(storms.system_size_shape, 1.0 / storms.system_size_shape, n)
        turn, score = rng.standard_normal((2, n))
        keys = rng.integers(0, 2**64, n, dtype=np.uint64)
        x, y, north = self.weather.places(tile, lots[0], lots[1])
        heading = np.deg2rad(towards_deg + spread_deg * turn) + north
        vx, vy = speed * np.sin(heading), speed * np.cos(heading)
        half_s = 0.5 * (storms.system_duration_s + longest_storm_s(self.population, storms))
        start = start_s[month] + lots[2] * length_s[month]
        rows = np.column_stack(
            [start, x - half_s * vx, y - half_s * vy, vx, vy, size, score, lots[3], heading + 0.5 * np.pi]
        )
        ceilings = np.column_stack([tile.ceilings[month], month.astype(np.float64)])
        near = self._may_reach(rows)
        return Systems(rows[near], keys[near], ceilings[near])

    def _may_reach(self, rows: Floats) -> NDArray[np.bool_]:
        region, reach = self.region, reach_km(self.population, self.storms)
        lasting = longest_system_s(self.population, self.storms)
        near = np.ones(len(rows), dtype=np.bool_)
        for place, speed, low, high in (
            (rows[:, 1], rows[:, 3], region.west_km, region.east_km),
            (rows[:, 2], rows[:, 4], region.south_km, region.north_km),
        ):
            end = place + speed * lasting
            near &= (np.maximum(place, end) > low - reach) & (np.minimum(place, end) < high + reach)
        return near

    def field(self, systems: Systems, n_years: int) -> tuple[RainField, Integers]:
        """The field of these systems on the region, and which of them rain on it, by number in the field."""
        region, weather = self.region, self.weather
        cells, storms, storm_of, wide, wide_of = shapes_near(
            systems.rows,
            systems.keys,
            systems.ceilings,
            np.array([region.west_km, region.south_km, region.east_km, region.north_km]),
            weather.laws,
            weather.quantiles,
            weather.grid,
            self._model(),
            np.array(
                [
                    self.population.size_km,
                    self.population.size_exponent,
                    self.population.smallest_km,
                    self.population.largest_km,
                    self.storms.wide_radius_km,
                ]
            ),
        )
        wet, numbers = np.unique(np.concatenate([storm_of, wide_of]), return_inverse=True)
        field = RainField(
            cells=cells,
            storm_start_s=storms[:, 0].copy(),
            storm_end_s=storms[:, 1].copy(),
            storm_x_km=storms[:, 2].copy(),
            storm_y_km=storms[:, 3].copy(),
            storm_vx_km_s=storms[:, 4].copy(),
            storm_vy_km_s=storms[:, 5].copy(),
            storm_reach_km=storms[:, 6].copy(),
            storm_first_cell=np.concatenate([[0], np.cumsum(storms[:, 7])]).astype(np.int64),
            population=self.population,
            n_years=n_years,
            wide=wide,
            storm_system=numbers[: len(storm_of)],
            wide_system=numbers[len(storm_of) :],
        )
        return field, wet

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


def joined(parts: list[Systems]) -> Systems:
    """All these systems in their order."""
    return Systems(
        np.concatenate([part.rows for part in parts]),
        np.concatenate([part.keys for part in parts]),
        np.concatenate([part.ceilings for part in parts]),
    )
