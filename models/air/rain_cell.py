"""A rain cell: profile, life, and number per square kilometre.

A cell is a moving peak of rain. Its profile is the sum of two concentric Gaussians, sharp within and wide
without, as radar shows; one Gaussian is the special case of one weight. Over its life it grows and shrinks
by its radius while its peak stays. How many meet a month's rain law is in ``rain_kinds``, what cells do to a
hop in ``path_rain``.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats

MEAN_LIFE_FACTOR = 2.0 / np.pi
"""Mean of rho(u)^2 / rho_max^2 over the life of a cell."""


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
