"""A rain cell: profile, life, and number per square kilometre.

A cell is a moving peak of rain. Its profile is the sum of two concentric Gaussians, sharp within and wide
without, as radar shows; one Gaussian is the special case of one weight. Over its life it grows and shrinks
by its radius while its peak stays, so the number of cells that meets a month's rain law exactly follows from
an integral equation. What cells do to a hop is in ``path_rain``.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hopyears.models.air.rain_law import SIGMA

Floats = NDArray[np.float64]

MEAN_LIFE_FACTOR = 2.0 / np.pi
"""Mean of rho(u)^2 / rho_max^2 over the life of a cell."""

_GRID_TOP = 9.0
_GRID_STEP = 0.01


@dataclass(frozen=True)
class CellProfile:
    """Shape of a cell: w exp(-r^2 / 2 a^2) + (1 - w) exp(-r^2 / 2 b^2), r in radii of the cell.

    Parameters
    ----------
    inner_weight : float
        Share w of the peak carried by the inner Gaussian, 0 to 1.
    inner_radius, outer_radius : float
        Standard deviations a and b in units of the cell's radius rho, above 0, a not above b.
    """

    inner_weight: float
    inner_radius: float
    outer_radius: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.inner_weight <= 1.0:
            raise ValueError(f"inner_weight is {self.inner_weight}; must be 0 to 1")
        if not 0.0 < self.inner_radius <= self.outer_radius:
            raise ValueError(f"inner_radius is {self.inner_radius}; must be above 0 and at most outer_radius")


GAUSSIAN = CellProfile(inner_weight=0.0, inner_radius=1.0, outer_radius=1.0)
"""One Gaussian of standard deviation rho."""

PEAKED = CellProfile(inner_weight=0.63, inner_radius=0.45, outer_radius=1.8)
"""Falls to 1/e at one radius, as the exponential cell of radar studies (von Hardenberg, Ferraris, Provenzale
2003, Geophys. Res. Lett.; rain scatter of ITU-R P.452), with a wider skirt. Chosen with the cell's size in
experiments/rain_calibration."""


@dataclass(frozen=True)
class CellPopulation:
    """Size and life of the cells of a climate, whatever their number.

    Parameters
    ----------
    profile : CellProfile
        Shape common to all cells.
    size_km, size_exponent : float
        Largest radius in life of a cell of peak rate M [mm/h]: size_km M^-size_exponent, above 0.
    smallest_km, largest_km : float
        Limits of that radius [km].
    mean_life_s, life_shape : float
        Life of a cell: gamma distributed, mean [s] and shape.
    """

    profile: CellProfile = PEAKED
    size_km: float = 4.35
    size_exponent: float = 0.35
    smallest_km: float = 1.05
    largest_km: float = 7.0
    mean_life_s: float = 2880.0
    life_shape: float = 3.0

    def __post_init__(self) -> None:
        for field in ("size_km", "smallest_km", "mean_life_s", "life_shape"):
            if not getattr(self, field) > 0.0:
                raise ValueError(f"{field} is {getattr(self, field)}; must be above 0")
        if self.largest_km < self.smallest_km:
            raise ValueError(f"largest_km is {self.largest_km}; must be at least smallest_km")


DEFAULT_POPULATION = CellPopulation()
"""Calibrated in experiments/rain_calibration."""


def largest_radius_km(population: CellPopulation, log_peak: ArrayLike) -> Floats:
    """Largest radius rho_max in the life of a cell [km] of peak rate M [mm/h], given ln M; any shape."""
    size = population.size_km * np.exp(-population.size_exponent * np.asarray(log_peak, dtype=np.float64))
    return np.clip(size, population.smallest_km, population.largest_km)


def radius_km(largest_km: ArrayLike, phase: ArrayLike) -> Floats:
    """Radius of a cell [km] at a phase 0..1 of its life: rho_max sqrt(sin(pi u)); 0 outside its life."""
    sine = np.sin(np.pi * np.clip(np.asarray(phase, dtype=np.float64), 0.0, 1.0))
    return np.asarray(largest_km, dtype=np.float64) * np.sqrt(np.maximum(sine, 0.0))


def relative_rate(profile: CellProfile, radii: ArrayLike) -> Floats:
    """Rain rate at a distance in units of the cell's radius, relative to the peak; any shape, 0 to 1."""
    square = np.square(np.asarray(radii, dtype=np.float64))
    inner = profile.inner_weight * np.exp(-square / (2.0 * profile.inner_radius**2))
    outer = (1.0 - profile.inner_weight) * np.exp(-square / (2.0 * profile.outer_radius**2))
    return inner + outer


def area_above(profile: CellProfile, log_ratio: ArrayLike) -> Floats:
    """Area where the rate is above r, in units of rho^2, given ln(M / r); 0 where r is above the peak."""
    depth = np.maximum(np.asarray(log_ratio, dtype=np.float64), 0.0)
    return np.pi * _square_radius(profile, depth)


def _square_radius(profile: CellProfile, depth: Floats) -> Floats:
    """Square of the radius at which the profile has fallen by exp(-depth): Newton on a convex function."""
    inner, outer = 0.5 / profile.inner_radius**2, 0.5 / profile.outer_radius**2
    weight = profile.inner_weight
    if weight in (0.0, 1.0):
        return depth / (inner if weight == 1.0 else outer)
    square: Floats = np.maximum(0.0, (depth + np.log(1.0 - weight)) / outer)
    for _ in range(60):
        first, second = weight * np.exp(-inner * square), (1.0 - weight) * np.exp(-outer * square)
        slope = (inner * first + outer * second) / (first + second)
        step = (np.log(first + second) + depth) / slope
        square = np.maximum(square + step, 0.0)
        if np.all(np.abs(step) < 1e-12 * (1.0 + square)):
            break
    return square


def area_slopes(profile: CellProfile, depth: Floats) -> tuple[Floats, Floats]:
    """First and second derivative of the area above r with respect to ln(M / r), in units of rho^2."""
    square = _square_radius(profile, depth)
    inner, outer = 0.5 / profile.inner_radius**2, 0.5 / profile.outer_radius**2
    first = profile.inner_weight * np.exp(-inner * square)
    second = (1.0 - profile.inner_weight) * np.exp(-outer * square)
    total = first + second
    slope = (inner * first + outer * second) / total
    curve = (inner**2 * first + outer**2 * second) / total - slope**2
    return np.pi / slope, np.pi * curve / slope**3


@lru_cache(maxsize=16)
def standard_density(profile: CellProfile) -> tuple[Floats, Floats]:
    """Cells per unit of z = (ln M - mu) / sigma, for P0 = 1 and rho^2 = 1: grid of z and density, read-only.

    The density G solves Q(x) = integral over z > x of G(z) a(sigma (z - x)) dz for x above the level where
    it would turn negative (the median for a Gaussian), a being the area above r; it is 0 below.

    Notes
    -----
    Differentiated twice, this is a Volterra equation of the second kind,
    x phi(x) = sigma a'(0) G(x) + sigma^2 integral of G(z) a''(sigma (z - x)) dz,
    solved downwards from z = 9 by the trapezoidal rule. Our own; for one Gaussian a'' = 0 and z is
    Rayleigh distributed.
    """
    grid = np.arange(0.0, _GRID_TOP + 0.5 * _GRID_STEP, _GRID_STEP)
    slope, curve = area_slopes(profile, SIGMA * grid)
    normal = np.exp(-0.5 * grid**2) / np.sqrt(2.0 * np.pi)
    density = np.zeros_like(grid)
    diagonal = SIGMA * slope[0] + 0.5 * SIGMA**2 * _GRID_STEP * curve[0]
    for i in range(len(grid) - 1, -1, -1):
        later = SIGMA**2 * _GRID_STEP * np.dot(density[i + 1 :], curve[1 : len(grid) - i])
        density[i] = (grid[i] * normal[i] - later) / diagonal
        if density[i] <= 0.0:
            density[i] = 0.0
            break
    grid.setflags(write=False)
    density.setflags(write=False)
    return grid, density
