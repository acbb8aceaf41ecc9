"""Laws found from the rain field: how much is exceeded how long, and how many cells have which peaks."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air.rain_cell import CellPopulation
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.storm import StormModel
from hopyears.models.basics.arrays import Floats
from hopyears.sim.rain.storm_loops import LONGEST_LIVES

FASTEST = 2.75
"""Drift over its mean that no system exceeds: one in 200 of the gamma law's would."""


@dataclass(frozen=True)
class RawLaw:
    """Long-run law of a hop's raw attenuation, or of rain at a point: values and their exceedance."""

    value: Floats
    probability: Floats

    def exceedance(self, value: ArrayLike) -> Floats:
        """Fraction of time above a value (interpolated in ln p; 0 beyond the largest value seen)."""
        level = np.interp(
            np.asarray(value, dtype=np.float64),
            self.value,
            np.log(self.probability),
            left=np.nan,
            right=-np.inf,
        )
        return np.exp(np.where(np.isnan(level), np.log(self.probability[0]), level))

    def quantile(self, probability: ArrayLike) -> Floats:
        """Value exceeded for a fraction of time; clipped to the range seen."""
        return np.interp(-np.log(probability), -np.log(self.probability), self.value)


@dataclass(frozen=True)
class PeakLaw:
    """Shapes of one kind in a month: how many are alive per km^2 and unit of ln M, on an even grid of ln M
    [mm/h]."""

    log_peak: Floats
    density: Floats

    @property
    def alive_per_km2(self) -> float:
        """Shapes alive per square kilometre."""
        return float(np.trapezoid(self.density, self.log_peak))

    @property
    def cumulative(self) -> Floats:
        """Share of the shapes whose ln M is at most each value of the grid."""
        steps = 0.5 * (self.density[1:] + self.density[:-1]) * np.diff(self.log_peak)
        total = steps.sum()
        summed = np.concatenate([[0.0], np.cumsum(steps)])
        return summed / total if total > 0.0 else np.linspace(0.0, 1.0, len(summed))

    def quantile(self, probability: ArrayLike) -> Floats:
        """ln M not exceeded by this share of the shapes."""
        return np.interp(np.asarray(probability, dtype=np.float64), self.cumulative, self.log_peak)


@dataclass(frozen=True)
class MonthLaw:
    """Rain of one month: showers and wide shapes alive by peak, the month's mean rate [mm/h] and probability
    of rain."""

    showers: PeakLaw
    wide: PeakLaw
    mean_rate_mm_h: float
    rain_probability: float

    @property
    def dry(self) -> bool:
        """Whether no shape ever comes."""
        return self.showers.alive_per_km2 + self.wide.alive_per_km2 == 0.0


@dataclass(frozen=True)
class Gathering:
    """How a month's shapes gather: births of systems per km^2 and second, and means of what each holds."""

    systems_per_km2_s: float
    storms_per_system: float
    wide_per_system: float
    cells_per_storm: float


def gathering(month: MonthLaw, population: CellPopulation, storms: StormModel) -> Gathering:
    """Numbers of systems, storms and cells that make a month's shapes.

    There are as many systems as showers and wide shapes would need if each had its own, of the most storms
    and of the most wide shapes that a month of this amount of rain has; then both are spread over all.
    """
    rain = month.mean_rate_mm_h, month.rain_probability
    cells = storms.cells_per_storm(*rain)
    storm_births = month.showers.alive_per_km2 / population.mean_life_s / cells
    wide_births = month.wide.alive_per_km2 / storms.wide_life_s
    systems = storm_births / storms.storms_per_system + wide_births / storms.wide_per_system
    systems /= storms.gathered_share(*rain)
    if systems == 0.0:
        return Gathering(0.0, 0.0, 0.0, cells)
    return Gathering(systems, storm_births / systems, wide_births / systems, cells)


LocalLaw = list[tuple[float, RainLaw]]
"""Rain laws of the nodes of the map about a place, each with its share of one."""


def blended(parts: list[tuple[float, RawLaw]]) -> RawLaw:
    """The law whose exceedance is the sum of these, each times its share."""
    if len(parts) == 1 and parts[0][0] == 1.0:
        return parts[0][1]
    value = np.unique(np.concatenate([law.value for _, law in parts]))
    chance = np.sum([share * law.exceedance(value) for share, law in parts], axis=0)
    return RawLaw(value[chance > 0.0], chance[chance > 0.0])


def times_factors(law: RawLaw, factors: Floats) -> RawLaw:
    """The law of what has this one times a factor that is each of these for as long."""
    value = np.append(law.value, law.value[-1] * np.linspace(1.0, factors.max(), 6)[1:])
    chance = law.exceedance(value[:, None] / factors).mean(axis=1)
    return RawLaw(value[chance > 0.0], chance[chance > 0.0])


def law_of(value: Floats, chance: Floats) -> RawLaw:
    """Law from weighted samples."""
    order = np.argsort(value)[::-1]
    order = order[chance[order] > 0.0]
    probability = np.cumsum(chance[order])
    return RawLaw(value[order][::-1].copy(), probability[::-1].copy())


def longest_storm_s(population: CellPopulation, storms: StormModel) -> float:
    """Longest time from a storm's start to the end of its last cell [s]."""
    return storms.storm_duration_s + LONGEST_LIVES * population.mean_life_s


def longest_system_s(population: CellPopulation, storms: StormModel) -> float:
    """Longest time from a system's start to the end of its last shape [s]."""
    last = max(longest_storm_s(population, storms), LONGEST_LIVES * storms.wide_life_s)
    return storms.system_duration_s + last


def reach_km(population: CellPopulation, storms: StormModel) -> float:
    """How far from its centre a system rains, but for one shape in a thousand."""
    cell = 3.0 * storms.storm_spread_km + 2.0 * population.largest_km * population.profile.outer_radius
    wide = 3.0 * np.sqrt(storms.wide_ratio) * storms.wide_radius_km
    return float(3.3 * storms.system_spread_km + max(cell, wide))


def farthest_km(population: CellPopulation, storms: StormModel) -> float:
    """How far from a place a system may be born that rains on it."""
    passage_s = storms.system_duration_s + longest_storm_s(population, storms)
    return reach_km(population, storms) + 0.5 * passage_s * FASTEST * storms.mean_drift_km_h / 3600.0
