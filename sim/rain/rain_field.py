"""The rain of one block as plain arrays: cells, the storms that they belong to, and the region served."""

from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air.rain_cell import CellPopulation
from hopyears.models.basics.arrays import Floats, Ints, read_only
from hopyears.sim.rain.rain_near import GROUP, in_groups, put_in_order
from hopyears.sim.rain.texture import Texture


@dataclass(frozen=True)
class Region:
    """Rectangle of the network's local plane [km] that the rain field must serve."""

    west_km: float
    south_km: float
    east_km: float
    north_km: float

    def __post_init__(self) -> None:
        if not (self.east_km >= self.west_km and self.north_km >= self.south_km):
            raise ValueError(
                f"region is {self.west_km}, {self.south_km} to {self.east_km}, {self.north_km}; "
                "must have east at least west and north at least south"
            )

    @classmethod
    def around(cls, east_km: ArrayLike, north_km: ArrayLike, *, snap_km: float = 25.0) -> "Region":
        """Rectangle about all places, snapped outwards so that a small change of a site moves no storm."""
        east, north = np.asarray(east_km, dtype=np.float64), np.asarray(north_km, dtype=np.float64)
        return cls(
            west_km=float(np.floor(east.min() / snap_km) * snap_km),
            south_km=float(np.floor(north.min() / snap_km) * snap_km),
            east_km=float(np.ceil(east.max() / snap_km) * snap_km),
            north_km=float(np.ceil(north.max() / snap_km) * snap_km),
        )


def no_wide_shapes() -> Floats:
    """Rows of wide shapes of a field that has none."""
    return np.empty((0, 10))


def no_systems() -> Ints:
    """Systems of no wide shapes, or of storms that are each a system of their own."""
    return np.empty(0, dtype=np.int64)


@dataclass(frozen=True)
class RainField:
    """All shapes of rain of a block, arrays read-only: showers (cells, gathered in storms) and wide rain.

    Times from the start of the block [s]; places in the network's local plane, east x and north y [km].

    Attributes
    ----------
    cells : float array, shape (n_cells, 8)
        One row a shower: birth and life [s], place at birth x and y [km], speed x and y [km/s], ln of the
        peak [ln mm/h], largest radius rho [km]. Round, with the population's profile. A row fills one line
        of a processor's cache. Ordered by storm; within a storm in any order.
    storm_start_s, storm_end_s : float array, shape (n_storms,)
        Each storm's start and the end of its last cell, in any order of time.
    storm_first_cell : int array, shape (n_storms + 1,)
        The cells of storm i are ``storm_first_cell[i] : storm_first_cell[i + 1]``.
    wide : float array, shape (n_wide, 10)
        One row a wide shape, in any order: the eight numbers of a cell, then the ratio of its long to its
        short axis (at least 1) and the bearing of the long axis [rad, clockwise from north]. One Gaussian
        whose standard deviations are rho sqrt(ratio) and rho / sqrt(ratio), so that the area above r is
        2 pi rho^2 ln(M / r) as for a round one.
    storm_system, wide_system : int array, shape (n_storms,), (n_wide,)
        System of each storm and of each wide shape, from 0 without a gap: what is drawn together and is
        independent of all others. An empty ``storm_system`` makes every storm a system of its own.
    texture : Texture or None
        Of the attenuation on hops; None leaves it as smooth as the shapes.

    Both kinds live alike: rho(u)^2 = rho_max^2 sin(pi u) at the share u of the life, with the peak unchanged.
    Rates add.
    """

    cells: Floats
    storm_start_s: Floats
    storm_end_s: Floats
    storm_first_cell: Ints
    population: CellPopulation
    n_years: int
    wide: Floats = field(default_factory=no_wide_shapes)
    storm_system: Ints = field(default_factory=no_systems)
    wide_system: Ints = field(default_factory=no_systems)
    texture: Texture | None = None

    def __post_init__(self) -> None:
        if not len(self.storm_system):
            object.__setattr__(self, "storm_system", np.arange(self.n_storms))
        for each in fields(self):
            value = getattr(self, each.name)
            if isinstance(value, np.ndarray):
                value.setflags(write=False)

    @property
    def n_cells(self) -> int:
        """Number of cells."""
        return len(self.cells)

    @property
    def n_wide(self) -> int:
        """Number of wide shapes."""
        return len(self.wide)

    @cached_property
    def cell_storm(self) -> Ints:
        """Storm of each cell."""
        return np.repeat(np.arange(self.n_storms), np.diff(self.storm_first_cell))

    @cached_property
    def shape_system(self) -> Ints:
        """System of each cell, then of each wide shape."""
        return np.concatenate([self.storm_system[self.cell_storm], self.wide_system])

    def shape_rows(self, shapes: Ints) -> Floats:
        """Rows of some shapes, as ``cells``, by the numbers of ``shape_system``; shape (n, 8)."""
        rows = np.empty((len(shapes), 8))
        wide = shapes >= self.n_cells
        rows[~wide] = self.cells[shapes[~wide]]
        rows[wide] = self.wide[shapes[wide] - self.n_cells, :8]
        return rows

    @cached_property
    def for_kernel(self) -> tuple[tuple[Any, ...], tuple[Any, ...]]:
        """Cells in groups and wide shapes as the compiled loops take them, each in order of their start.

        Groups (see ``rain_near``): starts [s]; in single precision how long they last [s], places [km], unit
        vector of the drift, one over the speed [s/km], from where to where they rain across the drift and
        along it [km]; their cells (``rain_near.GROUP``); longest time from a start to an end [s].
        Wide shapes: births [s]; places, speeds, lives, peaks [mm/h], radii, ratios; in single precision
        lives, places, speeds, peaks, unit vector of the long axis, inverse of the short and of the long
        standard deviation [1/km]; longest life [s].
        """
        outer = self.population.profile.outer_radius
        starts, tracks, framed = in_groups(read_only(self.cells), read_only(self.storm_first_cell), outer)
        order = np.argsort(starts, kind="stable")
        starts, tracks, framed = starts[order], np.take(tracks, order, axis=1), framed.reshape(-1, GROUP)
        put_in_order(framed, order)
        return (starts, tracks, framed, float(tracks[0].max(initial=0.0))), self._wide_for_kernel

    @property
    def _wide_for_kernel(self) -> tuple[Any, ...]:
        order = np.argsort(self.wide[:, 0], kind="stable")
        births, lives, x, y, vx, vy, log_peaks, rhos, ratios, bearings = (
            self.wide[order, column] for column in range(10)
        )
        peaks, stretch = np.exp(log_peaks), np.sqrt(ratios)
        axes = (np.sin(bearings), np.cos(bearings), stretch / rhos, 1.0 / (rhos * stretch))
        tracks = np.empty((10, len(order)), dtype=np.float32)
        for row, column in zip(tracks, (lives, x, y, vx, vy, peaks, *axes), strict=True):
            row[:] = column
        places = np.stack([x, y, vx, vy, lives, peaks, rhos, ratios], axis=1)
        return births, places, tracks, float(lives.max(initial=0.0))

    @property
    def n_storms(self) -> int:
        """Number of storms."""
        return len(self.storm_start_s)
