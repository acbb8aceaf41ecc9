"""The season of multipath: how months share a year's fading, so that the worst month is as P.530 says."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from hopyears.models.air import fade_shape
from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.calendar import MONTH_DAYS, MONTH_STARTS_S
from hopyears.models.basics.sun import TROPIC_DEG
from hopyears.models.basics.units import SECONDS_PER_DAY
from hopyears.sim.multipath.night_pattern import HOURS_PER_NIGHT, PATTERNS, hour_weight_of_day, severity_table
from hopyears.sim.storage.disk_cache import kept_arrays
from hopyears.sim.streams import Streams

_SAMPLE_YEARS: Final = 3000
NIGHT_MODEL_VERSION: Final = 2
"""Raised whenever the law of the nights changes, so that nothing fitted to an older one is used."""

_NIGHTS_PER_YEAR: Final = 365
_LEVELS: Final = 160


@dataclass(frozen=True)
class Season:
    """A fitted season; the fields that ``NightLaw`` has too mean the same there.

    ``ratio`` is the mean worst month over the mean month, and ``activity`` how both spread over levels.
    """

    month_weight: Floats
    damping: float
    scale: float
    ratio: float
    gathering: Floats
    activity: fade_shape.Activity


@dataclass(frozen=True)
class _SampleYears:
    """Many years of unit nights: each month's mean activity, and its histogram over levels."""

    month_mean: Floats
    histogram: Floats
    log_level: Floats


def north_share(latitude_deg: float) -> float:
    """How far a place has the northern season: 1 north of the tropics, 0 south of them, half at the equator.

    Between the tropics, where the sun passes overhead twice, both seasons count, in proportion to the
    latitude (our own), in steps of a twentieth. That fading peaks in summer is common practice.
    """
    share = np.clip(0.5 + latitude_deg / (2.0 * TROPIC_DEG), 0.0, 1.0)
    return float(np.round(20.0 * share) / 20.0)


def month_weights(sharpness: float, north: float) -> Floats:
    """Season, mean 1, shape (12,): exp(sharpness cos(angle)) with its peak in July and another in January.

    ``north`` is the share of the one in July, 0 to 1.
    """
    angle = 2.0 * np.pi * (np.arange(12) - 6.0) / 12.0
    july, january = (np.exp(sharpness * (np.cos(turn) - 1.0)) for turn in (angle, angle + np.pi))
    weight = north * july + (1.0 - north) * january
    return np.asarray(weight / (weight @ (MONTH_DAYS / MONTH_DAYS.sum())))


@lru_cache(maxsize=512)
def fitted_season(terrain: str, ratio: float, north: float) -> Season:
    """Season in which the mean worst month stands at ``ratio`` times the mean month; kept on disk."""
    kept = kept_arrays(
        "season",
        (NIGHT_MODEL_VERSION, repr(PATTERNS[terrain]), ratio, north),
        lambda: _season_arrays(_computed_season(terrain, ratio, north)),
    )
    damping, scale, found = (float(value) for value in kept["numbers"])
    activity = fade_shape.Activity(kept["level"], kept["worst_month"], kept["other_months"])
    return Season(kept["month_weight"], damping, scale, found, kept["gathering"], activity)


def _season_arrays(season: Season) -> dict[str, Floats]:
    return {
        "numbers": np.array([season.damping, season.scale, season.ratio]),
        "month_weight": season.month_weight,
        "gathering": season.gathering,
        "level": season.activity.level,
        "worst_month": season.activity.worst_month,
        "other_months": season.activity.other_months,
    }


def _computed_season(terrain: str, ratio: float, north: float) -> Season:
    sample = _sample_years(terrain)
    sharpness, damping = 0.0, 0.0
    if _worst_over_mean(sample, north, 0.0, 0.0) <= ratio:
        low, high = 0.0, 80.0
        for _ in range(40):
            sharpness = 0.5 * (low + high)
            below = _worst_over_mean(sample, north, sharpness, 0.0) < ratio
            low, high = (sharpness, high) if below else (low, sharpness)
    else:
        low, high = 0.0, 1.0
        for _ in range(40):
            damping = 0.5 * (low + high)
            above = _worst_over_mean(sample, north, 0.0, damping) > ratio
            low, high = (damping, high) if above else (low, damping)
    return _tabulated(sample, month_weights(sharpness, north), damping)


def _strength(sample: _SampleYears, weight: Floats, damping: float) -> tuple[Floats, float]:
    """Factor on each month of each sample year, and the scale that keeps the mean at 1."""
    own = (
        np.power(np.maximum(sample.month_mean, 1e-9), -damping)
        if damping
        else np.ones(sample.month_mean.shape)
    )
    share = MONTH_DAYS / MONTH_DAYS.sum()
    scale = 1.0 / float(((own * sample.month_mean).mean(axis=0) * weight) @ share)
    return np.asarray(own * weight * scale), scale


def _worst_over_mean(sample: _SampleYears, north: float, sharpness: float, damping: float) -> float:
    factor, _ = _strength(sample, month_weights(sharpness, north), damping)
    return float((factor * sample.month_mean).max(axis=1).mean())


def _tabulated(sample: _SampleYears, weight: Floats, damping: float) -> Season:
    factor, scale = _strength(sample, weight, damping)
    strength = factor * sample.month_mean
    worst = strength.argmax(axis=1)
    log_level = np.linspace(-14.0, 9.0, 240)
    in_worst, in_other = np.zeros(len(log_level)), np.zeros(len(log_level))
    for month in range(12):
        bins = np.clip(
            np.round((sample.log_level[None, :] + np.log(factor[:, month, None]) + 14.0) / 23.0 * 239.0),
            0,
            239,
        ).astype(np.int64)
        chosen = worst == month
        share = sample.histogram[:, month]
        in_worst += np.bincount(bins[chosen].ravel(), share[chosen].ravel(), len(log_level))
        in_other += np.bincount(bins[~chosen].ravel(), share[~chosen].ravel(), len(log_level))
    years = len(worst)
    in_worst, in_other = in_worst / years, in_other / (11.0 * years)
    level = np.exp(log_level)
    exact = float(strength.max(axis=1).mean())
    exact_other = float((strength.sum(axis=1) - strength.max(axis=1)).mean() / 11.0)
    in_worst *= exact / (level @ in_worst)
    in_other *= exact_other / (level @ in_other)
    gathering = np.array([(level**2 @ share) / (level @ share) for share in (in_other, in_worst)]) / exact
    return Season(weight, damping, scale, exact, gathering, fade_shape.Activity(level, in_worst, in_other))


@lru_cache(maxsize=8)
def _sample_years(terrain: str) -> _SampleYears:
    """Unit nights of many years, from a stream of their own that no run uses."""
    pattern = PATTERNS[terrain]
    random = Streams(seed=0, block=0).generator("night law", "sample years", terrain)
    night_table = severity_table(pattern.night_sd) / pattern.active_share
    hour_table = severity_table(pattern.hour_sd)
    day_starts = np.arange(_NIGHTS_PER_YEAR) * SECONDS_PER_DAY
    month_of_night = np.searchsorted(MONTH_STARTS_S, day_starts, side="right") - 1
    log_level = np.linspace(-12.0, 8.0, _LEVELS)
    month_mean = np.zeros((_SAMPLE_YEARS, 12))
    histogram = np.zeros((_SAMPLE_YEARS, 12, _LEVELS))
    nights_in_month = np.bincount(month_of_night, minlength=12)
    for first in range(0, _SAMPLE_YEARS, 250):
        active = random.random((250, _NIGHTS_PER_YEAR)) < pattern.active_share
        year, night = np.nonzero(active)
        severity = night_table[random.integers(0, len(night_table), len(year))]
        hours = hour_table[random.integers(0, len(hour_table), (len(year), HOURS_PER_NIGHT))]
        level = severity[:, None] * hours * hour_weight_of_day()
        cell = (year + first) * 12 + month_of_night[night]
        share = 1.0 / (24.0 * nights_in_month[month_of_night[night]])
        np.add.at(month_mean.reshape(-1), cell, level.sum(axis=1) * share)
        bins = np.clip(np.round((np.log(level) + 12.0) / 20.0 * (_LEVELS - 1)), 0, _LEVELS - 1).astype(
            np.int64
        )
        flat = histogram.reshape(-1)
        np.add.at(flat, cell[:, None] * _LEVELS + bins, share[:, None])
    return _SampleYears(month_mean, histogram, log_level)
