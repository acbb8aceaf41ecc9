"""Number and peaks of the shapes of each month, so that overlapping shapes together meet the rain law.

Without overlap, the densities of ``models.air.rain_kinds`` meet a month's law exactly. But shapes overlap, above
all within a storm, so those densities are corrected from snapshots of the field.
"""

from dataclasses import astuple
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from hopyears.models.air.rain_cell import CellPopulation
from hopyears.models.air.rain_kinds import kind_densities
from hopyears.models.air.rain_law import MU_OFFSET, SIGMA, RainLaw
from hopyears.models.air.storm import StormModel
from hopyears.sim.rain.rain_laws import MonthLaw, PeakLaw
from hopyears.sim.rain.scenes import hop_samples, scenes
from hopyears.sim.storage.disk_cache import Floats, Key, kept_arrays

RAIN_MODEL_VERSION = 7
"""Raised whenever the rain field changes, so that nothing fitted to an older one is used."""

_Z = np.linspace(-1.0, 5.5, 131)
"""Grid of peaks: z = (ln M - mu) / sigma."""

_LEVEL_EDGES = np.arange(-1.0, 5.3, 0.25)
_PEAK_EDGES = np.arange(-1.0, 5.51, 0.5)
_STAGES = ((10, 3000), (6, 8000))
"""Rounds while far from the law and near it, and the snapshots of each."""
_RELAXATION = 1.5


def month_laws(law: RainLaw, population: CellPopulation, storms: StormModel) -> tuple[MonthLaw, ...]:
    """Shapes of the twelve months of a climate that meet its rain law as storms make them overlap.

    Fitted from snapshots, the same for every run; kept in memory and on disk.
    """
    rates = tuple(float(value) for value in law.mean_rate_mm_h)
    chances = tuple(float(value) for value in law.rain_probability)
    return _month_laws(rates, chances, population, storms)


@lru_cache(maxsize=16)
def _month_laws(
    rates: tuple[float, ...], chances: tuple[float, ...], population: CellPopulation, storms: StormModel
) -> tuple[MonthLaw, ...]:
    key: Key = (RAIN_MODEL_VERSION, rates, chances, repr(astuple(population)), repr(astuple(storms)))

    def compute() -> dict[str, Floats]:
        fitted: dict[tuple[float, float], Floats] = {}
        for month, values in enumerate(zip(rates, chances, strict=True)):
            if values not in fitted:
                law = fitted_law(population, storms, *values, month=month)
                fitted[values] = np.concatenate([law.showers.density, law.wide.density])
        return {str(month): fitted[rates[month], chances[month]] for month in range(12)}

    densities = kept_arrays("cells", key, compute)
    n = len(_Z)
    return tuple(
        MonthLaw(
            PeakLaw(_log_peaks(rates[month]), densities[str(month)][:n]),
            PeakLaw(_log_peaks(rates[month]), densities[str(month)][n:]),
            rates[month],
        )
        for month in range(12)
    )


def sparse_law(population: CellPopulation, storms: StormModel, *, mean_rate_mm_h: float, rain_probability: float) -> MonthLaw:
    """Shapes that would meet a month's rain law if they never overlapped (see ``models.air.rain_kinds``)."""
    log_peak = _log_peaks(mean_rate_mm_h)
    kinds = kind_densities(population, storms, float(mean_rate_mm_h))
    showers, wide = (
        PeakLaw(log_peak, rain_probability * np.interp(log_peak, kinds.log_peak, density, right=0.0))
        for density in (kinds.showers, kinds.wide)
    )
    return MonthLaw(showers, wide, float(mean_rate_mm_h))


def fitted_law(
    population: CellPopulation,
    storms: StormModel,
    mean_rate_mm_h: float,
    rain_probability: float,
    *,
    month: int = 0,
    stages: tuple[tuple[int, int], ...] = _STAGES,
) -> MonthLaw:
    law = sparse_law(population, storms, mean_rate_mm_h=mean_rate_mm_h, rain_probability=rain_probability)
    if rain_probability == 0.0:
        return law
    wanted = rain_probability * (ndtr(-_LEVEL_EDGES[:-1]) - ndtr(-_LEVEL_EDGES[1:]))
    sizes = [per_month for rounds, per_month in stages for _ in range(rounds)]
    summed, kept = np.zeros(len(_Z)), []
    start = law
    for turn, per_month in enumerate(sizes, start=1):
        snapshots = scenes([law], population, storms, per_month=per_month, first_month=12 * turn + month, longest_hop_km=0.0)
        rate, weight = hop_samples(snapshots, path_length_km=0.0, k=1.0, alpha=1.0)
        own = snapshots.known_log_peak
        summed += _change(
            level=(np.log(np.maximum(rate, 1e-9)) - _log_median(mean_rate_mm_h)) / SIGMA,
            peak=(own - _log_median(mean_rate_mm_h)) / SIGMA,
            weight=weight,
            nearness=np.minimum(rate / np.exp(own), 1.0) ** 2,
            wanted=wanted,
        )
        law = _corrected(start, summed)
        kept.append(summed.copy())
    return _corrected(start, np.mean(kept[-stages[-1][0] :], axis=0))


def _corrected(law: MonthLaw, log_factor: Floats) -> MonthLaw:
    showers, wide = (PeakLaw(each.log_peak, each.density * np.exp(log_factor)) for each in (law.showers, law.wide))
    return MonthLaw(showers, wide, law.mean_rate_mm_h)


def _change(*, level: Floats, peak: Floats, weight: Floats, nearness: Floats, wanted: Floats) -> Floats:
    found = np.histogram(level, _LEVEL_EDGES, weights=weight)[0]
    middles = 0.5 * (_LEVEL_EDGES[1:] + _LEVEL_EDGES[:-1])
    ratio = np.interp(level, middles, wanted / np.maximum(found, 1e-3 * wanted))
    blame = weight * nearness
    up = np.histogram(peak, _PEAK_EDGES, weights=blame * ratio)[0]
    down = np.histogram(peak, _PEAK_EDGES, weights=blame)[0]
    factor = np.clip(np.where(down > 0.0, up / np.where(down > 0.0, down, 1.0), 1.0), 0.2, 5.0)
    smooth = _RELAXATION * np.interp(_Z, 0.5 * (_PEAK_EDGES[1:] + _PEAK_EDGES[:-1]), np.log(factor))
    return np.asarray(smooth, dtype=np.float64)


def _log_median(mean_rate_mm_h: float) -> float:
    return float(np.log(mean_rate_mm_h)) - MU_OFFSET


def _log_peaks(mean_rate_mm_h: float) -> Floats:
    return _log_median(mean_rate_mm_h) + SIGMA * _Z
