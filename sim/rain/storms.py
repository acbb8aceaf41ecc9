"""Storms of rain cells over a network, drawn month by month for one block of years.

Storms arrive as a Poisson process in space and time, drift with their own wind and bear cells whose peaks are
alike (a Cox cluster process). The number of cells follows each month's rain law; each year's number of
storms is multiplied by a gamma variable of mean one.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from models.calendar import MONTH_STARTS_S
from models.intervals import Intervals, merged
from models.rain_cell import DEFAULT_POPULATION, CellPopulation
from models.rain_law import RainLaw
from models.storm import DEFAULT_STORMS, StormModel
from models.units import SECONDS_PER_YEAR
from sim.rain.peaks import peak_laws
from sim.rain.rain_field import Floats, Integers, RainField, Region
from sim.rain.rain_laws import PeakLaw
from sim.rain.storm_loops import LONGEST_LIVES, SCORES, cell_passages, cells_near
from sim.streams import Streams

__all__ = ["RainField", "Region", "draw_storms", "storm_intervals", "storms_near"]


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
    months = peak_laws(law, population, storms)
    parts = []
    for year in range(n_years):
        factor = _year_factor(streams, year, storms)
        for month in range(12):
            index = 12 * year + month
            rng = streams.generator("storms", index)
            start = year * SECONDS_PER_YEAR + MONTH_STARTS_S[month]
            length = MONTH_STARTS_S[month + 1] - MONTH_STARTS_S[month]
            parts.append(_draw_month(rng, months[month], factor, (start, length), region, population, storms))
    return _gathered(parts, population, n_years)


def _year_factor(streams: Streams, year: int, storms: StormModel) -> float:
    if storms.yearly_spread == 0.0:
        return 1.0
    shape = storms.yearly_spread**-2
    return float(streams.generator("storm-years", year).gamma(shape, 1.0 / shape))


def _draw_month(
    rng: np.random.Generator,
    law: PeakLaw,
    factor: float,
    window: tuple[float, float],
    region: Region,
    population: CellPopulation,
    storms: StormModel,
) -> dict[str, Any]:
    """Storms that start in one month and may touch the region, and their cells, storm by storm."""
    start_s, length_s = window
    storms_per_km2_s = law.alive_per_km2 * factor / population.mean_life_s / storms.cells_per_storm
    longest_s = storms.duration_s + 4.0 * population.mean_life_s
    reach = 3.0 * storms.spread_km + 2.0 * population.largest_km * population.profile.outer_radius
    # A storm's place is drawn where it stands half-way through; the fastest one in 10,000 sets the margin.
    margin = reach + 0.5 * longest_s * _fast_drift_km_s(storms)
    width = region.east_km - region.west_km + 2.0 * margin
    height = region.north_km - region.south_km + 2.0 * margin
    mean_storms = storms_per_km2_s * width * height * length_s
    spell = _spells(rng, mean_storms, start_s, length_s, storms)
    x = rng.uniform(region.west_km - margin, region.east_km + margin, len(spell))
    y = rng.uniform(region.south_km - margin, region.north_km + margin, len(spell))
    speed = rng.gamma(storms.drift_shape, storms.mean_drift_km_h / storms.drift_shape, len(spell)) / 3600.0
    # Most storms are too slow to come near whatever their heading: they need no more draws.
    away = reach + 0.5 * longest_s * speed
    near = (x > region.west_km - away) & (x < region.east_km + away)
    near &= (y > region.south_km - away) & (y < region.north_km + away)
    spell, x, y, speed = spell[near], x[near], y[near], speed[near]
    n_storms = len(spell)
    start = spell + rng.uniform(0.0, storms.spell_duration_s, n_storms)
    heading = np.deg2rad(storms.drift_towards_deg + storms.drift_spread_deg * rng.standard_normal(n_storms))
    mood = rng.standard_normal(n_storms)
    vx, vy = speed * np.sin(heading), speed * np.cos(heading)
    x -= vx * 0.5 * longest_s
    y -= vy * 0.5 * longest_s
    storm = {"start": start, "x": x, "y": y, "vx": vx, "vy": vy, "mood": mood}
    first, last = _bearing_time(storm, region, reach, population, storms)
    reaching = np.flatnonzero(last > first)
    reaching = reaching[np.argsort(start[reaching], kind="stable")]
    storm = {name: value[reaching] for name, value in (storm | {"first": first, "last": last}).items()}
    return _draw_cells(rng, law, storm, region, population, storms)


def _spells(
    rng: np.random.Generator, mean_storms: float, start_s: float, length_s: float, storms: StormModel
) -> Floats:
    """Start of the wet spell of each of a month's storms [s]."""
    mean_spells = storms.spells_per_year * length_s / SECONDS_PER_YEAR
    spells = rng.uniform(start_s, start_s + length_s, rng.poisson(mean_spells))
    return np.repeat(spells, rng.poisson(mean_storms / mean_spells, len(spells)))


def _draw_cells(
    rng: np.random.Generator,
    law: PeakLaw,
    storm: dict[str, Floats],
    region: Region,
    population: CellPopulation,
    storms: StormModel,
) -> dict[str, Any]:
    """Cells of these storms that may rain on the region."""
    # Cells born while their storm is far away are not drawn at all: a Poisson number in the rest.
    n_drawn = rng.poisson(storms.cells_per_storm * (storm["last"] - storm["first"]) / storms.duration_s)
    cells, n_cells, ends, far = cells_near(
        rng,
        n_drawn,
        tuple(storm[name] for name in ("start", "x", "y", "vx", "vy", "mood", "first", "last")),
        np.array([region.west_km, region.south_km, region.east_km, region.north_km]),
        law.quantile(ndtr(SCORES)),
        np.array([storms.spread_km, storms.spread_shape, storms.peak_correlation]),
        np.array([population.mean_life_s, population.life_shape, population.profile.outer_radius]),
        np.array(
            [population.size_km, population.size_exponent, population.smallest_km, population.largest_km]
        ),
    )
    wet = n_cells > 0
    return {
        "cells": cells,
        "storm_start_s": storm["start"][wet],
        "storm_end_s": ends[wet],
        "storm_x_km": storm["x"][wet],
        "storm_y_km": storm["y"][wet],
        "storm_vx_km_s": storm["vx"][wet],
        "storm_vy_km_s": storm["vy"][wet],
        "storm_reach_km": far[wet],
        "n_cells": n_cells[wet],
    }


def _fast_drift_km_s(storms: StormModel) -> float:
    """Drift that about one storm in 10,000 exceeds (normal tail on the cube root, Wilson and Hilferty)."""
    shape = storms.drift_shape
    ratio = (1.0 - 1.0 / (9.0 * shape) + 3.7 / np.sqrt(9.0 * shape)) ** 3
    return float(storms.mean_drift_km_h / 3600.0 * ratio)


def _bearing_time(
    storm: dict[str, Floats], region: Region, reach_km: float, population: CellPopulation, storms: StormModel
) -> tuple[Floats, Floats]:
    """First and last time after a storm's start [s] when cells born at its centre may reach the region."""
    travel_s = LONGEST_LIVES * population.mean_life_s
    first, last = np.zeros(len(storm["x"])), np.full(len(storm["x"]), storms.duration_s)
    for place, speed, low, high in (
        (storm["x"], storm["vx"], region.west_km, region.east_km),
        (storm["y"], storm["vy"], region.south_km, region.north_km),
    ):
        # A cell covers place + speed t, t from its birth to the longest life after it.
        rate = np.where(np.abs(speed) > 1e-9, speed, 1e-9)
        far, near = (low - reach_km - place) / rate, (high + reach_km - place) / rate
        first = np.maximum(first, np.minimum(far, near) - travel_s)
        last = np.minimum(last, np.maximum(far, near))
    return first, last


def _gathered(parts: list[dict[str, Any]], population: CellPopulation, n_years: int) -> RainField:
    joined = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    edges = np.concatenate([[0], np.cumsum(joined.pop("n_cells"))]).astype(np.int64)
    return RainField(**joined, storm_first_cell=edges, population=population, n_years=n_years)


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
