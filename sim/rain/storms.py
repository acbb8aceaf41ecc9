"""Storms of rain cells over a network, drawn month by month for one block of years.

Storms arrive as a Poisson process in space and time, drift with their own wind and bear cells whose peaks are
alike (a Cox cluster process). The number of cells follows each month's rain law; each year's number of
storms is multiplied by a gamma variable of mean one.
"""

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air.rain_cell import DEFAULT_POPULATION, CellPopulation
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.storm import DEFAULT_STORMS, StormModel
from hopyears.models.basics.calendar import MONTH_STARTS_S
from hopyears.models.basics.intervals import Intervals, merged
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain.peaks import peak_laws
from hopyears.sim.rain.rain_field import Floats, Integers, RainField, Region
from hopyears.sim.rain.storm_draws import StormSource
from hopyears.sim.rain.storm_loops import cell_passages
from hopyears.sim.streams import Streams

__all__ = ["RainField", "Region", "draw_heavier_storms", "draw_storms", "storm_intervals", "storms_near"]

SHIFTS = (0.0, 1.5, 2.5)
"""Shifts of the common score of a storm's peaks, a third of the heavier storms each; 0 bounds the weights."""

_MONTH_LENGTHS_S = np.diff(MONTH_STARTS_S)


def draw_storms(
    streams: Streams,
    law: RainLaw,
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
        Named streams of the block; month i draws from ("storms", i), year j from ("storm-years", j).
    law : RainLaw
        The month's mean rate and probability of rain at the centre of the region, which serves all of it.
    region : Region
        Rectangle that must have the right rain; storms from outside that can drift in are drawn too.
    n_years : int
        Years in the block, at least 1.
    """
    if n_years < 1:
        raise ValueError(f"n_years is {n_years}; must be at least 1")
    source = StormSource(region, population, storms)
    months = peak_laws(law, population, storms)
    parts = []
    for year in range(n_years):
        factor = _year_factor(streams, year, storms)
        for month, peaks in enumerate(months):
            rng = streams.generator("storms", 12 * year + month)
            first_s = year * SECONDS_PER_YEAR + MONTH_STARTS_S[month]
            mean_storms = source.per_s(peaks) * factor * _MONTH_LENGTHS_S[month]
            spell = _spells(rng, mean_storms, first_s, _MONTH_LENGTHS_S[month], storms)
            near, track = source.tracks(rng, len(spell))
            start = spell[near] + rng.uniform(0.0, storms.spell_duration_s, len(near))
            parts.append(source.field_part(rng, peaks, source.drifting(rng, start, track))[0])
    return source.gathered(parts, n_years)


def draw_heavier_storms(
    streams: Streams,
    law: RainLaw,
    region: Region,
    *,
    n_years: int,
    share: float,
    population: CellPopulation = DEFAULT_POPULATION,
    storms: StormModel = DEFAULT_STORMS,
) -> tuple[RainField, Floats]:
    """Draw single storms, heavier than a block's own, each with the weight that makes up for it.

    Whatever a storm does by itself, the sum over these storms of weight times that has the same mean as the
    plain sum over the storms that ``draw_storms`` starts in as many years (Campbell's theorem).

    Parameters
    ----------
    streams : Streams
        Named streams of the block; calendar month i draws from ("heavier-storms", i).
    law, region, population, storms
        As for ``draw_storms``.
    n_years : int
        Years that they stand for, at least 1.
    share : float
        Storms drawn, over the number in so many years, above 0.

    Returns
    -------
    RainField
        The storms, all starting at time 0 (see ``RainField.in_sequence``), month by month.
    float array, shape (n_storms,)
        Weights, above 0, at most ``len(SHIFTS) / share``.

    References
    ----------
    A. B. Owen, Monte Carlo theory, methods and examples (2013), chapter 9: mixtures that hold the plain law.
    """
    if n_years < 1 or not share > 0.0:
        raise ValueError(f"n_years, share are {n_years}, {share}; must be at least 1, above 0")
    source = StormSource(region, population, storms)
    shifts = np.array(SHIFTS)
    parts, weights = [], []
    for month, peaks in enumerate(peak_laws(law, population, storms)):
        rng = streams.generator("heavier-storms", month)
        n = rng.poisson(share * source.per_s(peaks) * _MONTH_LENGTHS_S[month] * n_years)
        near, track = source.tracks(rng, n)
        intensity_score = rng.standard_normal(len(near)) + rng.choice(shifts, len(near))
        part, wet = source.field_part(
            rng, peaks, source.drifting(rng, np.zeros(len(near)), track, intensity_score)
        )
        parts.append(part)
        odds = np.exp(shifts * intensity_score[wet][:, None] - 0.5 * shifts**2).mean(axis=1)
        weights.append(1.0 / (share * odds))
    return source.gathered(parts, n_years), np.concatenate(weights)


def _year_factor(streams: Streams, year: int, storms: StormModel) -> float:
    if storms.yearly_spread == 0.0:
        return 1.0
    shape = storms.yearly_spread**-2
    return float(streams.generator("storm-years", year).gamma(shape, 1.0 / shape))


def _spells(
    rng: np.random.Generator, mean_storms: float, start_s: float, length_s: float, storms: StormModel
) -> Floats:
    """Start of the wet spell of each of a month's storms [s]."""
    mean_spells = storms.spells_per_year * length_s / SECONDS_PER_YEAR
    spells = rng.uniform(start_s, start_s + length_s, rng.poisson(mean_spells))
    return np.repeat(spells, rng.poisson(mean_storms / mean_spells, len(spells)))


def storm_intervals(
    field: RainField, places_km: ArrayLike, *, distance_km: float = 15.0, least_peak_mm_h: float = 5.0
) -> Intervals:
    """When a storm is near each place, one row a place.

    A storm is near while any of its cells of at least ``least_peak_mm_h`` has its centre within
    ``distance_km`` of the place.

    Parameters
    ----------
    field : RainField
    places_km : float array, shape (n_places, 2)
        Places x, y in the local plane [km].
    distance_km, least_peak_mm_h : float
        Above 0.
    """
    places = np.asarray(places_km, dtype=np.float64).reshape(-1, 2)
    times, of = _passages(field, places, distance_km, np.log(least_peak_mm_h))
    return merged(of[0], times[0], times[1], n_rows=len(places))


def storms_near(
    field: RainField, x_km: float, y_km: float, start_s: float, end_s: float, *, distance_km: float = 15.0
) -> Integers:
    """Indices of the storms with a cell's centre within a distance of a place between two times."""
    (enter, leave), (_, cell) = _passages(field, np.array([[x_km, y_km]]), distance_km, -np.inf)
    near = np.maximum(enter, start_s) < np.minimum(leave, end_s)
    return np.unique(field.cell_storm[cell[near]])


def _passages(
    field: RainField, places: Floats, distance_km: float, least_log_peak: float
) -> tuple[Floats, Integers]:
    times, of = cell_passages(field.cells, places, float(distance_km), float(least_log_peak))
    return times, of
