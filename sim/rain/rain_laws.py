"""Laws found from the rain field: how much is exceeded how long, and how many cells have which peaks."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


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
    """Cells of one month: how many are alive per km^2 and unit of ln M, on an even grid of ln M [mm/h]."""

    log_peak: Floats
    density: Floats

    @property
    def alive_per_km2(self) -> float:
        """Cells alive per square kilometre."""
        return float(np.trapezoid(self.density, self.log_peak))

    @property
    def cumulative(self) -> Floats:
        """Share of the cells whose ln M is at most each value of the grid."""
        steps = 0.5 * (self.density[1:] + self.density[:-1]) * np.diff(self.log_peak)
        total = steps.sum()
        summed = np.concatenate([[0.0], np.cumsum(steps)])
        return summed / total if total > 0.0 else np.linspace(0.0, 1.0, len(summed))

    def quantile(self, probability: ArrayLike) -> Floats:
        """ln M not exceeded by this share of the cells."""
        return np.interp(np.asarray(probability, dtype=np.float64), self.cumulative, self.log_peak)


def law_of(value: Floats, chance: Floats) -> RawLaw:
    """Law from weighted samples."""
    order = np.argsort(-value, kind="stable")
    order = order[chance[order] > 0.0]
    probability = np.cumsum(chance[order])
    return RawLaw(value[order][::-1].copy(), probability[::-1].copy())
