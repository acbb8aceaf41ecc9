"""The rain of one block as plain arrays: cells, the storms that they belong to, and the region served."""

from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.rain_cell import CellPopulation
from sim.rain.storm_loops import CELL_REACH

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

    Cells are ordered by storm, storms by month and start: the cells of storm i are
    ``storm_first_cell[i] : storm_first_cell[i + 1]``. Times [s] from the start of the block; places and
    speeds in the network's local plane, east x and north y [km], [km/s]; ``cell_log_peak`` is ln of mm/h.
    ``storm_reach_km`` is how far from the storm's moving centre any of its cells can rain.
    """

    cell_birth_s: Floats
    cell_life_s: Floats
    cell_x_km: Floats
    cell_y_km: Floats
    cell_vx_km_s: Floats
    cell_vy_km_s: Floats
    cell_log_peak: Floats
    cell_rho_max_km: Floats
    cell_storm: Integers
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
        return len(self.cell_birth_s)

    @cached_property
    def circles(self) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
        """Circle that holds all places a cell ever rains on: centre x, y and radius [km], float32."""
        half = 0.5 * self.cell_life_s
        reach = CELL_REACH * self.population.profile.outer_radius * self.cell_rho_max_km
        travel = half * np.hypot(self.cell_vx_km_s, self.cell_vy_km_s)
        return (
            (self.cell_x_km + self.cell_vx_km_s * half).astype(np.float32),
            (self.cell_y_km + self.cell_vy_km_s * half).astype(np.float32),
            (travel + reach + 0.01).astype(np.float32),
        )

    @property
    def n_storms(self) -> int:
        """Number of storms."""
        return len(self.storm_start_s)
