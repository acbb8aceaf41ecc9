"""Slow, obvious versions of the rain field, and fields small enough to follow by hand."""

import numpy as np
from scipy.integrate import quad

from hopyears.models.air.rain_cell import CellPopulation, relative_rate
from hopyears.models.basics.calendar import MONTH_SECONDS, month_edges_s
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain.rain_field import RainField


def cells_field(cells, *, population=None, n_years=1, storm_of=None):
    """A field of given cells (birth, life, x, y, vx, vy, peak, radius each); one storm unless told."""
    count = len(cells)
    storm = np.zeros(count, dtype=np.int64) if storm_of is None else np.asarray(storm_of, dtype=np.int64)
    column = {
        name: np.array([cell.get(name, 0.0) for cell in cells], dtype=np.float64)
        for name in ("birth", "life", "x", "y", "vx", "vy", "peak", "radius")
    }
    n_storms = int(storm.max()) + 1
    first = np.searchsorted(storm, np.arange(n_storms + 1)).astype(np.int64)
    end = np.array([(column["birth"] + column["life"])[storm == i].max() for i in range(n_storms)])
    start = np.array([column["birth"][storm == i].min() for i in range(n_storms)])
    return RainField(
        cells=np.column_stack(
            [
                *(column[name] for name in ("birth", "life", "x", "y", "vx", "vy")),
                np.log(column["peak"]),
                column["radius"],
            ]
        ),
        storm_start_s=start,
        storm_end_s=end,
        storm_x_km=np.zeros(n_storms),
        storm_y_km=np.zeros(n_storms),
        storm_vx_km_s=np.zeros(n_storms),
        storm_vy_km_s=np.zeros(n_storms),
        storm_reach_km=np.full(n_storms, 500.0),
        storm_first_cell=first,
        population=population or CellPopulation(),
        n_years=n_years,
    )


def rain_rate_along_mm_h(field, x_km, y_km, time_s):
    """Rain rate at one place and time, cell by cell."""
    total = 0.0
    for i in range(field.n_cells):
        phase = (time_s - field.cell_birth_s[i]) / field.cell_life_s[i]
        if not 0.0 < phase < 1.0:
            continue
        age = time_s - field.cell_birth_s[i]
        dx = x_km - field.cell_x_km[i] - field.cell_vx_km_s[i] * age
        dy = y_km - field.cell_y_km[i] - field.cell_vy_km_s[i] * age
        radius = field.cell_rho_max_km[i] * np.sqrt(np.sin(np.pi * phase))
        distance = np.hypot(dx, dy) / radius
        total += np.exp(field.cell_log_peak[i]) * float(relative_rate(field.population.profile, distance))
    return total


def attenuation_by_quadrature_db(field, hop, time_s):
    """Sum over cells of the integral of k R^alpha along the hop, each by numerical quadrature."""
    total = 0.0
    for i in range(field.n_cells):
        phase = (time_s - field.cell_birth_s[i]) / field.cell_life_s[i]
        if not 0.0 < phase < 1.0:
            continue
        age = time_s - field.cell_birth_s[i]
        cx = field.cell_x_km[i] + field.cell_vx_km_s[i] * age
        cy = field.cell_y_km[i] + field.cell_vy_km_s[i] * age
        radius = field.cell_rho_max_km[i] * np.sqrt(np.sin(np.pi * phase))
        peak = np.exp(field.cell_log_peak[i])

        def specific(share, cx=cx, cy=cy, radius=radius, peak=peak):
            x = hop.x0_km + share * (hop.x1_km - hop.x0_km)
            y = hop.y0_km + share * (hop.y1_km - hop.y0_km)
            rate = peak * relative_rate(field.population.profile, np.hypot(x - cx, y - cy) / radius)
            return hop.k * float(rate) ** hop.alpha

        total += hop.length_km * quad(specific, 0.0, 1.0, limit=200)[0]
    return total


def time_above_s(knots, threshold_db):
    """Time during which the knots lie above a threshold [s], by their straight lines."""
    total = 0.0
    for i in range(knots.n_windows):
        part = slice(knots.window_start[i], knots.window_start[i + 1])
        t, a = knots.time_s[part], knots.attenuation_db[part] - threshold_db
        for t0, t1, a0, a1 in zip(t[:-1], t[1:], a[:-1], a[1:], strict=True):
            if a0 >= 0.0 and a1 >= 0.0:
                total += t1 - t0
            elif a0 * a1 < 0.0:
                total += (t1 - t0) * max(a0, a1) / abs(a1 - a0)
    return total


def share_of_years_above(knots, threshold_db, n_years):
    """Fraction of each year of a block above a threshold, shape (n_years,), by the knots' middles."""
    return share_of_months_above(knots, threshold_db, n_years) @ MONTH_SECONDS / SECONDS_PER_YEAR


def share_of_months_above(knots, threshold_db, n_years):
    """Fraction of each month of a block above a threshold, shape (n_years, 12), by the knots' middles."""
    gap = np.diff(knots.time_s)
    inside = np.ones(len(gap), dtype=bool)
    inside[knots.window_start[1:-1] - 1] = False
    middle = 0.5 * (knots.attenuation_db[1:] + knots.attenuation_db[:-1])
    used = inside & (middle > threshold_db)
    month = np.searchsorted(month_edges_s(n_years)[1:-1], knots.time_s[:-1][used], side="right")
    seconds = np.bincount(month, weights=gap[used], minlength=12 * n_years)
    return seconds.reshape(n_years, 12) / MONTH_SECONDS
