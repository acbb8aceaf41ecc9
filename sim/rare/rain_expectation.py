"""How much rain outage each hop has in the long run, from snapshots of the field that no run uses.

The snapshots give the exact law of the simulated rain, anchoring included, up to their own chance error.
Independent sets of them show how large that is.
"""

from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass

import numpy as np

from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.rain_texture import HALF_LENGTH_KM, LARGEST, chance_above
from hopyears.models.air.storm import StormModel
from hopyears.models.basics.arrays import Floats
from hopyears.sim.blocks.prepared import Prepared, local_law
from hopyears.sim.counting.fading_tally import PLAIN
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.rain.peaks import RAIN_MODEL_VERSION, month_laws
from hopyears.sim.rain.rain_laws import LocalLaw
from hopyears.sim.rain.scenes import Scenes, each_sample, scenes, surroundings_km
from hopyears.sim.storage.disk_cache import Key, kept_arrays_each

N_SETS = 24
"""Independent sets of snapshots."""

PER_MONTH = 250
"""Snapshots of each month and node of the map in a set."""

_MONTHS_OF_ANCHORS = 12
"""Streams of snapshots 0 to 11 are those that the anchors are fitted to."""


def carrying_step(prepared: Prepared, hop: int, rate_mbit_s: float) -> int | None:
    """Lowest modulation of a hop at which its working channels carry a rate; None where none does."""
    design = prepared.designs[hop]
    able = np.flatnonzero(design.scheme.working * design.steps.capacity_mbit_s >= rate_mbit_s)
    return int(able[0]) if able.size else None


@dataclass(frozen=True)
class _Row:
    """What is asked of one hop, and the key under which it is kept."""

    local: LocalLaw
    storms: StormModel
    line: tuple[float, float, float]
    threshold_db: float

    @classmethod
    def of(cls, prepared: Prepared, hop: int, step: int) -> "_Row":
        design = prepared.designs[hop]
        line = (design.path.length_km, design.rain.k, design.rain.alpha)
        threshold_db = _raw_threshold_db(prepared, hop, step)
        return cls(local_law(design, prepared.weather), prepared.storms, line, threshold_db)

    @property
    def key(self) -> Key:
        laws = [(share, *_numbers_of(law)) for share, law in self.local]
        model = (repr(astuple(DEFAULT_POPULATION)), repr(astuple(self.storms)))
        texture = (LARGEST, HALF_LENGTH_KM)
        return (RAIN_MODEL_VERSION, *laws, *model, *texture, self.line, self.threshold_db, N_SETS, PER_MONTH)


def rain_chances(prepared: Prepared, asked: Sequence[tuple[int, int]]) -> Floats:
    """Fraction of the year in which rain takes a modulation of a hop, nominal equipment, without guard.

    Parameters
    ----------
    prepared : Prepared
    asked : sequence of (hop, step)
        Hop by number and modulation, 0 the lowest.

    Returns
    -------
    float array, shape (n_asked, N_SETS)
        One estimate from each independent set of snapshots; hops of one set share its snapshots.
    """
    return chances_of([(prepared, hop, step) for hop, step in asked])


def chances_of(asked: Sequence[tuple[Prepared, int, int]]) -> Floats:
    """The same for hops of several networks, whose snapshots are drawn but once; each is kept on disk."""
    rows = [_Row.of(*each) for each in asked]

    def compute(lacking: list[int]) -> Iterator[dict[str, Floats]]:
        yield from ({"chance": chances} for chances in _computed([rows[i] for i in lacking]))

    found = kept_arrays_each("rain-chances", [row.key for row in rows], compute)
    return np.reshape([arrays["chance"] for arrays in found], (len(rows), N_SETS)).astype(np.float64)


def _computed(rows: Sequence[_Row]) -> Floats:
    """Chances of rows, shape (n_rows, N_SETS); rows in one climate share its snapshots."""
    chance = np.zeros((len(rows), N_SETS))
    climates: dict[tuple[Key, StormModel, float], tuple[RainLaw, dict[int, float]]] = {}
    for i, row in enumerate(rows):
        for share, law in row.local:
            place = (_numbers_of(law), row.storms, surroundings_km(row.line[0]))
            shares = climates.setdefault(place, (law, {}))[1]
            shares[i] = shares.get(i, 0.0) + share
    for (_, storms, reach_km), (law, shares) in climates.items():
        members = list(shares)
        for number, found in enumerate(_sets(storms, law, reach_km)):
            for j, value, time in each_sample(found, [rows[i].line for i in members]):
                i = members[j]
                ratio = rows[i].threshold_db / np.maximum(value, 1e-9)
                above = float((time * chance_above(ratio, rows[i].line[0])).sum())
                chance[i, number] += shares[i] * above
    return chance


def _numbers_of(law: RainLaw) -> tuple[float, ...]:
    """Climate of a node of the map in numbers."""
    return (*law.mean_rate_mm_h.tolist(), *law.rain_probability.tolist())


def _raw_threshold_db(prepared: Prepared, hop: int, step: int) -> float:
    plain = HopThresholds(prepared.designs[hop], prepared.anchors[hop], prepared.nights[hop], PLAIN)
    return float(plain.nominal.rain_down_db[0, step])


def _sets(storms: StormModel, law: RainLaw, reach_km: float) -> Iterator[Scenes]:
    months = month_laws(law, DEFAULT_POPULATION, storms)
    for number in range(N_SETS):
        yield scenes(
            months,
            DEFAULT_POPULATION,
            storms,
            per_month=PER_MONTH,
            first_month=_MONTHS_OF_ANCHORS * (1 + number),
            longest_hop_km=reach_km,
        )
