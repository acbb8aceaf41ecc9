"""The texture of rain (``models.air.rain_texture``) on the course of one hop, drawn by place and time.

The angle at every ``TURN_S`` is that of the tile of 1 km in which the hop's middle lies, of tiles that are
shifted at random each time. So hops of one path have the same texture, near ones share it for most of the
time, and it depends on nothing but place, time and the block's key.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air.rain_texture import TURN_S, amplitude
from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.kernel import kernel
from hopyears.sim.streams import keyed_uniform, keyed_word

if TYPE_CHECKING:
    from hopyears.sim.rain.rain_kernel import HopLine


TILE_KM = 1.0
"""Side of the tiles over which the texture is shared [km]."""

_KM_PER_DEG = 111.19
_ROW = 1 << 32


@dataclass(frozen=True)
class Texture:
    """Texture of a block's rain: key of its draws, and the place [degrees] of the plane's origin."""

    key: int
    latitude_deg: float
    longitude_deg: float

    def on(self, hop: "HopLine") -> tuple[np.uint64, float, float, float]:
        """Key, place of the hop's middle [tiles north and east] and largest part of its attenuation."""
        east_km, north_km = 0.5 * (hop.x0_km + hop.x1_km), 0.5 * (hop.y0_km + hop.y1_km)
        latitude_deg = self.latitude_deg + north_km / _KM_PER_DEG
        narrow = np.cos(np.deg2rad(latitude_deg))
        longitude_deg = self.longitude_deg + east_km / (_KM_PER_DEG * narrow)
        # One number of tiles a degree of longitude for each degree of latitude, so that near hops agree.
        tiles = _KM_PER_DEG / TILE_KM * np.cos(np.deg2rad(np.floor(latitude_deg) + 0.5))
        north = (latitude_deg + 90.0) * _KM_PER_DEG / TILE_KM
        return np.uint64(self.key), north, (longitude_deg % 360.0) * tiles, float(amplitude(hop.length_km))

    def factors(self, hop: "HopLine", times_s: ArrayLike) -> Floats:
        """Factor on the attenuation of a hop at given times [s], from 0 on, any shape."""
        times = np.asarray(times_s, dtype=np.float64)
        return np.asarray(factors_at(self.on(hop), times.ravel()).reshape(times.shape), dtype=np.float64)


@kernel
def factors_at(grain, times):  # type: ignore[no-untyped-def]
    """Factors at times [s]; ``grain`` is what ``Texture.on`` gives."""
    factors = np.empty(len(times))
    number, angle, turn = np.int64(-1), 0.0, 0.0
    for i in range(len(times)):
        part = times[i] / TURN_S
        now = np.int64(part)
        if now != number:
            angle, number = _angle(grain, now), now
            turn = (_angle(grain, now + 1) - angle + np.pi) % (2.0 * np.pi) - np.pi
        factors[i] = 1.0 + grain[3] * np.sin(angle + (part - now) * turn)
    return factors


@kernel
def _angle(grain, number):  # type: ignore[no-untyped-def]
    """Angle [rad] at one of the times at which it is drawn."""
    draw = keyed_word(grain[0], number)
    row, column = (np.int64(grain[1] + keyed_uniform(draw, 0)), np.int64(grain[2] + keyed_uniform(draw, 1)))
    return 2.0 * np.pi * keyed_uniform(draw, 2 + row * _ROW + column)


@kernel
def textured_above(grain, times, values, starts, threshold):  # type: ignore[no-untyped-def]
    """Knots with their texture, cut again to windows above a threshold [dB] with a knot before and after.

    ``times``, ``values``, ``starts`` as ``rain_loops.knots_above`` gives them for the threshold over the
    largest factor, so that none is missed; returned likewise.
    """
    values *= factors_at(grain, times)
    kept, cut = np.empty(len(times), np.int64), np.empty(len(times) + 1, np.int64)
    n, n_windows = 0, 0
    for window in range(len(starts) - 1):
        first, last = starts[window], starts[window + 1] - 1
        inside = False
        for i in range(first, last + 1):
            high = values[i] >= threshold
            if high and not inside and (n == 0 or kept[n - 1] < max(i - 1, first)):
                cut[n_windows] = n
                n_windows += 1
                if i > first:
                    kept[n] = i - 1
                    n += 1
            if high or inside:
                kept[n] = i
                n += 1
            inside = high
    cut[n_windows] = n
    return times[kept[:n]], values[kept[:n]], cut[: n_windows + 1].copy()
