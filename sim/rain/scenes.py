"""Snapshots of the stationary rain field around a typical cell: fast long-run laws without a long run.

Let the shapes of a snapshot have shares of the rain on a hop's path that add to one: then 1{A > a} is the
sum of share times 1{A > a}. So the chance of A > a is the mean, over the shapes that can touch a hop (their
number per square kilometre is known), of the share of shape 0 where A > a, in a snapshot that is known to
hold shape 0: its storm with the other cells alive then, and the storms near by (Slivnyak's theorem for a
Poisson process of storms). No rare event is left to chance: every snapshot counts.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from hopyears.models.air.path_rain import hop_numbers
from hopyears.models.air.rain_cell import CellPopulation, largest_radius_km, radius_km
from hopyears.models.air.storm import StormModel
from hopyears.models.basics.calendar import MONTH_DAYS
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.network.network import MAXIMUM_PATH_LENGTH_KM
from hopyears.sim.rain.rain_laws import Floats, PeakLaw, RawLaw, law_of
from hopyears.sim.rain.scene_loops import sum_scenes
from hopyears.sim.rain.storm_loops import CELL_REACH, LONGEST_LIVES
from hopyears.sim.streams import Streams

Integers = NDArray[np.int64]

LONGEST_HOP_KM = 60.0
"""Longest hop that a scene's surroundings cover unless more is asked for."""


@dataclass(frozen=True)
class Scenes:
    """Snapshots that hold a cell at the hop; flat arrays of cells, those of scene i being
    ``first[i] : first[i + 1]``, the known cell first.

    ``x_km`` and ``y_km`` are from the known cell for its own storm, from the hop's middle where ``near_hop``.
    ``weight`` is shapes per km^2 that the scene stands for, times the share of its month in the year.
    ``ratio`` and ``long_axis_rad`` are those of wide shapes (``RainField.wide``); 0 for a shower.
    """

    first: Integers
    x_km: Floats
    y_km: Floats
    near_hop: NDArray[np.bool_]
    log_peak: Floats
    radius_km: Floats
    ratio: Floats
    long_axis_rad: Floats
    weight: Floats
    place: Floats
    month: Integers
    population: CellPopulation
    longest_hop_km: float


def surroundings_km(path_length_km: float) -> float:
    """Length of hop [km] that scenes must serve for this hop: one of two, so that hops share scenes."""
    return LONGEST_HOP_KM if path_length_km <= LONGEST_HOP_KM else MAXIMUM_PATH_LENGTH_KM


def scenes(
    months: Sequence[PeakLaw],
    population: CellPopulation,
    storms: StormModel,
    *,
    per_month: int = 4000,
    first_month: int = 0,
    longest_hop_km: float = LONGEST_HOP_KM,
) -> Scenes:
    """Snapshots of a climate's rain, the same draws whatever the climate; 12 months give the year.

    The weights are fractions of a year made of these months by their true lengths (12 months) or of the one
    month given. Storms around are drawn for hops of at most ``longest_hop_km``.
    """
    shares = MONTH_DAYS / MONTH_DAYS.sum() if len(months) == 12 else np.full(len(months), 1.0 / len(months))
    parts = []
    for month, peaks in enumerate(months):
        rng = Streams(0, 0).generator("scenes", first_month + month)
        parts.append(_month_scenes(rng, peaks, population, storms, per_month, shares[month], longest_hop_km))
    counts = np.concatenate([part[0] for part in parts])
    columns = [np.concatenate([part[1][i] for part in parts]) for i in range(5)]
    heads = [np.concatenate([part[2][i] for part in parts]) for i in range(2)]
    return Scenes(
        first=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        x_km=columns[0],
        y_km=columns[1],
        near_hop=columns[2].astype(np.bool_),
        log_peak=columns[3],
        radius_km=columns[4],
        ratio=np.zeros(len(columns[4])),
        long_axis_rad=np.zeros(len(columns[4])),
        weight=heads[0],
        place=heads[1],
        month=np.repeat(np.arange(len(months)), per_month),
        population=population,
        longest_hop_km=longest_hop_km,
    )


def _month_scenes(
    rng: np.random.Generator,
    peaks: PeakLaw,
    population: CellPopulation,
    storms: StormModel,
    n: int,
    month_share: float,
    longest_hop_km: float,
) -> tuple[Integers, list[Floats], list[Floats]]:
    span = peaks.log_peak[-1] - peaks.log_peak[0]
    even = _even_points(rng, n)
    log_peak = peaks.log_peak[0] + even[:, 0] * span
    weight = np.interp(log_peak, peaks.log_peak, peaks.density) * span / n * month_share
    phase = even[:, 3]
    score = ndtri(np.clip(np.interp(log_peak, peaks.log_peak, peaks.cumulative), 1e-12, 1.0 - 1e-12))
    scale = population.mean_life_s / population.life_shape
    age = phase * rng.gamma(population.life_shape + 1.0, scale, n)
    storm_age = rng.uniform(0.0, storms.duration_s, n) + age
    share = storms.peak_correlation
    intensity_score = np.sqrt(share) * score + np.sqrt(1.0 - share) * rng.standard_normal(n)
    # Place of the known cell in its storm, so that the others lie about the storm's centre.
    own_x, own_y = cell_places(rng, n, storms)
    of, sib = _alive_cells(rng, storm_age, intensity_score, peaks, population, storms)
    siblings = (of, sib[0] - own_x[of], sib[1] - own_y[of], np.zeros(len(of)), sib[2], sib[3])
    others = _other_storms(rng, peaks, storm_age, population, storms, longest_hop_km)
    known = (
        np.arange(n),
        np.zeros(n),
        np.zeros(n),
        np.zeros(n),
        log_peak,
        radius_km(largest_radius_km(population, log_peak), phase),
    )
    joined = [np.concatenate(columns) for columns in zip(known, siblings, others, strict=True)]
    order = np.argsort(joined[0], kind="stable")
    return (
        np.bincount(joined[0], minlength=n),
        [column[order] for column in joined[1:]],
        [weight, even[:, 1:3]],
    )


def cell_places(rng: np.random.Generator, n: int, storms: StormModel) -> tuple[Floats, Floats]:
    """Places of cells about the centre of their storm, east and north [km]."""
    spread = storms.spread_km * np.sqrt(rng.gamma(storms.spread_shape, 1.0 / storms.spread_shape, n))
    return spread * rng.standard_normal(n), spread * rng.standard_normal(n)


def _even_points(rng: np.random.Generator, n: int) -> Floats:
    """Points spread evenly in the unit cube of four dimensions, shape (n, 4), shifted at random.

    References
    ----------
    Additive recurrence by powers of the root of x^5 = x + 1 (M. Roberts, 2018, from memory).
    """
    root = 1.1673039782614187
    steps = root ** -np.arange(1.0, 5.0)
    return np.mod(np.arange(n)[:, None] * steps + rng.uniform(size=4), 1.0)


def _alive_cells(
    rng: np.random.Generator,
    storm_age: Floats,
    intensity_score: Floats,
    peaks: PeakLaw,
    population: CellPopulation,
    storms: StormModel,
) -> tuple[Integers, tuple[Floats, Floats, Floats, Floats]]:
    """Cells alive at the age of each storm: storm, place about its centre, ln peak, radius."""
    # As if storms bore cells for ever: those alive have lives drawn by length; then those that were born
    # before this storm began or after it ceased to bear cells are left out.
    mean = storms.cells_per_storm * population.mean_life_s / storms.duration_s
    of = np.repeat(np.arange(len(storm_age)), rng.poisson(mean, len(storm_age)))
    scale = population.mean_life_s / population.life_shape
    phase = rng.uniform(size=len(of))
    age = phase * rng.gamma(population.life_shape + 1.0, scale, len(of))
    birth = storm_age[of] - age
    alive = (birth > 0.0) & (birth < storms.duration_s)
    of, phase = of[alive], phase[alive]
    x, y = cell_places(rng, len(of), storms)
    own = rng.standard_normal(len(of))
    share = storms.peak_correlation
    log_peak = peaks.quantile(ndtr(np.sqrt(share) * intensity_score[of] + np.sqrt(1.0 - share) * own))
    radius = radius_km(largest_radius_km(population, log_peak), phase)
    return of, (x, y, log_peak, radius)


def _other_storms(
    rng: np.random.Generator,
    peaks: PeakLaw,
    storm_age: Floats,
    population: CellPopulation,
    storms: StormModel,
    longest_hop_km: float,
) -> tuple[NDArray[np.generic], ...]:
    """Cells of the other storms around, placed about the hop's middle.

    Storms of the same wet spell are likelier than at any time: spells of length D that come at rate s add
    (D - lag) / (s D^2) to the rate of storms whose start differs by the lag. A year known to hold a cell is
    likelier a wet one.
    """
    half_box_km = 0.5 * longest_hop_km + 3.0 * storms.spread_km
    births_per_km2_s = peaks.alive_per_km2 / population.mean_life_s
    longest_s = storms.duration_s + LONGEST_LIVES * population.mean_life_s
    mean = births_per_km2_s / storms.cells_per_storm * longest_s * (2.0 * half_box_km) ** 2
    mean *= 1.0 + storms.yearly_spread**2
    coverage = storms.spells_per_year * storms.spell_duration_s / SECONDS_PER_YEAR
    n = len(storm_age)
    of_scene = np.repeat(np.arange(n), rng.poisson(mean * (1.0 + 1.0 / coverage), n))
    age = rng.uniform(0.0, longest_s, len(of_scene))
    lag = np.abs(age - storm_age[of_scene]) / storms.spell_duration_s
    rate = 1.0 + np.maximum(1.0 - lag, 0.0) / coverage
    kept = rng.uniform(0.0, 1.0 + 1.0 / coverage, len(of_scene)) < rate
    of_scene, age = of_scene[kept], age[kept]
    count = len(of_scene)
    centre_x, centre_y = rng.uniform(-half_box_km, half_box_km, (2, count))
    of, cells = _alive_cells(rng, age, rng.standard_normal(count), peaks, population, storms)
    x, y = centre_x[of] + cells[0], centre_y[of] + cells[1]
    reach = 0.5 * longest_hop_km + CELL_REACH * population.profile.outer_radius * cells[3]
    near = x * x + y * y < reach * reach
    columns = (of_scene[of], x, y, np.ones(len(of)), cells[2], cells[3])
    return tuple(column[near] for column in columns)


def hop_samples(
    snapshots: Scenes, *, path_length_km: float, k: float, alpha: float, bearing_rad: float = 0.0
) -> tuple[Floats, Floats]:
    """Attenuation of a hop in each scene [dB] and the fraction of time the scene stands for.

    A path length of 0 gives k R^alpha at a point (k = alpha = 1: the rain rate). The bearing of the hop
    matters to wide shapes only.
    """
    total, share, area = _sums(snapshots, path_length_km, k, alpha, bearing_rad, (0.0, 0.0))
    return total, snapshots.weight * area * share


def pair_samples(
    snapshots: Scenes, *, path_length_km: float, k: float, alpha: float, shift_km: tuple[float, float]
) -> tuple[Floats, Floats, Floats]:
    """Attenuation in each scene of a hop and of its like shifted by (along, across) km, and the time."""
    total, share, area = _sums(snapshots, path_length_km, k, alpha, 0.0, (0.0, 0.0))
    other, _, _ = _sums(snapshots, path_length_km, k, alpha, 0.0, shift_km)
    return total, other, snapshots.weight * area * share


def _sums(
    snapshots: Scenes,
    path_length_km: float,
    k: float,
    alpha: float,
    bearing_rad: float,
    shift_km: tuple[float, float],
) -> tuple[Floats, Floats, Floats]:
    if not 0.0 <= path_length_km <= snapshots.longest_hop_km:
        raise ValueError(f"path_length_km is {path_length_km}; must be 0 to {snapshots.longest_hop_km:g}")
    profile = snapshots.population.profile
    arrays = (
        snapshots.first,
        snapshots.x_km,
        snapshots.y_km,
        snapshots.near_hop,
        snapshots.log_peak,
        snapshots.radius_km,
        snapshots.ratio,
        snapshots.long_axis_rad,
        snapshots.place,
    )
    total, share, area = sum_scenes(
        hop_numbers(profile, path_length_km, k, alpha),
        arrays,
        float(bearing_rad),
        (CELL_REACH * profile.outer_radius, CELL_REACH),
        (float(shift_km[0]), float(shift_km[1])),
    )
    return total, share, area


def raw_law(snapshots: Scenes, *, path_length_km: float, k: float, alpha: float) -> RawLaw:
    """Long-run law of a hop's raw attenuation [dB] over the year."""
    value, chance = hop_samples(snapshots, path_length_km=path_length_km, k=k, alpha=alpha)
    return law_of(value, chance)
