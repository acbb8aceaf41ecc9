"""Rain attenuation of a hop over a whole block, from all shapes that reach it, in closed form.

Rates of shapes add along the hop (``models.air.path_rain``), and the sum has its texture (``texture``). The
course is worked out about every ten seconds, and only where a bound says that it may pass the lowest
threshold of interest.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air.path_rain import Chords, ellipse_chord, hop_attenuation_db, hop_numbers
from hopyears.models.air.rain_cell import GAUSSIAN, radius_km
from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain.rain_field import RainField
from hopyears.sim.rain.rain_loops import COARSE_STEP_S, knots_above
from hopyears.sim.rain.texture import SMOOTH


@dataclass(frozen=True)
class HopLine:
    """A hop in the local plane: ends [km] and specific attenuation k R^alpha [dB/km] of its carrier."""

    x0_km: float
    y0_km: float
    x1_km: float
    y1_km: float
    k: float
    alpha: float

    @property
    def length_km(self) -> float:
        """Length of the hop [km]."""
        return float(np.hypot(self.x1_km - self.x0_km, self.y1_km - self.y0_km))


@dataclass(frozen=True)
class RainKnots:
    """Attenuation of one hop, piecewise linear inside windows, arrays read-only.

    Window i holds knots ``window_start[i] : window_start[i + 1]``; its first and last knots lie below the
    threshold asked for (unless the block begins or ends there), and so does everything outside windows.
    ``attenuation_db`` is raw: as the cells give it, before any anchoring.
    """

    time_s: Floats
    attenuation_db: Floats
    window_start: Ints

    def __post_init__(self) -> None:
        for array in (self.time_s, self.attenuation_db, self.window_start):
            array.setflags(write=False)

    @property
    def n_windows(self) -> int:
        """Number of windows."""
        return len(self.window_start) - 1


def rain_knots(
    field: RainField, hop: HopLine, *, lowest_threshold_db: float, step_s: float = 10.0
) -> RainKnots:
    """Windows in which the raw rain attenuation of a hop passes a threshold, and its course within them.

    Parameters
    ----------
    field : RainField
        The rain of the block, of a region that holds the hop.
    hop : HopLine
        Ends and specific attenuation.
    lowest_threshold_db : float
        Lowest attenuation of interest [dB], raw, above 0.
    step_s : float
        Largest distance of knots within a window [s], above 0, at most 60.

    Raises
    ------
    ValueError
        If the threshold or the step is out of range, or the hop has no length.
    """
    if not lowest_threshold_db > 0.0:
        raise ValueError(f"lowest_threshold_db is {lowest_threshold_db}; must be above 0")
    if not 0.0 < step_s <= COARSE_STEP_S:
        raise ValueError(f"step_s is {step_s}; must be above 0 and at most {COARSE_STEP_S:g}")
    length = hop.length_km
    if not length > 0.0:
        raise ValueError("hop length is 0 km; must be above 0")
    line = (hop.x0_km, hop.y0_km, (hop.x1_km - hop.x0_km) / length, (hop.y1_km - hop.y0_km) / length)
    splits = int(np.ceil(COARSE_STEP_S / step_s))
    knots = knots_above(
        hop_numbers(field.population.profile, length, hop.k, hop.alpha),
        line,
        *field.for_kernel,
        SMOOTH if field.texture is None else field.texture.on(hop),
        float(lowest_threshold_db),
        splits,
        field.n_years * SECONDS_PER_YEAR,
    )
    return RainKnots(*knots)


def attenuation_at(field: RainField, hop: HopLine, times_s: ArrayLike) -> Floats:
    """Raw attenuation of a hop [dB] at given times [s], any shape, from all shapes (for single outages)."""
    times = np.asarray(times_s, dtype=np.float64)
    showers, wide, _, _ = _chords(field, hop, times.ravel())
    total, _ = hop_attenuation_db([showers, wide], path_length_km=hop.length_km, k=hop.k, alpha=hop.alpha)
    return np.asarray(total.reshape(times.shape) * _factors(field, hop, times), dtype=np.float64)


@dataclass(frozen=True)
class RainShares:
    """Shapes that attenuate a hop at a time, strongest first: what each takes of the total [dB, raw].

    The total is shared out by each shape's part of the path integral of the rate. ``shape`` numbers the cells
    and then the wide shapes of the field: a wide shape is ``n_cells`` and more.
    """

    shape: Ints
    share_db: Floats


def rain_shares(field: RainField, hop: HopLine, time_s: float) -> RainShares:
    """What each shape takes of a hop's raw attenuation at a time."""
    showers, wide, cells, wides = _chords(field, hop, np.array([time_s]))
    total, parts = hop_attenuation_db([showers, wide], path_length_km=hop.length_km, k=hop.k, alpha=hop.alpha)
    integral = np.concatenate(parts)[:, 0]
    number = np.concatenate([cells, field.n_cells + wides])
    order = np.argsort(-integral, kind="stable")
    order = order[integral[order] > 0.0]
    total_db = total[0] * float(_factors(field, hop, time_s))
    return RainShares(number[order], total_db * integral[order] / max(integral.sum(), 1e-300))


def _factors(field: RainField, hop: HopLine, times_s: ArrayLike) -> Floats:
    times = np.asarray(times_s, dtype=np.float64)
    return np.ones(times.shape) if field.texture is None else field.texture.factors(hop, times)


def _chords(field: RainField, hop: HopLine, times: Floats) -> tuple[Chords, Chords, Ints, Ints]:
    """Showers and wide shapes alive around these times, as the hop cuts them, and their numbers."""
    ux, uy = (hop.x1_km - hop.x0_km) / hop.length_km, (hop.y1_km - hop.y0_km) / hop.length_km
    chords, alive = [], []
    for rows, profile in ((field.cells, field.population.profile), (field.wide, GAUSSIAN)):
        living = _alive(rows, times)
        alive.append(living)
        birth, life, x, y, vx, vy, log_peak, rho_max = (column[:, None] for column in rows[living, :8].T)
        age = times[None, :] - birth
        dx, dy = x + vx * age - hop.x0_km, y + vy * age - hop.y0_km
        across, along = dy * ux - dx * uy, dx * ux + dy * uy
        scale: Floats = np.ones((1, 1))
        if rows.shape[1] > 8:
            scale, skew = ellipse_chord(rows[living, 8:9], rows[living, 9:10], np.arctan2(ux, uy))
            across, along = scale * across, along + skew * across
        chords.append(Chords(across, along, radius_km(rho_max, age / life), log_peak, profile, scale))
    return chords[0], chords[1], alive[0], alive[1]


def _alive(rows: Floats, times: Floats) -> Ints:
    """Shapes alive at some time between the first and the last of these."""
    if times.size == 0:
        return np.empty(0, dtype=np.int64)
    return np.flatnonzero((rows[:, 0] < times.max()) & (rows[:, 0] + rows[:, 1] > times.min()))
