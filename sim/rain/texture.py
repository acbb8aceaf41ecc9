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
from hopyears.models.basics.kernel import kernel, written_out
from hopyears.sim.rain.shape_loops import sine_over
from hopyears.sim.streams import keyed_uniform, keyed_word

if TYPE_CHECKING:
    from hopyears.sim.rain.rain_kernel import HopLine


TILE_KM = 1.0
"""Side of the tiles over which the texture is shared [km]."""

Grain = tuple[np.uint64, float, float, float]

SMOOTH: Grain = (np.uint64(0), 0.0, 0.0, 0.0)
"""No texture, as the loops take it."""

_KM_PER_DEG = 111.19
_ROW = 1 << 32


@dataclass(frozen=True)
class Texture:
    """Texture of a block's rain: key of its draws, and the place [degrees] of the plane's origin."""

    key: int
    latitude_deg: float
    longitude_deg: float

    def on(self, hop: "HopLine") -> Grain:
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
        factors = np.ones(times.size)
        texture_on(self.on(hop), times.ravel(), factors)
        return factors.reshape(times.shape)


@kernel
def texture_on(grain, times, values):  # type: ignore[no-untyped-def]
    """Multiply values at some times [s] by their factors; ``grain`` is what ``Texture.on`` gives."""
    for i in range(len(times) if grain[3] > 0.0 else 0):
        part = times[i] / TURN_S
        number = np.int64(part)
        angle = _angle(grain, number)
        change = _angle(grain, number + 1) - angle
        values[i] *= _factor(grain, angle + (part - number) * (change - np.floor(change + 0.5)))


@kernel
def factors_along(factors, angles, grain, n, start, step):  # type: ignore[no-untyped-def]
    """The same factors at ``n`` times [s], ``step`` each after the one before; ``angles`` is room.

    Each angle is drawn once, and vector instructions do the rest."""
    if grain[3] <= 0.0:
        factors[:n] = 1.0
        return
    first = np.floor(start / TURN_S)
    for i in range(int(np.floor((start + (n - 1) * step) / TURN_S) - first) + 2):
        angles[i] = _angle(grain, np.int64(first) + i)
    for i in range(n):
        part = (start + i * step) / TURN_S
        now = np.floor(part)
        turn = np.int32(now - first)
        change = angles[turn + 1] - angles[turn]
        factors[i] = angles[turn] + (part - now) * (change - np.floor(change + 0.5))
    for i in range(n):
        factors[i] = _factor(grain, factors[i])


@written_out
def _factor(grain, turn):  # type: ignore[no-untyped-def]
    """Factor at an angle [turns]."""
    turn = turn - np.floor(turn)
    half = 2.0 * turn if turn < 0.5 else 2.0 * turn - 1.0
    q = 4.0 * half * (1.0 - half)
    sine = q * sine_over(q)
    return 1.0 + grain[3] * (sine if turn < 0.5 else -sine)


@kernel
def _angle(grain, number):  # type: ignore[no-untyped-def]
    """Angle [turns] at one of the times at which it is drawn."""
    draw = keyed_word(grain[0], number)
    row, column = (np.int64(grain[1] + keyed_uniform(draw, 0)), np.int64(grain[2] + keyed_uniform(draw, 1)))
    return keyed_uniform(draw, 2 + row * _ROW + column)
