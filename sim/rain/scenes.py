"""Snapshots of the stationary rain field around a typical shape: fast long-run laws without a long run.

For the sum I of the rates I_i that the shapes of a snapshot give along a hop, 1{A > a} = sum of (I_i / I)
1{A > a}. So the chance of A > a is the mean, over the shapes that can touch a hop (their number per square
kilometre is known), of I_0 / I where A > a, in a snapshot that is known to hold shape 0: its storm with the
other cells alive then, the rest of its system, and the systems near by (Slivnyak's theorem for a Poisson
process of systems). No rare event is left to chance: every snapshot counts.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from hopyears.models.air.path_rain import hop_numbers
from hopyears.models.air.rain_cell import CellPopulation, largest_radius_km, radius_km
from hopyears.models.air.storm import StormModel
from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.calendar import MONTH_DAYS
from hopyears.models.network.network import MAXIMUM_PATH_LENGTH_KM
from hopyears.sim.rain.rain_laws import (
    Gathering,
    MonthLaw,
    PeakLaw,
    RawLaw,
    gathering,
    law_of,
    longest_storm_s,
    longest_system_s,
)
from hopyears.sim.rain.scene_loops import batches, sum_scenes
from hopyears.sim.rain.storm_loops import CELL_REACH
from hopyears.sim.streams import Streams

LONGEST_HOP_KM = 60.0
"""Longest hop that a scene's surroundings cover unless more is asked for."""

_USUAL_SPREAD = 0.18
"""Of the years' numbers of systems, where the model states none: one for all places, as r_c of P.678-3 varies
little but in deserts and a scene knows its month alone."""

_SIDE_BY_SIDE = 32
"""Hops worked out together."""

_WIDE_SHARE = 0.25
"""Share of the scenes that are known to hold a wide shape."""


@dataclass(frozen=True)
class Scenes:
    """Snapshots that hold a shape at the hop; those of scene i are ``first[i] : first[i + 1]``, the known
    first.

    ``columns`` are, for each shape, x and y [km], from the known shape or, where the third is true, from the
    hop's middle; ln of the peak; radius [km]; ratio of the axes and bearing of the long one [rad], 0 for a
    shower. ``weight`` is shapes per km^2 that the scene stands for, times the share of its month in the year.
    """

    first: Ints
    columns: tuple[NDArray[Any], ...]
    weight: Floats
    place: Floats
    month: Ints
    population: CellPopulation
    longest_hop_km: float

    @property
    def known_log_peak(self) -> Floats:
        """ln of the peak of each scene's known shape [ln mm/h]."""
        return np.asarray(self.columns[3][self.first[:-1]], dtype=np.float64)


@dataclass(frozen=True)
class _Systems:
    """Systems at the moment of a snapshot: scene, centre [km], whether that is from the hop's middle, age
    [s], size over the mean, score and bearing of the long axes of their wide shapes."""

    scene: Ints
    x_km: Floats
    y_km: Floats
    from_middle: Floats
    age_s: Floats
    size: Floats
    score: Floats
    bearing: Floats


@dataclass(frozen=True)
class _Rain:
    """What a month's shapes are drawn from."""

    month: MonthLaw
    held: Gathering
    population: CellPopulation
    storms: StormModel
    longest_hop_km: float

    @property
    def widest_km(self) -> float:
        """Farthest that any shape rains from its centre."""
        wide = np.sqrt(self.storms.wide_ratio) * self.storms.wide_radius_km
        return CELL_REACH * max(
            float(wide), self.population.profile.outer_radius * self.population.largest_km
        )

    @property
    def longest_storm_s(self) -> float:
        """See ``rain_laws.longest_storm_s``."""
        return longest_storm_s(self.population, self.storms)

    @property
    def longest_s(self) -> float:
        """See ``rain_laws.longest_system_s``."""
        return longest_system_s(self.population, self.storms)

    @property
    def storms_within_km(self) -> float:
        """How far from the hop's middle a storm may stand that rains on it."""
        cell = CELL_REACH * self.population.profile.outer_radius * self.population.largest_km
        return 0.5 * self.longest_hop_km + 3.5 * self.storms.storm_spread_km + cell


def surroundings_km(path_length_km: float) -> float:
    """Length of hop [km] that scenes must serve for this hop: one of two, so that hops share scenes."""
    return LONGEST_HOP_KM if path_length_km <= LONGEST_HOP_KM else MAXIMUM_PATH_LENGTH_KM


def scenes(
    months: Sequence[MonthLaw],
    population: CellPopulation,
    storms: StormModel,
    *,
    per_month: int = 4000,
    first_month: int = 0,
    longest_hop_km: float = LONGEST_HOP_KM,
) -> Scenes:
    """Snapshots of a climate's rain, the same draws whatever the climate; 12 months give the year.

    The weights are fractions of a year made of these months by their true lengths (12 months) or of the one
    month given. Systems around are drawn for hops of at most ``longest_hop_km``.
    """
    shares = MONTH_DAYS / MONTH_DAYS.sum() if len(months) == 12 else np.full(len(months), 1.0 / len(months))
    parts = []
    for number, month in enumerate(months):
        rng = Streams(0, 0).generator("scenes", first_month + number)
        rain = _Rain(month, gathering(month, population, storms), population, storms, longest_hop_km)
        parts.append(_month_scenes(rng, rain, per_month, shares[number]))
    shapes = np.concatenate([part[1] for part in parts])
    x, y, from_middle, *rest = (np.ascontiguousarray(column) for column in shapes.T)
    return Scenes(
        first=np.concatenate([[0], np.cumsum(np.concatenate([part[0] for part in parts]))]).astype(np.int64),
        columns=(x, y, from_middle > 0.0, *rest),
        weight=np.concatenate([part[2] for part in parts]),
        place=np.concatenate([part[3] for part in parts]),
        month=np.repeat(np.arange(len(months)), [len(part[0]) for part in parts]),
        population=population,
        longest_hop_km=longest_hop_km,
    )


def _month_scenes(
    rng: np.random.Generator, rain: _Rain, n: int, month_share: float
) -> tuple[Ints, Floats, Floats, Floats]:
    """Shapes in each scene, the shapes, weights and places."""
    alive = [rain.month.showers.alive_per_km2, rain.month.wide.alive_per_km2]
    n_wide = round(n * (_WIDE_SHARE if min(alive) > 0.0 else float(alive[1] > 0.0)))
    known: list[Floats] = []
    rows: list[tuple[Ints, Floats]] = []
    weight: list[Floats] = []
    place: list[Floats] = []
    for wide, count in ((False, n - n_wide), (True, n_wide)):
        if not count:
            continue
        before = sum(len(part) for part in weight)
        peaks = rain.month.wide if wide else rain.month.showers
        even = _even_points(rng, count)
        span = peaks.log_peak[-1] - peaks.log_peak[0]
        log_peak = peaks.log_peak[0] + even[:, 0] * span
        weight.append(np.interp(log_peak, peaks.log_peak, peaks.density) * span / count * month_share)
        place.append(even[:, 1:3])
        shape, of, others = (
            _known_wide(rng, rain, log_peak, even[:, 3])
            if wide
            else _known_shower(rng, rain, log_peak, even[:, 3])
        )
        known.append(shape)
        rows.append((of + before, others))
    first = np.concatenate(known)
    scene = np.concatenate([np.arange(n), *(of for of, _ in rows)])
    shapes = np.concatenate([first, *(others for _, others in rows)])
    shapes, scene = _that_matter(rain, shapes, scene, first)
    order = np.argsort(scene, kind="stable")
    return np.bincount(scene, minlength=n), shapes[order], np.concatenate(weight), np.concatenate(place)


def _that_matter(rain: _Rain, shapes: Floats, scene: Ints, known: Floats) -> tuple[Floats, Ints]:
    """Shapes that can rain on the hop, the known ones first."""
    reach = _reach_km(rain, shapes)
    limit = np.where(
        shapes[:, 2] > 0.0,
        0.5 * rain.longest_hop_km + reach,
        rain.longest_hop_km + reach + _reach_km(rain, known)[scene],
    )
    near = np.hypot(shapes[:, 0], shapes[:, 1]) < limit
    near[: len(known)] = True
    return shapes[near], scene[near]


def _reach_km(rain: _Rain, shapes: Floats) -> Floats:
    outer = np.where(shapes[:, 5] > 0.0, np.sqrt(shapes[:, 5]), rain.population.profile.outer_radius)
    return np.asarray(CELL_REACH * outer * shapes[:, 4])


def _known_shower(
    rng: np.random.Generator, rain: _Rain, log_peak: Floats, phase: Floats
) -> tuple[Floats, Ints, Floats]:
    """Row of each scene's known shower; scene and rows of the other shapes."""
    n, storms, population = len(log_peak), rain.storms, rain.population
    score = _score(rain.month.showers, log_peak)
    parts = np.sqrt([storms.system_correlation, storms.storm_correlation, 1.0 - storms.peak_correlation])
    free = rng.standard_normal((3, n))
    free += parts[:, None] * (score - parts @ free)
    storm_age = rng.uniform(0.0, storms.storm_duration_s, n) + _age_s(
        rng, population.mean_life_s, population, phase
    )
    x, y = -storms.storm_spread_km * rng.standard_normal((2, n))
    scene, zero = np.arange(n), np.zeros(n)
    of, siblings = _cells(rng, rain, storm_age, parts[0] * free[0] + parts[1] * free[1], (x, y, zero))
    own = _own_systems(rng, rain, storm_age, free[0], (x, y))
    around, others = _shapes_of(rng, rain, own, _other_systems(rng, rain, n))
    radius = radius_km(largest_radius_km(population, log_peak), phase)
    known = np.column_stack([zero, zero, zero, log_peak, radius, zero, zero])
    return known, np.concatenate([scene[of], around]), np.concatenate([siblings, others])


def _known_wide(
    rng: np.random.Generator, rain: _Rain, log_peak: Floats, phase: Floats
) -> tuple[Floats, Ints, Floats]:
    """As ``_known_shower`` for wide shapes."""
    n, storms = len(log_peak), rain.storms
    common, score = np.sqrt(storms.system_correlation), _score(rain.month.wide, log_peak)
    system_score = common * score + np.sqrt(1.0 - common**2) * rng.standard_normal(n)
    age = _age_s(rng, storms.wide_life_s, rain.population, phase)
    zero = np.zeros(n)
    own = _own_systems(rng, rain, age, system_score, (zero, zero))
    around, others = _shapes_of(rng, rain, own, _other_systems(rng, rain, n))
    radius = radius_km(storms.wide_radius_km, phase)
    known = np.column_stack([zero, zero, zero, log_peak, radius, np.full(n, storms.wide_ratio), own.bearing])
    return known, around, others


def _score(peaks: PeakLaw, log_peak: Floats) -> Floats:
    share = np.clip(np.interp(log_peak, peaks.log_peak, peaks.cumulative), 1e-12, 1.0 - 1e-12)
    return np.asarray(ndtri(share), dtype=np.float64)


def _age_s(rng: np.random.Generator, mean_life_s: float, population: CellPopulation, phase: Floats) -> Floats:
    """Age of shapes found alive at a phase of their life: lives are drawn by their length."""
    shape = population.life_shape
    return np.asarray(phase * rng.gamma(shape + 1.0, mean_life_s / shape, len(phase)), dtype=np.float64)


def _own_systems(
    rng: np.random.Generator, rain: _Rain, age_s: Floats, score: Floats, member_km: tuple[Floats, Floats]
) -> _Systems:
    """Systems known to hold a member of this age at this place: drawn by their size."""
    n, storms = len(age_s), rain.storms
    shift = storms.system_spread_km * rng.standard_normal((2, n))
    shape = storms.system_size_shape
    return _Systems(
        scene=np.arange(n),
        x_km=member_km[0] - shift[0],
        y_km=member_km[1] - shift[1],
        from_middle=np.zeros(n),
        age_s=rng.uniform(0.0, storms.system_duration_s, n) + age_s,
        size=rng.gamma(shape + 1.0, 1.0 / shape, n),
        score=score,
        bearing=rng.uniform(0.0, np.pi, n),
    )


def _other_systems(rng: np.random.Generator, rain: _Rain, n: int) -> _Systems:
    """Other systems about the hop's middle. A year known to hold a shape is likelier a wet one."""
    storms = rain.storms
    around_km = np.hypot(storms.system_spread_km, storms.storm_spread_km)
    half_km = 0.5 * rain.longest_hop_km + 3.0 * around_km + rain.widest_km
    mean = rain.held.systems_per_km2_s * rain.longest_s * (2.0 * half_km) ** 2
    spread = _USUAL_SPREAD if storms.yearly_spread is None else storms.yearly_spread
    scene = np.repeat(np.arange(n), rng.poisson(mean * (1.0 + spread**2), n))
    count = len(scene)
    shape = storms.system_size_shape
    return _Systems(
        scene=scene,
        x_km=rng.uniform(-half_km, half_km, count),
        y_km=rng.uniform(-half_km, half_km, count),
        from_middle=np.ones(count),
        age_s=rng.uniform(0.0, rain.longest_s, count),
        size=rng.gamma(shape, 1.0 / shape, count),
        score=rng.standard_normal(count),
        bearing=rng.uniform(0.0, np.pi, count),
    )


def _shapes_of(rng: np.random.Generator, rain: _Rain, *groups: _Systems) -> tuple[Ints, Floats]:
    """Scene and row of every shape alive of these systems."""
    systems = _Systems(
        *(np.concatenate(each) for each in zip(*(vars(g).values() for g in groups), strict=True))
    )
    storms, held = rain.storms, rain.held
    of, age_s, x, y = _born(rng, systems, held.storms_per_system, storms)
    near = (age_s > 0.0) & (age_s < rain.longest_storm_s)
    near &= (systems.from_middle[of] == 0.0) | (x * x + y * y < rain.storms_within_km**2)
    of, age_s, x, y = of[near], age_s[near], x[near], y[near]
    score = np.sqrt(storms.system_correlation) * systems.score[of]
    score += np.sqrt(storms.storm_correlation) * rng.standard_normal(len(of))
    storm, cells = _cells(rng, rain, age_s, score, (x, y, systems.from_middle[of]))
    wide_of, wide = _wide_shapes(rng, rain, systems)
    scene = np.concatenate([systems.scene[of[storm]], systems.scene[wide_of]])
    return scene, np.concatenate([cells, wide])


def _born(
    rng: np.random.Generator, systems: _Systems, mean: float, storms: StormModel
) -> tuple[Ints, Floats, Floats, Floats]:
    """System, age [s] (negative: not yet born) and place of members at the mean number of each system."""
    of = np.repeat(np.arange(len(systems.size)), rng.poisson(mean * systems.size))
    age = systems.age_s[of] - rng.uniform(0.0, storms.system_duration_s, len(of))
    shift = storms.system_spread_km * rng.standard_normal((2, len(of)))
    return of, age, systems.x_km[of] + shift[0], systems.y_km[of] + shift[1]


def _wide_shapes(rng: np.random.Generator, rain: _Rain, systems: _Systems) -> tuple[Ints, Floats]:
    """System and row of the wide shapes alive."""
    storms, shape = rain.storms, rain.population.life_shape
    of, age, x, y = _born(rng, systems, rain.held.wide_per_system, storms)
    within = 0.5 * rain.longest_hop_km + rain.widest_km
    near = (age > 0.0) & ((systems.from_middle[of] == 0.0) | (x * x + y * y < within**2))
    of, age, x, y = of[near], age[near], x[near], y[near]
    phase = age / rng.gamma(shape, storms.wide_life_s / shape, len(of))
    alive = phase < 1.0
    of, phase, x, y = of[alive], phase[alive], x[alive], y[alive]
    share = storms.system_correlation
    score = np.sqrt(share) * systems.score[of] + np.sqrt(1.0 - share) * rng.standard_normal(len(of))
    rows = [
        x,
        y,
        systems.from_middle[of],
        rain.month.wide.quantile(ndtr(score)),
        radius_km(storms.wide_radius_km, phase),
        np.full(len(of), storms.wide_ratio),
        systems.bearing[of],
    ]
    return of, np.column_stack(rows)


def _cells(
    rng: np.random.Generator,
    rain: _Rain,
    storm_age: Floats,
    score: Floats,
    centre: tuple[Floats, Floats, Floats],
) -> tuple[Ints, Floats]:
    """Storm and row of the cells alive at the age of each storm, which has this score and place."""
    # As if storms bore cells for ever: those alive have lives drawn by length; then those that were born
    # before this storm began or after it ceased to bear cells are left out.
    population, storms = rain.population, rain.storms
    mean = rain.held.cells_per_storm * population.mean_life_s / storms.storm_duration_s
    of = np.repeat(np.arange(len(storm_age)), rng.poisson(mean, len(storm_age)))
    phase = rng.uniform(size=len(of))
    birth = storm_age[of] - _age_s(rng, population.mean_life_s, population, phase)
    alive = (birth > 0.0) & (birth < storms.storm_duration_s)
    of, phase = of[alive], phase[alive]
    shift = storms.storm_spread_km * rng.standard_normal((2, len(of)))
    own = np.sqrt(1.0 - storms.peak_correlation) * rng.standard_normal(len(of))
    log_peak = rain.month.showers.quantile(ndtr(score[of] + own))
    radius = radius_km(largest_radius_km(population, log_peak), phase)
    zero = np.zeros(len(of))
    rows = [centre[0][of] + shift[0], centre[1][of] + shift[1], centre[2][of], log_peak, radius, zero, zero]
    return of, np.column_stack(rows)


def _even_points(rng: np.random.Generator, n: int) -> Floats:
    """Points spread evenly in the unit cube of four dimensions, shape (n, 4), shifted at random.

    References
    ----------
    Additive recurrence by powers of the root of x^5 = x + 1 (M. Roberts, 2018, from memory).
    """
    root = 1.1673039782614187
    steps = root ** -np.arange(1.0, 5.0)
    return np.mod(np.arange(n)[:, None] * steps + rng.uniform(size=4), 1.0)


def hop_samples(
    snapshots: Scenes, *, path_length_km: ArrayLike, k: ArrayLike, alpha: ArrayLike, bearing_rad: float = 0.0
) -> tuple[Floats, Floats]:
    """Attenuation of hops in each scene [dB] and the fraction of time the scene stands for.

    Shape (..., n_scenes), where lengths, k and alpha broadcast to (...). A path length of 0 gives k R^alpha
    at a point (k = alpha = 1: the rain rate). The long axes of wide shapes lie in all directions alike, so
    the bearing of the hops moves chance only.
    """
    total, share_area = _sums(snapshots, (path_length_km, k, alpha), bearing_rad, (0.0, 0.0))
    return total, snapshots.weight * share_area


def pair_samples(
    snapshots: Scenes, *, path_length_km: float, k: float, alpha: float, shift_km: tuple[float, float]
) -> tuple[Floats, Floats, Floats]:
    """Attenuation in each scene of a hop and of its like shifted by (along, across) km, and the time."""
    hop = (path_length_km, k, alpha)
    total, share_area = _sums(snapshots, hop, 0.0, (0.0, 0.0))
    other, _ = _sums(snapshots, hop, 0.0, shift_km)
    return total, other, snapshots.weight * share_area


def _sums(
    snapshots: Scenes,
    hops: tuple[ArrayLike, ArrayLike, ArrayLike],
    bearing_rad: float,
    shift_km: tuple[float, float],
) -> tuple[Floats, Floats]:
    length, k, alpha = np.broadcast_arrays(*(np.asarray(each, dtype=np.float64) for each in hops))
    outside = (length < 0.0) | (length > snapshots.longest_hop_km)
    if np.any(outside):
        raise ValueError(
            f"path_length_km is {length[outside][0]:g}; must be 0 to {snapshots.longest_hop_km:g}"
        )
    profile = snapshots.population.profile
    total, share_area = sum_scenes(
        batches(
            [hop_numbers(profile, *each) for each in np.stack([length, k, alpha], axis=-1).reshape(-1, 3)]
        ),
        (profile.inner_weight, profile.inner_radius, profile.outer_radius),
        (snapshots.first, *snapshots.columns, snapshots.place),
        float(bearing_rad),
        (CELL_REACH * profile.outer_radius, CELL_REACH),
        (float(shift_km[0]), float(shift_km[1])),
    )
    shape = (*length.shape, len(snapshots.weight))
    return total[: length.size].reshape(shape), share_area[: length.size].reshape(shape)


def each_sample(
    snapshots: Scenes, hops: Sequence[tuple[float, float, float]]
) -> Iterator[tuple[int, Floats, Floats]]:
    """Number of each hop (length [km], k, alpha), in any order, with what ``hop_samples`` gives of it.

    Hops of like length are worked out side by side.
    """
    order = sorted(range(len(hops)), key=lambda i: hops[i])
    for begin in range(0, len(order), _SIDE_BY_SIDE):
        some = order[begin : begin + _SIDE_BY_SIDE]
        length, k, alpha = np.array([hops[i] for i in some]).T
        yield from zip(some, *hop_samples(snapshots, path_length_km=length, k=k, alpha=alpha), strict=True)


def raw_law(snapshots: Scenes, *, path_length_km: float, k: float, alpha: float) -> RawLaw:
    """Long-run law of a hop's raw attenuation [dB] over the year."""
    value, chance = hop_samples(snapshots, path_length_km=path_length_km, k=k, alpha=alpha)
    return law_of(value, chance)
