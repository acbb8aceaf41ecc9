"""Systems of rain over a network, drawn for one block of years.

Systems arrive as a Poisson process in space and time, drift with their own wind and bear storms of showers
and wide shapes whose peaks are alike (a Cox cluster process). The number of shapes follows each month's rain
law; each year's number of systems is multiplied by a gamma variable of mean one, by tile of the globe.
"""

import numpy as np
from scipy.special import gammaincinv

from hopyears.models.air.rain_cell import DEFAULT_POPULATION, CellPopulation
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.storm import DEFAULT_STORMS, StormModel
from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.calendar import MONTH_STARTS_S
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain.rain_field import RainField, Region
from hopyears.sim.rain.storm_draws import Systems, SystemSource
from hopyears.sim.rain.weather import Weather, uniform_weather
from hopyears.sim.streams import Streams

__all__ = ["RainField", "Region", "draw_storms"]

_MONTH_LENGTHS_S = np.diff(MONTH_STARTS_S)


def draw_storms(
    streams: Streams,
    climate: RainLaw | Weather,
    region: Region,
    *,
    n_years: int,
    population: CellPopulation = DEFAULT_POPULATION,
    storms: StormModel = DEFAULT_STORMS,
) -> RainField:
    """Draw the rain of one block over a region.

    Parameters
    ----------
    streams : Streams
        Named streams of the block; each tile of the globe and year j draws from ("rain", band, tile, j),
        year j from ("rain-years", j); the texture of hops from ("rain-texture",).
    climate : RainLaw or Weather
        Laws of the map about the region, or one law that serves everywhere.
    region : Region
        Rectangle that must have the right rain; systems from outside that can drift in are drawn too.
    n_years : int
        Years in the block, at least 1.
    """
    if n_years < 1:
        raise ValueError(f"n_years is {n_years}; must be at least 1")
    source = _source(climate, region, population, storms)
    texture_key = streams.keys([("rain-texture",)])[0]
    return source.field((_born(source, streams, year) for year in range(n_years)), n_years, texture_key)


def _born(source: SystemSource, streams: Streams, year: int) -> Systems:
    """Systems of one year."""
    tiles = source.weather.tiles
    spreads = np.array([tile.yearly_spread for tile in tiles])
    keys, counts = np.empty(len(tiles), np.uint64), np.empty((len(tiles), 12), np.int64)
    for i, (tile, factor) in enumerate(zip(tiles, _year_factors(streams, year, spreads), strict=True)):
        rng = streams.generator("rain", tile.band, tile.number, year)
        keys[i] = rng.integers(0, 2**64, dtype=np.uint64)
        counts[i] = rng.poisson(tile.ceilings[:, 0] * tile.area_km2 * _MONTH_LENGTHS_S * factor)
    return source.born(keys, counts, year * SECONDS_PER_YEAR + MONTH_STARTS_S[:12], _MONTH_LENGTHS_S)


def _source(
    climate: RainLaw | Weather, region: Region, population: CellPopulation, storms: StormModel
) -> SystemSource:
    if isinstance(climate, RainLaw):
        climate = uniform_weather(climate, region, population, storms)
    return SystemSource(region, climate, population, storms)


def _year_factors(streams: Streams, year: int, spreads: Floats) -> Floats:
    """Gamma distributed, of mean 1: a wet year is wet everywhere, by as much as years differ there."""
    chance = streams.generator("rain-years", year).random()
    shape = np.maximum(spreads, 1e-3) ** -2
    return np.asarray(gammaincinv(shape, chance) / shape)
