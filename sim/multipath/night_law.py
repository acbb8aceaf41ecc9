"""When a hop's fades come: the strong and weak nights of a year, and the season that gathers them.

Activity is the product of a month's weight, the severity of the night and that of the hour.
"""

from dataclasses import dataclass
from typing import Final

from hopyears.models.air import fade_shape
from hopyears.models.basics.arrays import Floats
from hopyears.sim.multipath.night_pattern import FIRST_HOUR, PATTERNS
from hopyears.sim.multipath.seasons import fitted_season, north_share

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
    month_weight: Floats
    damping: float
    scale: float
    occurrence_drawn: float
    gathering: Floats
    night_start_s: float
    depth_map: fade_shape.DepthMap


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
    season = fitted_season(terrain, 10.0 ** (steps * _SEASON_STEP_DB / 10.0), north_share(latitude_deg))
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
