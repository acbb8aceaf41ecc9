"""Rain attenuation of a hop over a whole block, from the cells that matter, in closed form.

The cells that can touch the hop are found storm by storm; only where their summed peaks may reach the
lowest threshold of interest is the sum of error functions evaluated, first every minute, then about every
ten seconds where the first look comes near the threshold.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hopyears.models.air.rain_cell import (
    attenuation_profile,
    hop_attenuation_db,
    point_rain_rate_mm_h,
    radius_km,
)
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain.rain_field import RainField
from hopyears.sim.rain.rain_loops import COARSE_STEP_S, knots_above
from hopyears.sim.rain.rain_sieve import cells_in_reach

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

_LEAST_SHARE = 0.015
"""A cell whose peak stays under this share of the threshold is left out."""


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
    window_start: Integers

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
    shape = attenuation_profile(field.population.profile, float(hop.alpha))
    line = np.array(
        [
            hop.x0_km,
            hop.y0_km,
            (hop.x1_km - hop.x0_km) / length,
            (hop.y1_km - hop.y0_km) / length,
            length,
            hop.k,
            hop.alpha,
            shape.inner_weight,
            shape.inner_radius,
            shape.outer_radius,
        ]
    )
    rows = cells_in_reach(
        line,
        field.circles,
        _storm_arrays(field),
        field.cells,
        field.population.largest_km,
        _LEAST_SHARE * lowest_threshold_db,
    )
    splits = int(np.ceil(COARSE_STEP_S / step_s))
    time_s, attenuation, starts = knots_above(
        line, rows, float(lowest_threshold_db), splits, field.n_years * SECONDS_PER_YEAR
    )
    return RainKnots(time_s, attenuation, starts)


def attenuation_at(field: RainField, hop: HopLine, times_s: ArrayLike) -> Floats:
    """Raw attenuation of a hop [dB] at given times [s], any shape, from all cells (for single outages)."""
    return np.asarray(_contributions(field, hop, times_s).sum(axis=0), dtype=np.float64)


def storm_shares_db(field: RainField, hop: HopLine, time_s: float) -> tuple[Integers, Floats]:
    """Storms that attenuate a hop at a time, strongest first, and what each takes [dB, raw]."""
    each = _contributions(field, hop, np.array([time_s]))[:, 0]
    alive = _alive(field, np.array([time_s]))
    storms, where = np.unique(field.cell_storm[alive], return_inverse=True)
    total = np.bincount(where, weights=each, minlength=len(storms)).astype(np.float64)
    order = np.argsort(-total, kind="stable")
    order = order[total[order] > 0.0]
    return storms[order], total[order]


def cell_shares_db(field: RainField, hop: HopLine, time_s: float) -> tuple[Integers, Floats]:
    """Cells that attenuate a hop at a time, strongest first, and what each takes [dB, raw]."""
    times = np.array([time_s])
    each = _contributions(field, hop, times)[:, 0]
    order = np.argsort(-each, kind="stable")
    order = order[each[order] > 0.0]
    return _alive(field, times)[order], each[order]


def rain_rate_at(field: RainField, x_km: float, y_km: float, times_s: ArrayLike) -> Floats:
    """Rain rate at a place [mm/h] at given times [s], from all cells."""
    times = np.asarray(times_s, dtype=np.float64)
    alive = _alive(field, times)
    age = times[None, ...].reshape(1, -1) - field.cell_birth_s[alive, None]
    dx = field.cell_x_km[alive, None] + field.cell_vx_km_s[alive, None] * age - x_km
    dy = field.cell_y_km[alive, None] + field.cell_vy_km_s[alive, None] * age - y_km
    radius = radius_km(field.cell_rho_max_km[alive, None], age / field.cell_life_s[alive, None])
    rate = point_rain_rate_mm_h(
        np.hypot(dx, dy),
        radius_km=radius,
        log_peak=field.cell_log_peak[alive, None],
        profile=field.population.profile,
    )
    return np.asarray(rate.sum(axis=0).reshape(times.shape), dtype=np.float64)


def _alive(field: RainField, times: Floats) -> Integers:
    """Cells alive at some time between the first and the last of these."""
    if times.size == 0:
        return np.empty(0, dtype=np.int64)
    ends = field.cell_birth_s + field.cell_life_s
    return np.flatnonzero((field.cell_birth_s < times.max()) & (ends > times.min()))


def _contributions(field: RainField, hop: HopLine, times_s: ArrayLike) -> Floats:
    """Attenuation by each cell alive around these times [dB], shape (n_cells, n_times)."""
    times = np.asarray(times_s, dtype=np.float64)
    alive = _alive(field, times)
    age = times.reshape(1, -1) - field.cell_birth_s[alive, None]
    ux, uy = (hop.x1_km - hop.x0_km) / hop.length_km, (hop.y1_km - hop.y0_km) / hop.length_km
    dx = field.cell_x_km[alive, None] + field.cell_vx_km_s[alive, None] * age - hop.x0_km
    dy = field.cell_y_km[alive, None] + field.cell_vy_km_s[alive, None] * age - hop.y0_km
    each = hop_attenuation_db(
        dy * ux - dx * uy,
        dx * ux + dy * uy,
        path_length_km=hop.length_km,
        radius_km=radius_km(field.cell_rho_max_km[alive, None], age / field.cell_life_s[alive, None]),
        log_peak=field.cell_log_peak[alive, None],
        k=hop.k,
        alpha=hop.alpha,
        profile=field.population.profile,
    )
    return each.reshape(len(alive), *times.shape)


def _storm_arrays(field: RainField) -> tuple[Any, ...]:
    return (
        field.storm_start_s,
        field.storm_end_s,
        field.storm_x_km,
        field.storm_y_km,
        field.storm_vx_km_s,
        field.storm_vy_km_s,
        field.storm_reach_km,
        field.storm_first_cell,
    )
