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

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.calendar import MONTH_SECONDS, month_edges_s
from hopyears.models.basics.kernel import inlined, kernel
from hopyears.models.basics.units import SECONDS_PER_DAY, SECONDS_PER_YEAR
from hopyears.sim.multipath.night_law import NightLaw
from hopyears.sim.multipath.night_pattern import HOURS_PER_NIGHT, PATTERNS, hour_weight_of_day, severity_table
from hopyears.sim.multipath.still_air import NightWeather, move_out_of_rain
from hopyears.sim.streams import Streams

SLOT_S: Final = 3600.0
"""Length of one slot of constant activity [s]."""


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

    start_s: Floats
    occurrence: Floats
    worst_month: Bools


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
            begin_s = _hour_s(night, night_start_s, hour)
            if begin_s >= span_s:
                i, beyond, begin_s = i if beyond else 0, True, begin_s - span_s
            while i < n and end_s[i] <= begin_s:
                i += 1
            if i < n and start_s[i] < begin_s + SLOT_S:
                wet[hour, night >> 3] |= np.uint8(1 << (night & 7))


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
        ``wet_hours``: no fading then, see ``still_air.move_out_of_rain``.
    """
    where = list(zip(places.latitude_deg, places.longitude_deg, strict=True))
    weather, edges_s = NightWeather(streams, _n_nights(n_years), where), month_edges_s(n_years)
    each = zip(places.names, laws, [None] * len(laws) if wet is None else wet, strict=True)
    return [
        _hop_activity(streams.generator("night hours", name), law, ndtr(weather.at(place)), edges_s, hours)
        for place, (name, law, hours) in enumerate(each)
    ]


def _hop_activity(
    random: np.random.Generator, law: NightLaw, rank: Floats, edges_s: Floats, wet: NDArray[np.uint8] | None
) -> HopActivity:
    pattern = PATTERNS[law.terrain]
    severities, hours = severity_table(pattern.night_sd), severity_table(pattern.hour_sd)
    n_active = np.count_nonzero(rank > 1.0 - pattern.active_share)
    drawn = random.integers(0, len(hours), (n_active, HOURS_PER_NIGHT))
    nights = (rank, pattern.active_share, severities, hours, drawn, hour_weight_of_day())
    rain = np.zeros((0, 0), dtype=np.uint8) if wet is None else wet
    return _weighted(law, *_active_hours(*nights, rain, law.night_start_s, edges_s))


@kernel
def _active_hours(  # type: ignore[no-untyped-def]
    rank, active_share, severities, hours, drawn, weight, wet, night_start_s, edges_s
):
    """Start [s], activity and month of each hour with any, in the order of the block's time; sum by month.

    Hours of the last night that lie beyond the block's end belong to its beginning.
    """
    n_nights, n_hours = len(rank), len(weight)
    level = np.zeros((n_hours, n_nights))
    active = 0
    for night in range(n_nights):
        above = (rank[night] - (1.0 - active_share)) / active_share
        if above > 0.0:
            severity = severities[min(int(above * len(severities)), len(severities) - 1)] / active_share
            for hour in range(n_hours):
                level[hour, night] = severity * hours[drawn[active, hour]] * weight[hour]
            active += 1
    begins = _month_begins(n_nights, n_hours, night_start_s, edges_s)
    if len(wet):
        move_out_of_rain(level, rank, wet, begins)
    return _in_order(level, begins, night_start_s, edges_s[-1])


@kernel
def _month_begins(n_nights, n_hours, night_start_s, edges_s):  # type: ignore[no-untyped-def]
    """First night of each month at each hour, and of what lies beyond the block's end."""
    begins = np.zeros((n_hours, len(edges_s)), np.int64)
    for hour in range(n_hours):
        for month in range(1, len(edges_s)):
            night = begins[hour, month - 1]
            night = max(night, int((edges_s[month] - night_start_s - hour * SLOT_S) / SECONDS_PER_DAY) - 1)
            while night < n_nights and _hour_s(night, night_start_s, hour) < edges_s[month]:
                night += 1
            begins[hour, month] = min(night, n_nights)
    return begins


@inlined
def _hour_s(night, night_start_s, hour):  # type: ignore[no-untyped-def]
    """Start of an hour of a night [s]."""
    return night * SECONDS_PER_DAY + night_start_s + hour * SLOT_S


@kernel
def _in_order(level, begins, night_start_s, end_s):  # type: ignore[no-untyped-def]
    """Columns of all hours with activity, those from the block's end on first and moved to its beginning."""
    (n_hours, n_nights), place = level.shape, 0
    room = np.count_nonzero(level) + 1
    start_s, activity, of_month = np.empty(room), np.empty(room), np.empty(room, np.int64)
    now, of_months = np.zeros(n_hours, np.int64), np.zeros(begins.shape[1] - 1)
    for late in (True, False):
        for night in range(max(n_nights - 2, 0) if late else 0, n_nights):
            for hour in range(n_hours):
                while not late and now[hour] + 1 < len(of_months) and night >= begins[hour, now[hour] + 1]:
                    now[hour] += 1
                time_s = _hour_s(night, night_start_s, hour)
                told = (level[hour, night] > 0.0) & ((time_s >= end_s) == late)
                start_s[place], activity[place] = time_s - (end_s if late else 0.0), level[hour, night]
                of_month[place] = now[hour]
                of_months[now[hour]] += level[hour, night] * told
                place += told  # without branches, which nobody could foresee
    return start_s[:place], activity[:place], of_month[:place], of_months


def _weighted(law: NightLaw, start_s: Floats, level: Floats, month: Ints, of_months: Floats) -> HopActivity:
    """Give each month its weight, damp its own strength, and mark the worst month of each year."""
    n_years = len(of_months) // 12
    own_mean = of_months * SLOT_S / np.tile(MONTH_SECONDS, n_years)
    factor = np.tile(law.month_weight, n_years) * law.scale
    factor = factor * np.power(np.maximum(own_mean, 1e-9), -law.damping)
    worst = np.zeros((n_years, 12), dtype=bool)
    worst[np.arange(n_years), (own_mean * factor).reshape(n_years, 12).argmax(axis=1)] = True
    return HopActivity(start_s, *_of_hours(law.occurrence_drawn * factor, worst.ravel(), level, month))


@kernel
def _of_hours(factor, worst, level, month):  # type: ignore[no-untyped-def]
    """What each hour's month makes of its activity, and whether that is the worst of its year."""
    in_worst = np.empty(len(month), np.bool_)
    for i in range(len(month)):
        level[i] *= factor[month[i]]
        in_worst[i] = worst[month[i]]
    return level, in_worst
