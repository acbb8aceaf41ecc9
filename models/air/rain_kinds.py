"""How many showers and wide shapes a month has: its rain law split between two kinds by their peaks.

A peak M belongs to wide rain with chance g(M), to a shower with chance 1 - g(M). Showers are cells with the
profile of ``rain_cell``; wide shapes are Gaussians of any ellipse. Without overlap both together meet the
month's lognormal law of ITU-R P.837-7 above its median.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air.rain_cell import (
    MEAN_LIFE_FACTOR,
    CellPopulation,
    CellProfile,
    area_slopes,
    largest_radius_km,
)
from hopyears.models.air.rain_law import MU_OFFSET, SIGMA
from hopyears.models.air.storm import StormModel
from hopyears.models.basics.arrays import Floats

_STEP = 0.02
_GRID = np.arange(0.0, 7.0 + 0.5 * _STEP, _STEP)
_LOG_RATES = np.linspace(np.log(0.01), np.log(300.0), 207)


@dataclass(frozen=True)
class KindDensities:
    """Shapes alive per km^2 and unit of ln M of each kind on a grid of ln M [mm/h], at P0 = 1."""

    log_peak: Floats
    showers: Floats
    wide: Floats


def wide_share(split_peak_mm_h: ArrayLike, split_power: float, log_peak: Floats) -> Floats:
    """Chance g = 1 / (1 + (M / split_peak)^split_power) that a peak M belongs to wide rain, given ln M."""
    above = split_power * (np.asarray(log_peak) - np.log(split_peak_mm_h))
    return np.asarray(1.0 / (1.0 + np.exp(above)), dtype=np.float64)


def kind_densities(
    population: CellPopulation,
    storms: StormModel,
    mean_rate_mm_h: float,
    rain_probability: float,
    *,
    lowest: float = -1.0,
) -> KindDensities:
    """Showers and wide shapes alive that meet a month's law, over its P0, without overlap.

    Parameters
    ----------
    population, storms
        Shapes and sizes; the split by peak.
    mean_rate_mm_h : float
        The month's mean rate r while it rains [mm/h], 0.01 to 300.
    rain_probability : float
        Its P0, 0 to 1, which decides with r how its rain is split (``StormModel.cool_share``).
    lowest : float
        Least z = (ln M - mu) / 1.26 of the grid, at most 0: below the median both are 0.

    Raises
    ------
    ValueError
        If the mean rate is out of range.

    Notes
    -----
    Showers solve the Volterra equation z phi(z) (1 - g) = sigma a'(0) G(z) + sigma^2 integral of G(z')
    a''(sigma (z' - z)) dz', downwards, cut at 0. Where it was cut their skirts alone make more than their
    part, and wide rain takes what is left: z phi(z) less all that the showers make. Our own.
    """
    log_rate = np.log(mean_rate_mm_h)
    if not _LOG_RATES[0] <= log_rate <= _LOG_RATES[-1]:
        raise ValueError(f"mean_rate_mm_h is {mean_rate_mm_h}; must be 0.01 to 300")
    cool = storms.cool_share(mean_rate_mm_h, rain_probability)
    place = (log_rate - _LOG_RATES[0]) / (_LOG_RATES[1] - _LOG_RATES[0])
    low = min(int(place), len(_LOG_RATES) - 2)
    showers, rest = (
        np.array([1.0 - cool, cool]) @ (each[:, low] + (place - low) * (each[:, low + 1] - each[:, low]))
        for each in _solutions(population.profile, storms)
    )
    log_peak = log_rate - MU_OFFSET + SIGMA * _GRID
    size = largest_radius_km(population, log_peak)
    below = np.arange(round(lowest / _STEP), 0) * _STEP
    nothing = np.zeros(len(below))
    return KindDensities(
        np.concatenate([log_rate - MU_OFFSET + SIGMA * below, log_peak]),
        np.concatenate([nothing, showers / (SIGMA * MEAN_LIFE_FACTOR * size**2)]),
        np.concatenate(
            [nothing, rest / (SIGMA**2 * 2.0 * np.pi * MEAN_LIFE_FACTOR * storms.wide_radius_km**2)]
        ),
    )


@lru_cache(maxsize=16)
def _solutions(profile: CellProfile, storms: StormModel) -> tuple[Floats, Floats]:
    """Showers and what is left to wide rain, split by the common peak and by that of the rate (first axis),
    for every mean rate of ``_LOG_RATES``, on ``_GRID``, rho = 1."""
    slope, curve = area_slopes(profile, SIGMA * _GRID)
    whole = _GRID * np.exp(-0.5 * _GRID**2) / np.sqrt(2.0 * np.pi)
    log_peak = _LOG_RATES[:, None] - MU_OFFSET + SIGMA * _GRID
    by_rate = storms.split_peak_of(np.exp(_LOG_RATES))
    split_peak_mm_h = np.stack([np.full_like(by_rate, storms.split_peak_mm_h), by_rate])[..., None]
    part = whole * (1.0 - wide_share(split_peak_mm_h, storms.split_power, log_peak))
    showers, rest = np.zeros_like(part), np.zeros_like(part)
    diagonal = SIGMA * slope[0] + 0.5 * SIGMA**2 * _STEP * curve[0]
    for i in range(len(_GRID) - 1, -1, -1):
        later = SIGMA**2 * _STEP * (showers[..., i + 1 :] @ curve[1 : len(_GRID) - i])
        showers[..., i] = np.maximum(part[..., i] - later, 0.0) / diagonal
        rest[..., i] = np.maximum(whole[i] - later - diagonal * showers[..., i], 0.0)
    return showers, rest
