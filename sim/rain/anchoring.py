"""A fixed monotone curve from a hop's raw rain attenuation to that of a published or measured law.

The cells keep how hops fade together in space and time; the law given keeps how often each hop fades. The
curve is fitted from snapshots of the field, not from the run that uses it, and is the same for every run.
"""

from collections.abc import Callable, Sequence
from dataclasses import astuple, dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.air.rain_cell import DEFAULT_POPULATION, CellPopulation
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.rain_texture import even_factors
from hopyears.models.air.storm import DEFAULT_STORMS, StormModel, without_drift
from hopyears.models.basics.arrays import Floats
from hopyears.sim.rain.peaks import RAIN_MODEL_VERSION, month_laws
from hopyears.sim.rain.rain_laws import LocalLaw, RawLaw, blended, times_factors
from hopyears.sim.rain.scenes import Scenes, raw_law, scenes, surroundings_km
from hopyears.sim.storage.disk_cache import Key, kept_arrays

PROBABILITIES = tuple(float(value) for value in 10.0 ** np.arange(-1.75, -6.01, -0.25))
"""Fractions of the year at which the curve is fitted, those above the hop's chance of rain left out."""

_SCENES_PER_MONTH = 1500
_MOST_KEPT = 16
"""Climates whose snapshots stay in memory."""
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


def fit_anchor(
    law: RainLaw | LocalLaw,
    *,
    path_length_km: float,
    k: float,
    alpha: float,
    target: Callable[[Floats], ArrayLike] | None,
    population: CellPopulation = DEFAULT_POPULATION,
    storms: StormModel = DEFAULT_STORMS,
    probabilities: Sequence[float] = PROBABILITIES,
) -> Anchor:
    """Curve that gives a hop the long-run law ``target``, fitted from the cell model.

    Parameters
    ----------
    law : RainLaw or LocalLaw
        Monthly rain law that the storms follow at the hop, or those of the nodes of the map about it.
    path_length_km : float
        Length of the hop [km], above 0.
    k, alpha : float
        Specific attenuation k R^alpha [dB/km] of the hop's carrier.
    target : callable or None
        Attenuation [dB] exceeded for fractions of the year (an array of them), for instance
        ``models.air.rain_attenuation.attenuation_db`` of P.530 or measured percentiles. None: no anchoring.
    population, storms : CellPopulation, StormModel
        The rain model of the run.
    probabilities : sequence of float
        Fractions of the year at which the curve is fitted.

    Notes
    -----
    The raw law comes from ``raw_attenuation_law`` and is kept on disk; the target is asked each time.
    """
    laws = [law] if isinstance(law, RainLaw) else [own for _, own in law]
    if target is None or not any(np.any(own.rain_probability > 0.0) for own in laws):
        return IDENTITY
    raw = raw_attenuation_law(
        law, path_length_km=path_length_km, k=k, alpha=alpha, population=population, storms=storms
    )
    chances = np.sort(np.asarray(probabilities, dtype=np.float64))[::-1]
    chances = chances[chances < 0.5 * raw.probability[0]]
    points = np.column_stack([raw.quantile(chances), np.asarray(target(chances), dtype=np.float64)])
    return _rising(points)


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


def raw_attenuation_law(
    law: RainLaw | LocalLaw,
    *,
    path_length_km: float,
    k: float,
    alpha: float,
    population: CellPopulation = DEFAULT_POPULATION,
    storms: StormModel = DEFAULT_STORMS,
) -> RawLaw:
    """Long-run law of a hop's raw attenuation [dB], from snapshots, kept on disk.

    About a place with several nodes of the map, the time above each level is the mean of theirs by their
    shares. The texture is in it.
    """
    line = (float(path_length_km), float(k), float(alpha))
    nodes = [(1.0, law)] if isinstance(law, RainLaw) else law
    smooth = blended(
        [(share, _node_law(node, line, population, without_drift(storms))) for share, node in nodes]
    )
    return times_factors(smooth, even_factors(path_length_km))


def _node_law(
    law: RainLaw, line: tuple[float, float, float], population: CellPopulation, storms: StormModel
) -> RawLaw:
    rates = tuple(float(value) for value in law.mean_rate_mm_h)
    chances = tuple(float(value) for value in law.rain_probability)
    model = (repr(astuple(population)), repr(astuple(storms)))
    key: Key = (RAIN_MODEL_VERSION, rates, chances, *model, *line, _SCENES_PER_MONTH)
    path_length_km, k, alpha = line

    def compute() -> dict[str, Floats]:
        full = raw_law(
            _snapshots(rates, chances, population, storms, surroundings_km(path_length_km)),
            path_length_km=path_length_km,
            k=k,
            alpha=alpha,
        )
        even = np.geomspace(min(0.9 * full.probability[0], 0.4), 3e-7, 120)
        return {"value": full.quantile(even), "probability": even}

    arrays = kept_arrays("rain", key, compute)
    return RawLaw(arrays["value"], arrays["probability"])


@lru_cache(maxsize=_MOST_KEPT)
def _snapshots(
    rates: tuple[float, ...],
    chances: tuple[float, ...],
    population: CellPopulation,
    storms: StormModel,
    longest_hop_km: float,
) -> Scenes:
    """Snapshots of a climate, shared by the hops of a network."""
    months = month_laws(RainLaw(np.array(rates), np.array(chances)), population, storms)
    return scenes(months, population, storms, per_month=_SCENES_PER_MONTH, longest_hop_km=longest_hop_km)
