"""Number and peaks of the cells of each month, so that overlapping cells together meet the rain law.

Without overlap, the density of ``models.air.rain_cell`` meets a month's law exactly. But cells overlap, above
all within a storm, so that density is corrected once per climate from snapshots of the field.
"""

from dataclasses import astuple
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from hopyears.models.air.rain_cell import CellPopulation, cell_density_per_km2
from hopyears.models.air.rain_law import MU_OFFSET, SIGMA, RainLaw
from hopyears.models.air.storm import StormModel
from hopyears.sim.rain.rain_laws import PeakLaw
from hopyears.sim.rain.scenes import hop_samples, scenes
from hopyears.sim.storage.disk_cache import Floats, Key, kept_arrays

RAIN_MODEL_VERSION = 7
"""Raised whenever the rain field changes, so that nothing fitted to an older one is used."""

_Z = np.linspace(-1.0, 5.5, 131)
"""Grid of peaks: z = (ln M - mu) / sigma."""

_LEVEL_EDGES = np.arange(-1.0, 5.3, 0.25)
_PEAK_EDGES = np.arange(-1.0, 5.51, 0.5)
_STAGES = ((10, 2500), (6, 5000))
"""Rounds while far from the law and near it, and the snapshots of each."""
_RELAXATION = 1.7


def peak_laws(law: RainLaw, population: CellPopulation, storms: StormModel) -> tuple[PeakLaw, ...]:
    """Cells of the twelve months of a climate that meet its rain law as storms make them overlap.

    Fitted from snapshots, the same for every run; kept in memory and on disk.
    """
    rates = tuple(float(value) for value in law.mean_rate_mm_h)
    chances = tuple(float(value) for value in law.rain_probability)
    return _peak_laws(rates, chances, population, storms)


@lru_cache(maxsize=16)
def _peak_laws(
    rates: tuple[float, ...], chances: tuple[float, ...], population: CellPopulation, storms: StormModel
) -> tuple[PeakLaw, ...]:
    key: Key = (RAIN_MODEL_VERSION, rates, chances, repr(astuple(population)), repr(astuple(storms)))

    def compute() -> dict[str, Floats]:
        fitted: dict[tuple[float, float], Floats] = {}
        for month, values in enumerate(zip(rates, chances, strict=True)):
            if values not in fitted:
                fitted[values] = fitted_peak_law(population, storms, *values, month=month).density
        return {str(month): fitted[rates[month], chances[month]] for month in range(12)}

    densities = kept_arrays("cells", key, compute)
    return tuple(PeakLaw(_log_peaks(rates[month]), densities[str(month)]) for month in range(12))


def sparse_peak_law(population: CellPopulation, *, mean_rate_mm_h: float, rain_probability: float) -> PeakLaw:
    """Cells that would meet a month's rain law if they never overlapped (see ``models.air.rain_cell``)."""
    log_peak = _log_peaks(mean_rate_mm_h)
    density = cell_density_per_km2(
        population, log_peak, mean_rate_mm_h=mean_rate_mm_h, rain_probability=rain_probability
    )
    return PeakLaw(log_peak, density)


def fitted_peak_law(
    population: CellPopulation,
    storms: StormModel,
    mean_rate_mm_h: float,
    rain_probability: float,
    *,
    month: int = 0,
    stages: tuple[tuple[int, int], ...] = _STAGES,
) -> PeakLaw:
    """Cells of one month that meet its law with overlap, starting from those that would without.

    Each round multiplies the number of cells of a peak by the ratio of the wanted to the found time at the
    rates that such cells make (Richardson and Lucy's step). Every round has draws of its own, lest the cells
    follow the chance of one sample, and the geometric mean of the last stage's rounds is taken.
    """
    peaks = _with_light_cells(
        sparse_peak_law(population, mean_rate_mm_h=mean_rate_mm_h, rain_probability=rain_probability)
    )
    if rain_probability == 0.0:
        return peaks
    wanted = rain_probability * (ndtr(-_LEVEL_EDGES[:-1]) - ndtr(-_LEVEL_EDGES[1:]))
    sizes = [per_month for rounds, per_month in stages for _ in range(rounds)]
    kept = []
    for turn, per_month in enumerate(sizes, start=1):
        snapshots = scenes(
            [peaks],
            population,
            storms,
            per_month=per_month,
            first_month=12 * turn + month,
            longest_hop_km=0.0,
        )
        rate, weight = hop_samples(snapshots, path_length_km=0.0, k=1.0, alpha=1.0)
        own = snapshots.log_peak[snapshots.first[:-1]]
        change = _change(
            level=(np.log(np.maximum(rate, 1e-9)) - _log_median(mean_rate_mm_h)) / SIGMA,
            peak=(own - _log_median(mean_rate_mm_h)) / SIGMA,
            weight=weight,
            nearness=np.minimum(rate / np.exp(own), 1.0) ** 2,
            wanted=wanted,
        )
        peaks = PeakLaw(peaks.log_peak, peaks.density * change)
        kept.append(np.log(np.maximum(peaks.density, 1e-300)))
    return PeakLaw(peaks.log_peak, np.exp(np.mean(kept[-stages[-1][0] :], axis=0)))


def _change(*, level: Floats, peak: Floats, weight: Floats, nearness: Floats, wanted: Floats) -> Floats:
    """Factor on the density of cells over the grid of peaks, from the rates they were found to make.

    A cell answers most for rates near its own peak (``nearness``), which speeds the rounds up and leaves
    their end, a factor of one everywhere, as it is.
    """
    found = np.histogram(level, _LEVEL_EDGES, weights=weight)[0]
    middles = 0.5 * (_LEVEL_EDGES[1:] + _LEVEL_EDGES[:-1])
    ratio = np.interp(level, middles, wanted / np.maximum(found, 1e-3 * wanted))
    blame = weight * nearness
    up = np.histogram(peak, _PEAK_EDGES, weights=blame * ratio)[0]
    down = np.histogram(peak, _PEAK_EDGES, weights=blame)[0]
    factor = np.clip(np.where(down > 0.0, up / np.where(down > 0.0, down, 1.0), 1.0), 0.2, 5.0)
    smooth = _RELAXATION * np.interp(_Z, 0.5 * (_PEAK_EDGES[1:] + _PEAK_EDGES[:-1]), np.log(factor))
    return np.asarray(np.exp(smooth), dtype=np.float64)


def _with_light_cells(peaks: PeakLaw) -> PeakLaw:
    """Add a few cells weaker than any that the sparse law has, for the rounds to work on."""
    density = peaks.density.copy()
    first = int(np.argmax(density > 0.0)) + 3
    density[:first] = density[first] * np.exp((_Z[:first] - _Z[first]) / 0.15)
    return PeakLaw(peaks.log_peak, density)


def _log_median(mean_rate_mm_h: float) -> float:
    return float(np.log(mean_rate_mm_h)) - MU_OFFSET


def _log_peaks(mean_rate_mm_h: float) -> Floats:
    return _log_median(mean_rate_mm_h) + SIGMA * _Z
