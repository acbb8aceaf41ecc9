"""Draws the nights of a block for all hops: how strong each is, and the hours of those that bear fades.

Hops close by share the severity of a night (Gaussian copula over distance); hours, and the fades themselves,
are each hop's own. An hour is looked at only where a fade falls into it: sums of nights and months need none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats
from hopyears.models.basics.calendar import MONTH_SECONDS, month_edges_s
from hopyears.models.basics.frozen import frozen
from hopyears.models.basics.kernel import kernel
from hopyears.models.basics.units import SECONDS_PER_DAY, SECONDS_PER_YEAR
from hopyears.sim.multipath.night_law import NightLaw
from hopyears.sim.multipath.night_loops import SLOT_S, hour_s, nights, placed
from hopyears.sim.multipath.night_pattern import (
    HOURS_PER_NIGHT,
    PATTERNS,
    least_active_number,
    night_hours,
    night_severities,
)
from hopyears.sim.multipath.still_air import NightWeather
from hopyears.sim.streams import Streams


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
    """Nights of a block in which a hop may fade, each of ten hours of constant activity.

    Parameters
    ----------
    night_start_s : float
        Time of day at which nights start [s].
    edges_s : array, shape (n_months + 1,)
        Edges of the block's months [s]. Hours of the last night beyond the block's end belong to its
        beginning.
    severity : array, shape (n_nights,)
        Activity of each night, 0 where the air is not still.
    pattern : uint16 array, shape (n_nights,)
        Which of the nights of ``hours`` each has.
    hours : array, shape (n, HOURS_PER_NIGHT)
        Activity in the hours of nights of severity 1.
    occurrence : array, shape (n_months,)
        p0 of an hour of activity 1 in each month (fraction of time below x is 1 - exp(-p0 x)).
    worst : bool array, shape (n_months,)
        Which months are the worst of their years.
    stillness : array, shape (n_nights,)
        Of nights without activity, the stillest first take what rain drives from others.
    wet : uint8 array, shape (HOURS_PER_NIGHT, n_nights / 8, rounded up), or (0, 0)
        ``wet_hours``: activity moves out of these (``still_air.move_out_of_rain``).
    cumulative : array, shape (n_nights + 1,)
        Sum of the occurrence of all hours of the nights before each.
    """

    night_start_s: float
    edges_s: Floats
    severity: Floats
    pattern: NDArray[np.uint16]
    hours: Floats
    occurrence: Floats
    worst: Bools
    stillness: Floats
    wet: NDArray[np.uint8]
    cumulative: Floats

    @property
    def total(self) -> float:
        """Sum of the occurrence of all hours."""
        return float(self.cumulative[-1])

    def placed(self, place: Floats) -> tuple[Floats, Bools]:
        """Times [s] of places in the sum of the occurrence, and whether the worst month of a year has them.

        Parameters
        ----------
        place : array, shape (n,)
            0 to ``total``, in any order.
        """
        strength = self.cumulative, self.severity, self.pattern, self.hours
        months = self.edges_s, self.occurrence, self.worst
        time_s, worst = placed(place, self.night_start_s, strength, months, (self.stillness, self.wet))
        return time_s, worst


def wet_hours(near: Sequence[tuple[Floats, Floats]], law: NightLaw, n_years: int) -> NDArray[np.uint8]:
    """Whether rain is near a hop in each hour of its nights, packed into bits, for all its histories.

    As ``move_out_of_rain`` takes it. Hours of the last night that lie beyond the block's end belong to its
    beginning.

    Parameters
    ----------
    near : sequence of two arrays
        When rain is near each of some places, here the ends of the hop: its starts and ends [s], disjoint and
        increasing.
    law : NightLaw
    n_years : int
        Length of the block.
    """
    n_nights = _n_nights(n_years)
    wet = np.zeros((HOURS_PER_NIGHT, -(-n_nights // 8)), dtype=np.uint8)
    for start_s, end_s in near:
        _wet_where(wet, n_nights, start_s, end_s, law.night_start_s, n_years * SECONDS_PER_YEAR)
    return wet


@kernel
def _wet_where(wet, n_nights, start_s, end_s, night_start_s, span_s):  # type: ignore[no-untyped-def]
    """Set the bits of the hours that any of these times touches."""
    i, n, beyond = 0, len(start_s), False
    for night in range(n_nights):
        for hour in range(len(wet)):
            begin_s = hour_s(night, night_start_s, hour)
            if begin_s >= span_s:
                i, beyond, begin_s = i if beyond else 0, True, begin_s - span_s
            while i < n and end_s[i] <= begin_s:
                i += 1
            if i < n:  # no branch on whether it touches: that is hard to foresee
                wet[hour, night >> 3] |= np.uint8((start_s[i] < begin_s + SLOT_S) << (night & 7))


def _n_nights(n_years: int) -> int:
    return int(n_years * SECONDS_PER_YEAR // SECONDS_PER_DAY)


def draw_activity(
    streams: Streams,
    places: NightPlaces,
    laws: Sequence[NightLaw],
    n_years: int,
    wet: Sequence[NDArray[np.uint8] | None] | None = None,
) -> list[HopActivity]:
    """Nights of every hop over a block.

    Parameters
    ----------
    streams : Streams
        Uses ("nights", row, column) of tiles of the globe and ("night hours", place).
    places : NightPlaces
    laws : sequence of NightLaw, one per hop
    n_years : int
        Length of the block.
    wet : sequence of uint8 array or None, one per hop, optional
        ``wet_hours``: no fading then, see ``still_air.move_out_of_rain``.
    """
    where = list(zip(places.latitude_deg, places.longitude_deg, strict=True))
    weather, edges_s = NightWeather(streams, _n_nights(n_years), where), frozen(month_edges_s(n_years))
    keys = streams.keys([("night hours", name) for name in places.names])
    dry = frozen(np.zeros((0, 0), dtype=np.uint8))
    each = zip(keys, laws, [None] * len(laws) if wet is None else wet, strict=True)
    return [
        _hop_activity(key, law, weather.at(place), edges_s, dry if rain is None else rain)
        for place, (key, law, rain) in enumerate(each)
    ]


def _hop_activity(
    key: np.uint64, law: NightLaw, number: Floats, edges_s: Floats, wet: NDArray[np.uint8]
) -> HopActivity:
    tables = _tables(law.terrain)
    of_law = law.month_weight, law.scale * law.occurrence_drawn, law.damping, MONTH_SECONDS
    severity, pattern, *rest = nights(number, key, tables, law.night_start_s, edges_s, of_law)
    occurrence, worst, cumulative = rest
    return HopActivity(
        law.night_start_s, edges_s, severity, pattern, tables[2], occurrence, worst, number, wet, cumulative
    )


@lru_cache(maxsize=8)
def _tables(terrain: str) -> tuple[float, Floats, Floats, Floats]:
    """Least active number, severities from it on, hours of nights and their sums."""
    pattern = PATTERNS[terrain]
    hours = night_hours(pattern.hour_sd)
    return least_active_number(pattern), night_severities(pattern), hours, frozen(hours.sum(axis=1))
