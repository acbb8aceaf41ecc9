"""The rain of one block as plain arrays: cells, the storms that they belong to, and the region served."""

from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hopyears.models.air.rain_cell import CellPopulation
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain.storm_loops import CELL_REACH, circles_of_cells

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


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


@dataclass(frozen=True)
class RainField:
    """All cells and storms of a block, arrays read-only.

    ``cells`` has one row a cell, of eight numbers: birth and life [s], place at birth x and y [km], speed x
    and y [km/s], ln of the peak [ln mm/h], largest radius [km]. A row fills one line of a processor's cache.
    Cells are ordered by storm, storms by month and start: the cells of storm i are
    ``storm_first_cell[i] : storm_first_cell[i + 1]``. Times from the start of the block; places in the
    network's local plane, east x and north y. ``storm_reach_km`` is how far from the storm's moving centre
    any of its cells can rain.
    """

    cells: Floats
    storm_start_s: Floats
    storm_end_s: Floats
    storm_x_km: Floats
    storm_y_km: Floats
    storm_vx_km_s: Floats
    storm_vy_km_s: Floats
    storm_reach_km: Floats
    storm_first_cell: Integers
    population: CellPopulation
    n_years: int

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, np.ndarray):
                value.setflags(write=False)

    @property
    def n_cells(self) -> int:
        """Number of cells."""
        return len(self.cells)

    @property
    def cell_birth_s(self) -> Floats:
        """Birth of each cell [s]."""
        return self.cells[:, 0]

    @property
    def cell_life_s(self) -> Floats:
        """Life of each cell [s]."""
        return self.cells[:, 1]

    @property
    def cell_x_km(self) -> Floats:
        """Place of each cell at its birth, east [km]."""
        return self.cells[:, 2]

    @property
    def cell_y_km(self) -> Floats:
        """Place of each cell at its birth, north [km]."""
        return self.cells[:, 3]

    @property
    def cell_vx_km_s(self) -> Floats:
        """Speed of each cell, east [km/s]."""
        return self.cells[:, 4]

    @property
    def cell_vy_km_s(self) -> Floats:
        """Speed of each cell, north [km/s]."""
        return self.cells[:, 5]

    @property
    def cell_log_peak(self) -> Floats:
        """Natural logarithm of each cell's peak rate in mm/h."""
        return self.cells[:, 6]

    @property
    def cell_rho_max_km(self) -> Floats:
        """Largest radius of each cell [km]."""
        return self.cells[:, 7]

    @cached_property
    def cell_storm(self) -> Integers:
        """Storm of each cell."""
        return np.repeat(np.arange(self.n_storms), np.diff(self.storm_first_cell))

    @cached_property
    def circles(self) -> NDArray[np.float32]:
        """Circle that holds all places a cell ever rains on, and the cell's peak; shape (4, n_cells).

        Centre x, y and radius [km], ln of the peak [ln mm/h].
        """
        reach = CELL_REACH * self.population.profile.outer_radius
        return np.asarray(circles_of_cells(self.cells, reach), dtype=np.float32)

    @property
    def n_storms(self) -> int:
        """Number of storms."""
        return len(self.storm_start_s)

    def laid_apart(self, slot_s: float) -> "RainField":
        """The same storms one after another: storm i starts at ``i * slot_s`` [s]."""
        shift = slot_s * np.arange(self.n_storms) - self.storm_start_s
        cells = self.cells.copy()
        cells[:, 0] += shift[self.cell_storm]
        return replace(
            self,
            cells=cells,
            storm_start_s=self.storm_start_s + shift,
            storm_end_s=self.storm_end_s + shift,
            n_years=max(1, int(np.ceil(slot_s * self.n_storms / SECONDS_PER_YEAR))),
        )
