"""Draws the nights of a block for all hops: hours with fading, and how strong.

Hops close by share the severity of a night (Gaussian copula over distance); hours, and the fades themselves,
are each hop's own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from hopyears.models.basics.calendar import MONTH_SECONDS, month_edges_s
from hopyears.models.basics.units import SECONDS_PER_DAY, SECONDS_PER_YEAR
from hopyears.sim.multipath.night_law import NightLaw
from hopyears.sim.multipath.night_pattern import (
    HOURS_PER_NIGHT,
    PATTERNS,
    hour_weight_of_day,
    severity_table,
)
from hopyears.sim.multipath.still_air import NightWeather, RainHours, moved_out_of_rain
from hopyears.sim.streams import Streams

SLOT_S: Final = 3600.0
"""Length of one slot of constant activity [s]."""

_FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class NightPlaces:
    """Where the hops are whose nights are drawn.

    Parameters
    ----------
    names : tuple of str
        Hop names, or one shared name for hops side by side between the same two sites: hops of the same name
        and place have the same nights.
    latitude_deg, longitude_deg : tuple of float
        Middle of each hop.
    """

    names: tuple[str, ...]
    latitude_deg: tuple[float, ...]
    longitude_deg: tuple[float, ...]

    def some(self, numbers: Sequence[int]) -> "NightPlaces":
        """Those of some hops."""
        parts = (self.names, self.latitude_deg, self.longitude_deg)
        return NightPlaces(*(tuple(part[i] for i in numbers) for part in parts))  # type: ignore[arg-type]


@dataclass(frozen=True)
class HopActivity:
    """Hours of a block in which a hop may fade.

    Parameters
    ----------
    start_s : array, shape (n_slots,)
        Start of each hour [s from the start of the block], increasing.
    occurrence : array, shape (n_slots,)
        p0 in that hour (fraction of time below x is 1 - exp(-p0 x)).
    worst_month : bool array, shape (n_slots,)
        Whether the hour lies in the worst month of its year.
    """

    start_s: _FloatArray
    occurrence: _FloatArray
    worst_month: NDArray[np.bool_]


def wet_hours(rain: RainHours, law: NightLaw, n_years: int) -> NDArray[np.uint8]:
    """Whether rain is near a hop in each hour of its nights, packed into bits, for all its histories."""
    return np.packbits(rain.touch(_hours_s(law, n_years) % (n_years * SECONDS_PER_YEAR), SLOT_S))


def _hours_s(law: NightLaw, n_years: int) -> _FloatArray:
    """Start of each hour of the nights of a block [s], shape (n_nights, HOURS_PER_NIGHT), increasing.

    Those of the last night that lie beyond the block's end belong to its beginning.
    """
    evening = np.arange(_n_nights(n_years))[:, None] * SECONDS_PER_DAY + law.night_start_s
    return np.asarray(evening + np.arange(HOURS_PER_NIGHT) * SLOT_S)


def _n_nights(n_years: int) -> int:
    return int(n_years * SECONDS_PER_YEAR // SECONDS_PER_DAY)


def draw_activity(
    streams: Streams,
    places: NightPlaces,
    laws: Sequence[NightLaw],
    n_years: int,
    wet: Sequence[NDArray[np.uint8] | None] | None = None,
) -> list[HopActivity]:
    """Hours with fading of every hop over a block.

    Parameters
    ----------
    streams : Streams
        Uses ("nights", row, column) of tiles of the globe and ("night hours", place).
    places : NightPlaces
    laws : sequence of NightLaw, one per hop
    n_years : int
        Length of the block.
    wet : sequence of uint8 array or None, one per hop, optional
        ``wet_hours``: no fading then, see ``still_air.moved_out_of_rain``.
    """
    weather = NightWeather(streams, _n_nights(n_years))
    return [
        _hop_activity(
            streams.generator("night hours", name), law, ndtr(weather.at(latitude, longitude)), n_years, hours
        )
        for name, latitude, longitude, law, hours in zip(
            places.names,
            places.latitude_deg,
            places.longitude_deg,
            laws,
            [None] * len(laws) if wet is None else wet,
            strict=True,
        )
    ]


def _hop_activity(
    random: np.random.Generator,
    law: NightLaw,
    rank: _FloatArray,
    n_years: int,
    wet: NDArray[np.uint8] | None,
) -> HopActivity:
    pattern = PATTERNS[law.terrain]
    severities, hours = severity_table(pattern.night_sd), severity_table(pattern.hour_sd)
    above = (rank - (1.0 - pattern.active_share)) / pattern.active_share
    nights = np.nonzero(above > 0.0)[0]
    severity = severities[np.minimum((above[nights] * len(severities)).astype(np.int64), len(severities) - 1)]
    hourly = hours[random.integers(0, len(hours), (len(nights), HOURS_PER_NIGHT))]
    level = np.zeros((len(rank), HOURS_PER_NIGHT))
    level[nights] = severity[:, None] / pattern.active_share * hourly * hour_weight_of_day()
    start = _hours_s(law, n_years).ravel()
    first = np.searchsorted(start, month_edges_s(n_years))
    month = np.repeat(np.arange(first.size) % (12 * n_years), np.diff(first, append=start.size))
    if wet is not None:
        rain = np.unpackbits(wet, count=level.size).astype(np.bool_).reshape(level.shape)
        level = moved_out_of_rain(level, stillness=rank, rain=rain, month=month.reshape(level.shape))
    some = np.flatnonzero(level)
    order = np.roll(some, np.count_nonzero(some >= first[-1]))
    start_s = start[order] % (n_years * SECONDS_PER_YEAR)
    return _weighted(law, start_s, level.ravel()[order], month[order], n_years)


def _weighted(
    law: NightLaw, start_s: _FloatArray, level: _FloatArray, month: NDArray[np.int64], n_years: int
) -> HopActivity:
    """Give each month its weight, damp its own strength, and mark the worst month of each year."""
    own_mean = np.bincount(month, level, 12 * n_years) * SLOT_S / np.tile(MONTH_SECONDS, n_years)
    factor = np.tile(law.month_weight, n_years) * law.scale
    factor = factor * np.power(np.maximum(own_mean, 1e-9), -law.damping)
    worst = np.zeros((n_years, 12), dtype=bool)
    worst[np.arange(n_years), (own_mean * factor).reshape(n_years, 12).argmax(axis=1)] = True
    return HopActivity(start_s, (law.occurrence_drawn * factor)[month] * level, worst.ravel()[month])
