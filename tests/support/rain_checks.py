"""Slow, obvious versions of the rain field, and fields small enough to follow by hand."""

import numpy as np
from cell_profile import relative_rate

from hopyears.models.air.rain_cell import CellPopulation
from hopyears.models.basics.calendar import MONTH_SECONDS, month_edges_s
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain.rain_field import RainField


def cells_field(cells, *, wide=(), population=None, n_years=1, storm_of=None):
    """A field of given cells (birth, life, x, y, vx, vy, peak, radius each); one storm unless told.

    Cells of a storm move alike. Wide shapes have ratio and bearing besides; each is a system of its own.
    """
    storm = np.zeros(len(cells), dtype=np.int64) if storm_of is None else np.asarray(storm_of, dtype=np.int64)
    rows = _rows(cells)
    n_storms = int(storm.max()) + 1 if len(storm) else 0
    first = np.searchsorted(storm, np.arange(n_storms + 1)).astype(np.int64)
    end = np.array([(rows[:, 0] + rows[:, 1])[storm == i].max() for i in range(n_storms)])
    start = np.array([rows[:, 0][storm == i].min() for i in range(n_storms)])
    axes = [[shape["ratio"], shape["bearing"]] for shape in wide]
    return RainField(
        cells=rows,
        storm_start_s=start,
        storm_end_s=end,
        storm_first_cell=first,
        population=population or CellPopulation(),
        n_years=n_years,
        wide=np.column_stack([_rows(wide), np.array(axes).reshape(-1, 2)]),
        wide_system=n_storms + np.arange(len(wide)),
    )


def _rows(shapes):
    names = ("birth", "life", "x", "y", "vx", "vy", "peak", "radius")
    rows = np.array([[shape.get(name, 0.0) for name in names] for shape in shapes], dtype=np.float64)
    rows = rows.reshape(-1, 8)
    rows[:, 6] = np.log(rows[:, 6])
    return rows


def rates_along_mm_h(field, x_km, y_km, time_s):
    """Rain rate at places (arrays) and one time, shape by shape, each rate by the definition of the shape."""
    total = np.zeros(np.shape(x_km))
    every = [(rows, time_s - rows[:, 0] > 0.0) for rows in (field.cells, field.wide)]
    alive = [shape for rows, begun in every for shape in rows[begun & (time_s - rows[:, 0] < rows[:, 1])]]
    for shape in alive:
        birth, life, x, y, vx, vy, log_peak, rho_max = shape[:8]
        age = time_s - birth
        dx, dy = x_km - x - vx * age, y_km - y - vy * age
        radius = rho_max * np.sqrt(np.sin(np.pi * age / life))
        if len(shape) == 8:
            total += np.exp(log_peak) * relative_rate(field.population.profile, np.hypot(dx, dy) / radius)
        else:
            ratio, bearing = shape[8:]
            along = dx * np.sin(bearing) + dy * np.cos(bearing)
            across = dx * np.cos(bearing) - dy * np.sin(bearing)
            square = along**2 / ratio + across**2 * ratio
            total += np.exp(log_peak - square / (2.0 * radius**2))
    return total


def attenuation_by_quadrature_db(field, hop, time_s, *, step_km=0.02):
    """Integral of k (sum of rates)^alpha along the hop, by the midpoint rule."""
    n = max(int(np.ceil(hop.length_km / step_km)), 200)
    share = (np.arange(n) + 0.5) / n
    x = hop.x0_km + share * (hop.x1_km - hop.x0_km)
    y = hop.y0_km + share * (hop.y1_km - hop.y0_km)
    return hop.length_km * float(np.mean(hop.k * rates_along_mm_h(field, x, y, time_s) ** hop.alpha))


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
