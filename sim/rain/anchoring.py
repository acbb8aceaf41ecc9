"""A fixed monotone curve from a hop's raw rain attenuation to that of a published or measured law.

The cells keep how hops fade together in space and time; the law given keeps how often each hop fades. The
curve is fitted from snapshots of the field, not from the run that uses it, and is the same for every run.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import astuple, dataclass
from typing import cast

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air.rain_cell import DEFAULT_POPULATION, CellPopulation
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.rain_texture import HALF_LENGTH_KM, LARGEST, even_factors
from hopyears.models.air.storm import DEFAULT_STORMS, StormModel, without_drift
from hopyears.models.basics.arrays import Floats
from hopyears.sim.rain.peaks import RAIN_MODEL_VERSION, month_laws
from hopyears.sim.rain.rain_laws import LocalLaw, RawLaw, blended, law_of, times_factors
from hopyears.sim.rain.scenes import each_sample, scenes, surroundings_km
from hopyears.sim.storage.disk_cache import Key, kept_arrays_each

PROBABILITIES = tuple(float(value) for value in 10.0 ** np.arange(-1.75, -6.01, -0.25))
"""Fractions of the year at which the curve is fitted, those above the hop's chance of rain left out."""

_SCENES_PER_MONTH = 1500
_STEP_DB = 1e-3
_NOTHING_DB = 1e-9


@dataclass(frozen=True)
class Anchor:
    """Piecewise-linear curve through (0, 0), both ways; beyond its end the ratio of the last point holds.

    Parameters
    ----------
    raw_db, anchored_db : array, shape (n,)
        Points of the curve [dB], strictly increasing from (0, 0).
    """

    raw_db: Floats
    anchored_db: Floats

    def __post_init__(self) -> None:
        for field in ("raw_db", "anchored_db"):
            values = np.array(getattr(self, field), dtype=np.float64)
            if values.ndim != 1 or len(values) < 2 or values[0] != 0.0 or np.any(np.diff(values) <= 0.0):
                raise ValueError(f"{field} is {values}; must rise strictly from 0")
            values.setflags(write=False)
            object.__setattr__(self, field, values)

    def anchored(self, raw_db: ArrayLike) -> Floats:
        """Anchored attenuation [dB] of a raw one, any shape."""
        return _along(raw_db, self.raw_db, self.anchored_db)

    def raw(self, anchored_db: ArrayLike) -> Floats:
        """Raw attenuation [dB] of an anchored one, any shape: the way thresholds go."""
        return _along(anchored_db, self.anchored_db, self.raw_db)


IDENTITY = Anchor(np.array([0.0, 1.0]), np.array([0.0, 1.0]))
"""No anchoring."""


def _along(value: ArrayLike, start: Floats, end: Floats) -> Floats:
    values = np.asarray(value, dtype=np.float64)
    beyond = values * (end[-1] / start[-1])
    return np.asarray(np.where(values > start[-1], beyond, np.interp(values, start, end)))


@dataclass(frozen=True)
class RainHop:
    """What the rain of a hop follows.

    Parameters
    ----------
    law : RainLaw or LocalLaw
        Monthly rain law that the storms follow at the hop, or those of the nodes of the map about it.
    path_length_km : float
        Length of the hop [km], above 0.
    k, alpha : float
        Specific attenuation k R^alpha [dB/km] of the hop's carrier.
    """

    law: RainLaw | LocalLaw
    path_length_km: float
    k: float
    alpha: float

    @property
    def nodes(self) -> LocalLaw:
        """Shares (of one) and laws of the nodes where it ever rains."""
        nodes = [(1.0, self.law)] if isinstance(self.law, RainLaw) else self.law
        return [(share, law) for share, law in nodes if np.any(law.rain_probability > 0.0)]

    @property
    def line(self) -> tuple[float, float, float]:
        """Length [km], k and alpha."""
        return float(self.path_length_km), float(self.k), float(self.alpha)


def fit_anchors(
    hops: Sequence[RainHop],
    targets: Sequence[Callable[[Floats], ArrayLike]],
    *,
    population: CellPopulation = DEFAULT_POPULATION,
    storms: StormModel = DEFAULT_STORMS,
    probabilities: Sequence[float] = PROBABILITIES,
) -> list[Anchor]:
    """Curves that give hops their long-run laws, fitted from the cell model; none where it never rains.

    Parameters
    ----------
    hops : sequence of RainHop
    targets : sequence of callable
        Attenuation [dB] of each hop exceeded for fractions of the year (an array of them), for instance
        ``models.air.rain_attenuation.attenuation_db`` of P.530 or measured percentiles.
    population, storms : CellPopulation, StormModel
        The rain model of the run.
    probabilities : sequence of float
        Fractions of the year at which the curves are fitted.

    Notes
    -----
    The raw laws come from ``raw_attenuation_laws`` and are kept on disk; the targets are asked each time.
    """
    anchors = [IDENTITY] * len(hops)
    rainy = [i for i, hop in enumerate(hops) if hop.nodes]
    raws = raw_attenuation_laws([hops[i] for i in rainy], population=population, storms=storms)
    every = np.sort(np.asarray(probabilities, dtype=np.float64))[::-1]
    for i, raw in zip(rainy, raws, strict=True):
        chances = every[every < 0.5 * raw.probability[0]]
        target = np.asarray(targets[i](chances), dtype=np.float64)
        anchors[i] = _rising(np.column_stack([raw.quantile(chances), target]))
    return anchors


def _rising(points: Floats) -> Anchor:
    """Curve through the points that rise; others, where either law gives nothing yet, are left out.

    Where the law given has nothing (all snow is dry) while the field rains, the curve stays near 0.
    """
    kept = [(0.0, 0.0)]
    for raw_db, anchored_db in points:
        if raw_db <= kept[-1][0] + _STEP_DB:
            continue
        if anchored_db > kept[-1][1] + _STEP_DB:
            kept.append((float(raw_db), float(anchored_db)))
        elif kept[-1][1] <= _NOTHING_DB:
            kept = [(0.0, 0.0), (float(raw_db), _NOTHING_DB)]
    if len(kept) < 2:
        return IDENTITY
    curve = np.array(kept)
    return Anchor(curve[:, 0], curve[:, 1])


def raw_attenuation_laws(
    hops: Sequence[RainHop],
    *,
    population: CellPopulation = DEFAULT_POPULATION,
    storms: StormModel = DEFAULT_STORMS,
) -> list[RawLaw]:
    """Long-run laws of the raw attenuation [dB] of hops on which it rains, from snapshots, kept on disk.

    About a place with several nodes of the map, the time above each level is the mean of theirs by their
    shares. The texture is in it.
    """
    still = without_drift(storms)
    model = (repr(astuple(population)), repr(astuple(still)), LARGEST, HALF_LENGTH_KM)
    numbers = (RAIN_MODEL_VERSION, _SCENES_PER_MONTH, *model)
    keys: list[Key] = [
        (*numbers, *hop.line, *((share, *_numbers_of(law)) for share, law in hop.nodes)) for hop in hops
    ]

    def compute(lacking: list[int]) -> Iterator[dict[str, Floats]]:
        found = _laws_at_nodes([hops[i] for i in lacking], population, still)
        for i, laws in zip(lacking, found, strict=True):
            nodes = [(share, law) for (share, _), law in zip(hops[i].nodes, laws, strict=True)]
            yield vars(times_factors(blended(nodes), even_factors(hops[i].path_length_km)))

    return [RawLaw(**arrays) for arrays in kept_arrays_each("rain", keys, compute)]


def _numbers_of(law: RainLaw) -> tuple[float, ...]:
    return (*law.mean_rate_mm_h.tolist(), *law.rain_probability.tolist())


def _laws_at_nodes(
    hops: Sequence[RainHop], population: CellPopulation, storms: StormModel
) -> list[list[RawLaw]]:
    """Smooth laws of each hop at its nodes; the hops of a node share its snapshots."""
    found: list[list[RawLaw | None]] = [[None] * len(hop.nodes) for hop in hops]
    places: dict[tuple[tuple[float, ...], float], list[tuple[int, int]]] = {}
    for i, hop in enumerate(hops):
        for j, (_, law) in enumerate(hop.nodes):
            climate = (_numbers_of(law), surroundings_km(hop.path_length_km))
            places.setdefault(climate, []).append((i, j))
    for (numbers, longest_hop_km), members in places.items():
        law = RainLaw(*np.split(np.array(numbers), 2))
        snapshots = scenes(
            month_laws(law, population, storms),
            population,
            storms,
            per_month=_SCENES_PER_MONTH,
            longest_hop_km=longest_hop_km,
        )
        for number, value, chance in each_sample(snapshots, [hops[i].line for i, _ in members]):
            i, j = members[number]
            full = law_of(value, chance)
            even = np.geomspace(min(0.9 * full.probability[0], 0.4), 3e-7, 120)
            found[i][j] = RawLaw(full.quantile(even), even)
    return cast(list[list[RawLaw]], found)
