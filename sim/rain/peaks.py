"""Number and peaks of the shapes of each month, so that overlapping shapes together meet the rain law.

Without overlap, the densities of ``models.air.rain_kinds`` meet a month's law exactly. But shapes overlap,
above all within a storm. The factor that makes up for it depends on the month's mean rate and probability of
rain only, and was fitted once from snapshots of the field for a grid of both (``overlap.csv``).
"""

from dataclasses import astuple, dataclass, replace
from functools import cache, lru_cache
from importlib.resources import files

import numpy as np
from scipy.special import ndtr

from hopyears.models.air.rain_cell import DEFAULT_POPULATION, CellPopulation
from hopyears.models.air.rain_kinds import kind_densities
from hopyears.models.air.rain_law import MU_OFFSET, SIGMA, RainLaw
from hopyears.models.air.storm import DEFAULT_STORMS, StormModel, without_drift
from hopyears.models.basics.arrays import Floats
from hopyears.sim.rain.rain_laws import MonthLaw, PeakLaw
from hopyears.sim.rain.scenes import hop_samples, scenes
from hopyears.sim.storage.disk_cache import Key, kept_arrays

RAIN_MODEL_VERSION = 18
"""Raised whenever the rain field changes, so that nothing fitted to an older one is used."""

STANDARD_PEAKS = np.linspace(-1.0, 5.5, 131)
"""Grid of peaks: z = (ln M - mu) / sigma."""

_LEVELS = np.arange(-0.75, 3.8, 0.25)
_KNOT_STEP, _RIDGE, _SMOOTHING = 0.5, 0.003, 0.001
TABLE_PEAKS = np.arange(-1.0, 3.6, _KNOT_STEP)
"""Peaks z at which the table of overlaps has the factor; it is linear between them."""

_ROUNDS = ((3000, 1.0), (4000, 1.0), (8000, 0.7), (12000, 0.5), (12000, 0.35), (12000, 0.25))
"""Snapshots and gain of each round."""


def month_laws(law: RainLaw, population: CellPopulation, storms: StormModel) -> tuple[MonthLaw, ...]:
    """Shapes of the twelve months of a climate that meet its rain law as storms make them overlap.

    From the table of overlaps for the default model, whatever its drift and yearly spread; else fitted from
    snapshots, the same for every run, and kept on disk.
    """
    months = zip(law.mean_rate_mm_h, law.rain_probability, strict=True)
    return tuple(
        month_law(population, _at_rest(storms), float(rate), float(chance)) for rate, chance in months
    )


@lru_cache(maxsize=4096)
def month_law(
    population: CellPopulation, storms: StormModel, mean_rate_mm_h: float, rain_probability: float
) -> MonthLaw:
    """Shapes of one month; see ``month_laws``."""
    model, month = (population, storms), (mean_rate_mm_h, rain_probability)
    law = sparse_law(*model, mean_rate_mm_h=mean_rate_mm_h, rain_probability=rain_probability)
    if rain_probability == 0.0:
        return law
    if model == (DEFAULT_POPULATION, DEFAULT_STORMS):
        return _corrected(law, _on_grid(overlap_table().log_factor(mean_rate_mm_h, rain_probability)))
    key: Key = (RAIN_MODEL_VERSION, *month, repr(astuple(population)), repr(astuple(storms)))
    kept = kept_arrays("cells", key, lambda: {"log_factor": fitted_factor(*model, *month)})
    return _corrected(law, _on_grid(kept["log_factor"]))


def _at_rest(storms: StormModel) -> StormModel:
    """The model with the default's drift and yearly spread, on which overlap does not, or hardly, depend."""
    return replace(without_drift(storms), yearly_spread=None)


@dataclass(frozen=True)
class OverlapTable:
    """Logarithm of the factor on the number of shapes that makes up for overlap, by mean rate, probability
    of rain and peak; made by experiments/rain_calibration/overlap.py."""

    mean_rate_mm_h: Floats
    rain_probability: Floats
    factor: Floats

    def log_factor(self, mean_rate_mm_h: float, rain_probability: float) -> Floats:
        """At ``TABLE_PEAKS``: bilinear in ln r and the root of P0, held at the edges."""
        row, up = _between(np.log(self.mean_rate_mm_h), float(np.log(mean_rate_mm_h)))
        column, along = _between(np.sqrt(self.rain_probability), float(np.sqrt(rain_probability)))
        low, high = (
            (1.0 - along) * self.factor[i, column] + along * self.factor[i, column + 1]
            for i in (row, row + 1)
        )
        return np.asarray((1.0 - up) * low + up * high, dtype=np.float64)


def _between(grid: Floats, value: float) -> tuple[int, float]:
    """Interval of a grid and the share of it below a value, 0 to 1."""
    i = int(np.clip(np.searchsorted(grid, value) - 1, 0, len(grid) - 2))
    return i, float(np.clip((value - grid[i]) / (grid[i + 1] - grid[i]), 0.0, 1.0))


@cache
def overlap_table() -> OverlapTable:
    """The table that comes with the package."""
    text = files("hopyears.sim.rain").joinpath("overlap.csv").read_text(encoding="utf-8")
    rows = np.array([[float(value) for value in line.split(",")] for line in text.splitlines()[1:]])
    rates, chances = np.unique(rows[:, 0]), np.unique(rows[:, 1])
    return OverlapTable(rates, chances, rows[:, 2:].reshape(len(rates), len(chances), -1))


def sparse_law(
    population: CellPopulation, storms: StormModel, *, mean_rate_mm_h: float, rain_probability: float
) -> MonthLaw:
    """Shapes that would meet a month's rain law if they never overlapped (see ``models.air.rain_kinds``)."""
    log_peak = _log_peaks(mean_rate_mm_h)
    kinds = kind_densities(population, storms, float(mean_rate_mm_h), float(rain_probability))
    showers, wide = (
        PeakLaw(
            log_peak, rain_probability * _with_light(np.interp(log_peak, kinds.log_peak, density, right=0.0))
        )
        for density in (kinds.showers, kinds.wide)
    )
    return MonthLaw(showers, wide, float(mean_rate_mm_h), float(rain_probability))


def _with_light(density: Floats) -> Floats:
    """A few shapes weaker than any that the month needs without overlap, for the factor to work on."""
    first = int(np.argmax(density > 0.0)) + 3
    light = density[first] * np.exp((STANDARD_PEAKS[:first] - STANDARD_PEAKS[first]) / 0.2)
    return np.concatenate([light, density[first:]])


def fitted_factor(
    population: CellPopulation,
    storms: StormModel,
    mean_rate_mm_h: float,
    rain_probability: float,
    *,
    rounds: tuple[tuple[int, float], ...] = _ROUNDS,
    first_month: int = 0,
) -> Floats:
    """Logarithm of the factor on a month's shapes, at ``TABLE_PEAKS``, that meets its law with overlap.

    Each round takes one step of Newton's method from what the shapes of each peak are found to do. Every
    round has draws of its own, lest the shapes follow the chance of one sample, and later rounds count for
    less (Robbins and Monro's rule).
    """
    given = {"mean_rate_mm_h": mean_rate_mm_h, "rain_probability": rain_probability}
    sparse = sparse_law(population, storms, **given)
    total = np.zeros(len(TABLE_PEAKS))
    for turn, (per_month, gain) in enumerate(rounds, start=1):
        first = first_month + 12 * turn
        total = total + gain * newton_step(
            population, storms, sparse, rain_probability, total, per_month=per_month, first_month=first
        )
    return total


def newton_step(
    population: CellPopulation,
    storms: StormModel,
    sparse: MonthLaw,
    rain_probability: float,
    log_factor: Floats,
    *,
    per_month: int,
    first_month: int,
) -> Floats:
    """Change of a month's ``log_factor`` that takes out what fresh snapshots are found to exceed too long."""
    law = _corrected(sparse, _on_grid(log_factor))
    snapshots = scenes(
        [law], population, storms, per_month=per_month, first_month=first_month, longest_hop_km=0.0
    )
    rate, weight = hop_samples(snapshots, path_length_km=0.0, k=1.0, alpha=1.0)
    log_median = _log_median(sparse.mean_rate_mm_h)
    level = (np.log(np.maximum(rate, 1e-9)) - log_median) / SIGMA
    peak = (snapshots.known_log_peak - log_median) / SIGMA
    wanted = np.log(rain_probability * ndtr(-_LEVELS))
    return _step(level, peak, weight, wanted, log_factor)


def _step(level: Floats, peak: Floats, weight: Floats, wanted: Floats, total: Floats) -> Floats:
    """Change at ``TABLE_PEAKS`` that takes out what is exceeded too long, by least squares.

    The time above a level belongs to the shapes found there by their shares of the rate, so the mean shares
    of the peaks say how it answers to their numbers. Bends of the factor over the peaks are held small.
    """
    knots = np.clip(peak, TABLE_PEAKS[0], TABLE_PEAKS[-1])
    near = np.maximum(1.0 - np.abs(knots[:, None] - TABLE_PEAKS) / _KNOT_STEP, 0.0)
    above = (level[:, None] > _LEVELS) * weight[:, None]
    found = above.sum(axis=0)
    answers = (above.T @ near) / found[:, None]
    excess = np.log(found) - wanted
    bend = np.diff(np.eye(len(TABLE_PEAKS)), 2, axis=0)
    smooth = _SMOOTHING * bend.T @ bend
    left = answers.T @ answers + smooth + _RIDGE * np.eye(len(TABLE_PEAKS))
    return np.asarray(np.linalg.solve(left, -answers.T @ excess - smooth @ total), dtype=np.float64)


def _on_grid(factor: Floats) -> Floats:
    """Logarithm of the factor at ``TABLE_PEAKS`` on the grid of peaks; held beyond them."""
    return np.interp(STANDARD_PEAKS, TABLE_PEAKS, factor)


def _corrected(law: MonthLaw, log_factor: Floats) -> MonthLaw:
    """Both kinds times the factor."""
    showers, wide = (
        PeakLaw(each.log_peak, each.density * np.exp(log_factor)) for each in (law.showers, law.wide)
    )
    return replace(law, showers=showers, wide=wide)


def _log_median(mean_rate_mm_h: float) -> float:
    return float(np.log(mean_rate_mm_h)) - MU_OFFSET


def _log_peaks(mean_rate_mm_h: float) -> Floats:
    return _log_median(mean_rate_mm_h) + SIGMA * STANDARD_PEAKS
