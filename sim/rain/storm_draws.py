"""Where the storms of a network come from, how they drift, and which of their cells may rain on it."""

from dataclasses import dataclass, fields

import numpy as np
from scipy.special import ndtr

from hopyears.models.air.rain_cell import CellPopulation
from hopyears.models.air.storm import StormModel
from hopyears.sim.rain.rain_field import Floats, Integers, RainField, Region
from hopyears.sim.rain.rain_laws import PeakLaw
from hopyears.sim.rain.storm_loops import LONGEST_LIVES, SCORES, cells_near


@dataclass(frozen=True)
class Storms:
    """Some storms before their cells are drawn, arrays of one length.

    Start [s], place x and y at the start [km], speed x and y [km/s], and the normal score that the peaks of a
    storm's cells have in common.
    """

    start_s: Floats
    x_km: Floats
    y_km: Floats
    vx_km_s: Floats
    vy_km_s: Floats
    intensity_score: Floats


@dataclass(frozen=True)
class StormSource:
    """Draws storms of which cells may rain on a region."""

    region: Region
    population: CellPopulation
    storms: StormModel

    @property
    def _longest_s(self) -> float:
        """Longest time from a storm's start to the end of its last cell."""
        return self.storms.duration_s + LONGEST_LIVES * self.population.mean_life_s

    @property
    def _reach_km(self) -> float:
        """How far from its centre a storm rains."""
        population = self.population
        return 3.0 * self.storms.spread_km + 2.0 * population.largest_km * population.profile.outer_radius

    @property
    def _margin_km(self) -> float:
        # A storm is placed where it stands half-way through; the fastest in 10,000 sets the margin.
        return self._reach_km + 0.5 * self._longest_s * _fast_drift_km_s(self.storms)

    def per_s(self, peaks: PeakLaw) -> float:
        """Storms a second that ``tracks`` must draw from, in a month of these cells and a mean year."""
        region, margin = self.region, self._margin_km
        width = region.east_km - region.west_km + 2.0 * margin
        height = region.north_km - region.south_km + 2.0 * margin
        per_km2_s = peaks.alive_per_km2 / self.population.mean_life_s / self.storms.cells_per_storm
        return per_km2_s * width * height

    def tracks(self, rng: np.random.Generator, n: int) -> tuple[Integers, tuple[Floats, Floats, Floats]]:
        """Of n storms those that can come near: which, and where they stand half-way [km] and their speed.

        Most storms are too slow to come near whatever their heading: they need no more draws.
        """
        region, margin, storms = self.region, self._margin_km, self.storms
        x = rng.uniform(region.west_km - margin, region.east_km + margin, n)
        y = rng.uniform(region.south_km - margin, region.north_km + margin, n)
        speed = rng.gamma(storms.drift_shape, storms.mean_drift_km_h / storms.drift_shape, n) / 3600.0
        away = self._reach_km + 0.5 * self._longest_s * speed
        near = (x > region.west_km - away) & (x < region.east_km + away)
        near &= (y > region.south_km - away) & (y < region.north_km + away)
        kept = np.flatnonzero(near)
        return kept, (x[kept], y[kept], speed[kept])

    def drifting(
        self,
        rng: np.random.Generator,
        start_s: Floats,
        track: tuple[Floats, Floats, Floats],
        intensity_score: Floats | None = None,
    ) -> Storms:
        """Storms of these tracks on a heading of their own; intensity scores are normal unless given."""
        x, y, speed = track
        n, storms = len(x), self.storms
        turned = storms.drift_spread_deg * rng.standard_normal(n)
        heading = np.deg2rad(storms.drift_towards_deg + turned)
        vx, vy = speed * np.sin(heading), speed * np.cos(heading)
        half_s = 0.5 * self._longest_s
        own = rng.standard_normal(n) if intensity_score is None else intensity_score
        return Storms(start_s, x - vx * half_s, y - vy * half_s, vx, vy, own)

    def field_part(
        self, rng: np.random.Generator, peaks: PeakLaw, drawn: Storms
    ) -> tuple[dict[str, Floats], Integers]:
        """Cells of the storms that may rain on the region, and which storms those are, by their start.

        The columns are those of ``RainField``, with the number of cells of each storm as ``n_cells``.
        """
        first, last = self._bearing_time(drawn)
        reaching = np.flatnonzero(last > first)
        reaching = reaching[np.argsort(drawn.start_s[reaching], kind="stable")]
        start, x, y, vx, vy, intensity_score = (
            getattr(drawn, column.name)[reaching] for column in fields(drawn)
        )
        first, last = first[reaching], last[reaching]
        region, storms, population = self.region, self.storms, self.population
        # Cells born while their storm is far away are not drawn at all: a Poisson number in the rest.
        n_drawn = rng.poisson(storms.cells_per_storm * (last - first) / storms.duration_s)
        cells, n_cells, ends, far = cells_near(
            rng,
            n_drawn,
            (start, x, y, vx, vy, intensity_score, first, last),
            np.array([region.west_km, region.south_km, region.east_km, region.north_km]),
            peaks.quantile(ndtr(SCORES)),
            np.array([storms.spread_km, storms.spread_shape, storms.peak_correlation]),
            np.array([population.mean_life_s, population.life_shape, population.profile.outer_radius]),
            np.array(
                [population.size_km, population.size_exponent, population.smallest_km, population.largest_km]
            ),
        )
        wet = n_cells > 0
        part = {
            "cells": cells,
            "storm_start_s": start[wet],
            "storm_end_s": ends[wet],
            "storm_x_km": x[wet],
            "storm_y_km": y[wet],
            "storm_vx_km_s": vx[wet],
            "storm_vy_km_s": vy[wet],
            "storm_reach_km": far[wet],
            "n_cells": n_cells[wet],
        }
        return part, reaching[wet]

    def _bearing_time(self, drawn: Storms) -> tuple[Floats, Floats]:
        """First and last birth after a storm's start [s] of cells that may reach the region."""
        region, reach = self.region, self._reach_km
        travel_s = LONGEST_LIVES * self.population.mean_life_s
        first, last = np.zeros(len(drawn.x_km)), np.full(len(drawn.x_km), self.storms.duration_s)
        for place, speed, low, high in (
            (drawn.x_km, drawn.vx_km_s, region.west_km, region.east_km),
            (drawn.y_km, drawn.vy_km_s, region.south_km, region.north_km),
        ):
            # A cell covers place + speed t, t from its birth to the longest life after it.
            rate = np.where(np.abs(speed) > 1e-9, speed, 1e-9)
            far, near = (low - reach - place) / rate, (high + reach - place) / rate
            first = np.maximum(first, np.minimum(far, near) - travel_s)
            last = np.minimum(last, np.maximum(far, near))
        return first, last

    def gathered(self, parts: list[dict[str, Floats]], n_years: int) -> RainField:
        """One field of these parts."""
        joined = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
        edges = np.concatenate([[0], np.cumsum(joined.pop("n_cells"))]).astype(np.int64)
        return RainField(**joined, storm_first_cell=edges, population=self.population, n_years=n_years)


def _fast_drift_km_s(storms: StormModel) -> float:
    """Drift that about one storm in 10,000 exceeds (normal tail on the cube root, Wilson and Hilferty)."""
    shape = storms.drift_shape
    ratio = (1.0 - 1.0 / (9.0 * shape) + 3.7 / np.sqrt(9.0 * shape)) ** 3
    return float(storms.mean_drift_km_h / 3600.0 * ratio)
