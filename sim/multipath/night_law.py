"""When a hop's fades come: the strong and weak nights of a year, and the season that gathers them.

Activity is the product of a month's weight, the severity of the night and that of the hour. Numbers below are
fitted to the share of the worst month that P.530 gives to its worst hour, day, five and fifteen days.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from hopyears.models.air import fade_shape
from hopyears.models.basics.calendar import MONTH_DAYS, MONTH_STARTS_S
from hopyears.models.basics.units import SECONDS_PER_DAY
from hopyears.sim.storage.disk_cache import kept_arrays
from hopyears.sim.streams import Streams

FIRST_HOUR: Final = 22
"""Local solar hour at which a night starts (common practice: late evening to two hours after sunrise)."""

HOUR_WEIGHT: Final = np.array([0.5, 0.7, 0.85, 1.0, 1.1, 1.2, 1.3, 1.3, 1.15, 0.9])
"""Mean activity in the ten hours from 22 to 08, relative; most between 00 and 08 (shape: common practice)."""
HOUR_WEIGHT.setflags(write=False)

HOURS_PER_NIGHT: Final = len(HOUR_WEIGHT)

_FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class NightPattern:
    """Unevenness of nights and hours in one kind of terrain.

    Parameters
    ----------
    active_share : float
        Share of nights with any fading.
    night_sd, hour_sd : float
        Standard deviation of the logarithm of severity among active nights, and among the hours of a night;
        both lognormal laws end at 2.5 standard deviations.
    """

    active_share: float
    night_sd: float
    hour_sd: float


PATTERNS: Final = {
    "flat": NightPattern(0.564, 0.63, 1.69),
    "hilly": NightPattern(0.308, 0.91, 1.37),
    "mountain": NightPattern(0.152, 0.81, 1.67),
}
"""Fitted to ITU-R P.530 2.3.5 (shorter worst periods), each point of the curve met within about 12 %."""

TROPIC_DEG: Final = 23.44
"""Latitude of the tropics: the tilt of the Earth's axis."""

_CUT: Final = 2.5
_TABLE_SIZE: Final = 1 << 14
_SAMPLE_YEARS: Final = 3000
NIGHT_MODEL_VERSION: Final = 2
"""Raised whenever the law of the nights changes, so that nothing fitted to an older one is used."""

_NIGHTS_PER_YEAR: Final = 365
_LEVELS: Final = 160
_SEASON_STEP_DB: Final = 0.2
"""Seasons are worked out in steps this wide [dB]; the depth map of the other months makes up for the rest."""

_LARGEST_SEASON_DB: Final = 9.8
"""Largest ratio of worst month to mean month that the drawn nights have [dB]. What P.530 asks beyond it (10.8
at most) is left to the depth map of the other months, so that these keep some shallow fades."""


@dataclass(frozen=True)
class NightLaw:
    """How one hop's fades spread over the year, and the depth map that follows.

    Parameters
    ----------
    terrain : str
        Key of ``PATTERNS``.
    occurrence_worst, occurrence_year : float
        p0 of the average worst month and of the average year [fraction].
    month_weight : array, shape (12,)
        Relative mean activity of each month, January first, mean 1.
    damping : float
        0 to 1: power of a month's own strength that is taken off it, where P.530 wants years more even than
        nights drawn at random would be.
    scale : float
        Factor that keeps the year's mean at 1 under damping.
    occurrence_drawn : float
        p0 of the fades as drawn, mean over the year [fraction].
    gathering : array, shape (2,)
        How far fades crowd into few hours, in ordinary months and in the worst: mean square of the occurrence
        its mean, relative to the mean of the worst month.
    night_start_s : float
        Time of day, UTC, at which the night starts [s].
    depth_map : DepthMap
    """

    terrain: str
    occurrence_worst: float
    occurrence_year: float
    month_weight: _FloatArray
    damping: float
    scale: float
    occurrence_drawn: float
    gathering: _FloatArray
    night_start_s: float
    depth_map: fade_shape.DepthMap


@dataclass(frozen=True)
class _Season:
    month_weight: _FloatArray
    damping: float
    scale: float
    ratio: float
    gathering: _FloatArray
    activity: fade_shape.Activity


@dataclass(frozen=True)
class _SampleYears:
    """Many years of unit nights: each month's mean activity, and its histogram over levels."""

    month_mean: _FloatArray
    histogram: _FloatArray
    log_level: _FloatArray


def night_law(
    *,
    occurrence_worst: float,
    annual_reduction_db: float,
    latitude_deg: float,
    longitude_deg: float,
    terrain: str = "flat",
) -> NightLaw:
    """Law of one hop's nights such that P.530's average worst month and average year both hold.

    Parameters
    ----------
    occurrence_worst : float
        p0 of the average worst month [fraction], above 0.
    annual_reduction_db : float
        Delta G [dB], above 0.
    latitude_deg, longitude_deg : float
        Of the middle of the hop; see ``north_share`` for the season.
    terrain : str
        "flat", "hilly" or "mountain".

    Returns
    -------
    NightLaw

    Notes
    -----
    The worst month of a year is the one with most activity. Its mean over years is computed from 3,000 sample
    years that have nothing to do with any run.
    """
    if terrain not in PATTERNS:
        raise ValueError(f"terrain is {terrain!r}; must be one of {', '.join(PATTERNS)}")
    if not occurrence_worst > 0.0:
        raise ValueError(f"occurrence_worst is {occurrence_worst}; must be above 0")
    if not annual_reduction_db > 0.0:
        raise ValueError(f"annual_reduction_db is {annual_reduction_db}; must be above 0")
    occurrence_year = occurrence_worst * 10.0 ** (-annual_reduction_db / 10.0)
    steps = max(1, round(min(annual_reduction_db, _LARGEST_SEASON_DB) / _SEASON_STEP_DB))
    season = _season(terrain, 10.0 ** (steps * _SEASON_STEP_DB / 10.0), north_share(latitude_deg))
    occurrence_drawn = occurrence_worst / season.ratio
    return NightLaw(
        terrain=terrain,
        occurrence_worst=occurrence_worst,
        occurrence_year=occurrence_year,
        month_weight=season.month_weight,
        damping=season.damping,
        scale=season.scale,
        occurrence_drawn=occurrence_drawn,
        gathering=season.gathering,
        night_start_s=float((FIRST_HOUR - longitude_deg / 15.0) % 24.0) * 3600.0,
        depth_map=fade_shape.depth_map(occurrence_worst, occurrence_year, occurrence_drawn, season.activity),
    )


@lru_cache(maxsize=16)
def severity_table(log_sd: float) -> _FloatArray:
    """Equally likely severities of mean 1: a lognormal law cut at 2.5 standard deviations, shape (16384,)."""
    middle = (np.arange(_TABLE_SIZE) + 0.5) / _TABLE_SIZE
    severity = np.exp(log_sd * ndtri(middle * ndtr(_CUT)))
    severity = np.asarray(severity / severity.mean())
    severity.setflags(write=False)
    return severity


def hour_weight_of_day() -> _FloatArray:
    """Mean activity in the hours of a night, relative to the mean over 24 hours; shape (10,)."""
    return np.asarray(HOUR_WEIGHT / HOUR_WEIGHT.sum() * 24.0)


def north_share(latitude_deg: float) -> float:
    """How far a place has the northern season: 1 north of the tropics, 0 south of them, half at the equator.

    Between the tropics, where the sun passes overhead twice, both seasons count, in proportion to the
    latitude (our own), in steps of a twentieth. That fading peaks in summer is common practice.
    """
    share = np.clip(0.5 + latitude_deg / (2.0 * TROPIC_DEG), 0.0, 1.0)
    return float(np.round(20.0 * share) / 20.0)


def month_weights(sharpness: float, north: float) -> _FloatArray:
    """Season, mean 1, shape (12,): exp(sharpness cos(angle)) with its peak in July and another in January.

    ``north`` is the share of the one in July, 0 to 1.
    """
    angle = 2.0 * np.pi * (np.arange(12) - 6.0) / 12.0
    july, january = (np.exp(sharpness * (np.cos(turn) - 1.0)) for turn in (angle, angle + np.pi))
    weight = north * july + (1.0 - north) * january
    return np.asarray(weight / (weight @ (MONTH_DAYS / MONTH_DAYS.sum())))


@lru_cache(maxsize=512)
def _season(terrain: str, ratio: float, north: float) -> _Season:
    """Season in which the mean worst month stands at ``ratio`` times the mean month; kept on disk."""
    kept = kept_arrays(
        "season",
        (NIGHT_MODEL_VERSION, repr(PATTERNS[terrain]), ratio, north),
        lambda: _season_arrays(_fitted_season(terrain, ratio, north)),
    )
    damping, scale, found = (float(value) for value in kept["numbers"])
    activity = fade_shape.Activity(kept["level"], kept["worst_month"], kept["other_months"])
    return _Season(kept["month_weight"], damping, scale, found, kept["gathering"], activity)


def _season_arrays(season: _Season) -> dict[str, _FloatArray]:
    return {
        "numbers": np.array([season.damping, season.scale, season.ratio]),
        "month_weight": season.month_weight,
        "gathering": season.gathering,
        "level": season.activity.level,
        "worst_month": season.activity.worst_month,
        "other_months": season.activity.other_months,
    }


def _fitted_season(terrain: str, ratio: float, north: float) -> _Season:
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


def _strength(sample: _SampleYears, weight: _FloatArray, damping: float) -> tuple[_FloatArray, float]:
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


def _tabulated(sample: _SampleYears, weight: _FloatArray, damping: float) -> _Season:
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
    return _Season(weight, damping, scale, exact, gathering, fade_shape.Activity(level, in_worst, in_other))


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
        severity = night_table[random.integers(0, _TABLE_SIZE, len(year))]
        hours = hour_table[random.integers(0, _TABLE_SIZE, (len(year), HOURS_PER_NIGHT))]
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
