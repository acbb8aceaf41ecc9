"""How many showers and wide shapes a month has: its rain law split between two kinds by their peaks.

A peak M belongs to wide rain with chance g(M), to a shower with chance 1 - g(M). Showers are cells with the
profile of ``rain_cell``; wide shapes are Gaussians of any ellipse. Without overlap both together meet the
month's lognormal law of ITU-R P.837-7 above its median.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hopyears.models.air.rain_cell import (
    MEAN_LIFE_FACTOR,
    CellPopulation,
    area_slopes,
    largest_radius_km,
)
from hopyears.models.air.rain_law import MU_OFFSET, SIGMA
from hopyears.models.air.storm import StormModel

Floats = NDArray[np.float64]

TOP, _STEP = 7.0, 0.02


@dataclass(frozen=True)
class KindDensities:
    """Shapes alive per km^2 and unit of ln M of each kind on a grid of ln M [mm/h], at P0 = 1."""

    log_peak: Floats
    showers: Floats
    wide: Floats


def wide_share(storms: StormModel, log_peak: Floats) -> Floats:
    """Chance g that a peak M belongs to wide rain, given ln M."""
    above = storms.split_power * (np.asarray(log_peak) - np.log(storms.split_peak_mm_h))
    return np.asarray(1.0 / (1.0 + np.exp(above)), dtype=np.float64)


@lru_cache(maxsize=64)
def kind_densities(
    population: CellPopulation, storms: StormModel, mean_rate_mm_h: float, *, lowest: float = -1.0
) -> KindDensities:
    """Showers and wide shapes alive that meet a month's law were it to rain always (P0 = 1), without overlap.

    Parameters
    ----------
    population, storms
        Shapes and sizes; the split by peak.
    mean_rate_mm_h : float
        The month's mean rate r while it rains [mm/h], above 0.
    lowest : float
        Least z = (ln M - mu) / 1.26 of the grid, at most 0: below the median both are 0.

    Notes
    -----
    Showers solve the Volterra equation z phi(z) (1 - g) = sigma a'(0) G(z) + sigma^2 integral of G(z')
    a''(sigma (z' - z)) dz', downwards, cut at 0. Where it was cut their skirts alone make more than their
    part, and wide rain takes what is left: z phi(z) less all that the showers make. Our own.
    """
    grid = np.arange(0.0, TOP + 0.5 * _STEP, _STEP)
    log_peak = np.log(mean_rate_mm_h) - MU_OFFSET + SIGMA * grid
    slope, curve = area_slopes(population.profile, SIGMA * grid)
    whole = grid * np.exp(-0.5 * grid**2) / np.sqrt(2.0 * np.pi)
    part = whole * (1.0 - wide_share(storms, log_peak))
    showers, rest = np.zeros_like(grid), np.zeros_like(grid)
    own = SIGMA * slope[0]
    diagonal = own + 0.5 * SIGMA**2 * _STEP * curve[0]
    for i in range(len(grid) - 1, -1, -1):
        later = SIGMA**2 * _STEP * np.dot(showers[i + 1 :], curve[1 : len(grid) - i])
        showers[i] = max(part[i] - later, 0.0) / diagonal
        rest[i] = max(whole[i] - later - diagonal * showers[i], 0.0)
    size = largest_radius_km(population, log_peak)
    below = np.arange(round(lowest / _STEP), 0) * _STEP
    nothing = np.zeros(len(below))
    return KindDensities(
        np.concatenate([np.log(mean_rate_mm_h) - MU_OFFSET + SIGMA * below, log_peak]),
        np.concatenate([nothing, showers / (SIGMA * MEAN_LIFE_FACTOR * size**2)]),
        np.concatenate(
            [nothing, rest / (SIGMA**2 * 2.0 * np.pi * MEAN_LIFE_FACTOR * storms.wide_radius_km**2)]
        ),
    )
