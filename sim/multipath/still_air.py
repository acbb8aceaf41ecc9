"""Where the air is still: how strong nights are over the globe, and the hours that rain takes from them."""

from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import chain
from typing import Any, Final

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.kernel import inlined, kernel
from hopyears.sim.streams import Streams

NIGHT_SCALE_KM: Final = 20.0
"""Latent severities of a night correlate as exp(-(d/20 km)^2) between places d apart. Chosen so that hops of
a chain, 30 to 50 km from middle to middle, have nights of their own, as ITU-R P.530 2.3.7 asks of fades
deeper than 20 dB, and hops side by side the same nights (common practice)."""

TILE_DEG: Final = 0.125
"""Side of a tile of the globe [degrees of latitude]: 14 km, small beside ``NIGHT_SCALE_KM``."""

_KM_PER_DEG: Final = 111.19
_REACH_KM: Final = 2.5 * NIGHT_SCALE_KM
"""Beyond this a tile has no weight (exp(-12.5) of the nearest)."""

RAIN_NEAR_KM: Final = 30.0
"""Rain this near an end of a hop leaves no still, clear air there: with it 0.3 % (temperate) to 2 % (a coast
where it rains a fifth of the time) of the activity of nights meets rain on the hop itself."""

MOST_NIGHTS: Final = 64
"""Room for the nights of a month."""

LEAST_RAIN_MM_H: Final = 0.5
"""Peak from which a shower or wide shape counts as such rain."""


class NightWeather:
    """A standard normal number for each night of a block at some places of the globe.

    Each tile of the globe has a stream of its own, and a place the weighted sum of the tiles about it, so
    that a hop more or less moves nothing and the cost grows with the hops. The sum is normal with variance 1
    whatever the weights.

    Parameters
    ----------
    streams : Streams
        Uses ("nights", row, column) of each tile.
    n_nights : int
    places : sequence of (latitude, longitude) [degrees]
    """

    def __init__(self, streams: Streams, n_nights: int, places: Sequence[tuple[float, float]]) -> None:
        self._weights = [tile_weights(*place) for place in places]
        self._rows = {tile: row for row, tile in enumerate(dict.fromkeys(chain(*self._weights)))}
        self._tiles = np.empty((len(self._rows), n_nights))
        for tile, row in self._rows.items():
            streams.generator("nights", *tile).standard_normal(out=self._tiles[row])

    def at(self, place: int) -> Floats:
        """The numbers at one of the places, shape (n_nights,)."""
        weights = self._weights[place]
        rows = np.array([self._rows[tile] for tile in weights])
        return np.asarray(_weighted(self._tiles, rows, np.array(list(weights.values()))))


@kernel
def _weighted(tiles, rows, weights):  # type: ignore[no-untyped-def]
    """Weighted sum of some rows, scaled so that its variance is that of each."""
    total, square = np.zeros(tiles.shape[1]), 0.0
    for row, weight in zip(rows, weights):  # noqa: B905  loops know no strict zip
        square += weight * weight
        for night in range(len(total)):
            total[night] += weight * tiles[row, night]
    return total / np.sqrt(square)


@lru_cache(maxsize=1 << 14)
def tile_weights(latitude_deg: float, longitude_deg: float) -> Mapping[tuple[int, int], float]:
    """Weights of the tiles about a place, by row (from the equator) and column (from Greenwich).

    Weights fall as exp(-2 (d/20 km)^2) with the distance of a tile's centre: two places d apart then share
    exp(-(d/20 km)^2) of their sums. Rows are cut into as many equal columns as make tiles about square.
    """
    reach_rows = int(_REACH_KM / _KM_PER_DEG / TILE_DEG) + 1
    middle_row = int(np.floor(latitude_deg / TILE_DEG))
    weights: dict[tuple[int, int], float] = {}
    for row in range(middle_row - reach_rows, middle_row + reach_rows + 1):
        row_latitude_deg = (row + 0.5) * TILE_DEG
        if abs(row_latitude_deg) >= 90.0:
            continue
        km_per_deg = _KM_PER_DEG * np.cos(np.radians(row_latitude_deg))
        n_columns = max(round(360.0 * km_per_deg / (_KM_PER_DEG * TILE_DEG)), 1)
        north_km = (row_latitude_deg - latitude_deg) * _KM_PER_DEG
        place = longitude_deg / 360.0 * n_columns
        reach = min(int(_REACH_KM / (360.0 / n_columns * km_per_deg)) + 1, n_columns // 2)
        for column in range(int(np.floor(place)) - reach, int(np.floor(place)) + reach + 1):
            east_km = (column + 0.5 - place) * 360.0 / n_columns * km_per_deg
            distance_km = np.hypot(north_km, east_km)
            if distance_km < _REACH_KM:
                weights[row, column % n_columns] = float(np.exp(-2.0 * (distance_km / NIGHT_SCALE_KM) ** 2))
    return weights


@kernel
def sort_stillest(stillness, stillest):  # type: ignore[no-untyped-def]
    """Numbers of nights, the stillest first, into ``stillest``; counted, since that takes no branches."""
    for i in range(len(stillness)):
        place = 0
        for k in range(i):
            place += stillness[k] >= stillness[i]
        for k in range(i + 1, len(stillness)):
            place += stillness[k] > stillness[i]
        stillest[place] = i


@kernel
def rain_of(row, first, last):  # type: ignore[no-untyped-def]
    """Bits from ``first`` to ``last`` of a packed row as one number, the first lowest."""
    word = np.uint64(0)
    for byte in range(first >> 3, (last + 7) >> 3):
        word |= np.uint64(row[byte]) << np.uint64(8 * (byte - (first >> 3)))
    return (word >> np.uint64(first & 7)) & ((np.uint64(1) << np.uint64(last - first)) - np.uint64(1))


@inlined
def _has(word, number):  # type: ignore[no-untyped-def]
    return np.int64((word >> np.uint64(number)) & np.uint64(1))


@kernel
def move_out_of_rain(level: Any, rain: Any, room: Any, goes: Any) -> None:
    """Empty nights of rain of activity as far as dry nights can take it, at one hour of the clock in a month.

    Parameters
    ----------
    level : array, shape (n_nights,)
        Activity, at least 0; no month has more than 56 nights.
    rain : uint64
        Which nights have rain then (``rain_of``).
    room : int64 array, shape (3, MOST_NIGHTS)
        First the numbers of the nights, the stillest first (``sort_stillest``): of nights without activity
        these take it first. Then room for those in rain and in the dry.
    goes : int array, shape (n_nights,)
        Filled with the night that the activity of each goes to.

    Notes
    -----
    Multipath needs still, clear air, so none is left where rain is near (common practice). In each month, and
    at each hour of the clock, the strongest activity in rain changes places with the weakest in the dry, as
    long as that is weaker. So every month keeps its activities, each at its hour of the clock: the laws of
    P.530 over the month and the year hold to the letter. Where it rains near the hop on most nights, the
    weakest activity stays in the rain.
    """
    stillest, wet, dry, active = room[0], room[1], room[2], np.uint64(0)
    for i in range(len(level)):
        goes[i] = i
        active |= np.uint64(level[i] > 0.0) << np.uint64(i)
    n_wet, n_dry, place = 0, 0, 0
    for i in range(len(level)):  # without branches, which nobody could foresee
        wet[n_wet] = i
        n_wet += _has(active & rain, i)
    for number in range(1, n_wet):
        i, k = wet[number], number
        while k > 0 and level[wet[k - 1]] < level[i]:
            wet[k] = wet[k - 1]
            k -= 1
        wet[k] = i
    while n_dry < n_wet and place < len(level):  # without activity, and only as many as may be swapped
        dry[n_dry] = stillest[place]
        n_dry += 1 - _has(active | rain, stillest[place])
        place += 1
    n_idle = n_dry
    for place in range(len(level) if n_dry < n_wet else 0):  # then the weakest
        i = stillest[place]
        if not _has(active & ~rain, i):
            continue
        k = n_dry
        while k > n_idle and level[dry[k - 1]] > level[i]:
            if k < n_wet:
                dry[k] = dry[k - 1]
            k -= 1
        if k < n_wet:
            dry[k] = i
            n_dry = min(n_dry + 1, n_wet)
    for k in range(n_dry):
        strong, weak = wet[k], dry[k]
        if level[strong] <= level[weak]:
            return
        goes[strong], goes[weak] = weak, strong
