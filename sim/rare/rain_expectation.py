"""How much rain outage each hop has in the long run, from snapshots of the field that no run uses.

The snapshots give the exact law of the simulated rain, anchoring included, up to their own chance error. This
is told by independent sets of them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import astuple

import numpy as np
from numpy.typing import NDArray

from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.fading_tally import PLAIN
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.rain.peaks import RAIN_MODEL_VERSION, month_laws
from hopyears.sim.rain.scenes import Scenes, hop_samples, scenes, surroundings_km
from hopyears.sim.storage.disk_cache import Key, kept_arrays

N_SETS = 24
"""Independent sets of snapshots."""

PER_MONTH = 1000
"""Snapshots of each month in a set."""

_MONTHS_OF_ANCHORS = 12
"""Streams of snapshots 0 to 11 are those that the anchors are fitted to."""


def carrying_step(prepared: Prepared, hop: int, rate_mbit_s: float) -> int | None:
    """Lowest modulation of a hop at which its working channels carry a rate; None where none does."""
    design = prepared.designs[hop]
    able = np.flatnonzero(design.scheme.working * design.steps.capacity_mbit_s >= rate_mbit_s)
    return int(able[0]) if able.size else None


def rain_chances(prepared: Prepared, asked: Sequence[tuple[int, int]]) -> NDArray[np.float64]:
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
    thresholds = [_raw_threshold_db(prepared, hop, step) for hop, step in asked]
    lines = [
        (design.path.length_km, design.rain.k, design.rain.alpha)
        for design in (prepared.designs[hop] for hop, _ in asked)
    ]
    key: Key = (
        RAIN_MODEL_VERSION,
        tuple(float(rate) for rate in prepared.rain_law.mean_rate_mm_h),
        tuple(float(chance) for chance in prepared.rain_law.rain_probability),
        repr(astuple(DEFAULT_POPULATION)),
        repr(astuple(prepared.storms)),
        tuple(float(value) for line in lines for value in line),
        tuple(thresholds),
        N_SETS,
        PER_MONTH,
    )

    def compute() -> dict[str, NDArray[np.float64]]:
        columns = [
            _chances(found, lines, thresholds) for found in _sets(prepared, max(line[0] for line in lines))
        ]
        return {"chance": np.stack(columns, axis=1).ravel()}

    return kept_arrays("rain-chances", key, compute)["chance"].reshape(len(asked), N_SETS)


def _raw_threshold_db(prepared: Prepared, hop: int, step: int) -> float:
    plain = HopThresholds(prepared.designs[hop], prepared.anchors[hop], prepared.nights[hop], PLAIN)
    return float(plain.nominal.rain_down_db[0, step])


def _sets(prepared: Prepared, longest_hop_km: float) -> Iterator[Scenes]:
    months = month_laws(prepared.rain_law, DEFAULT_POPULATION, prepared.storms)
    for number in range(N_SETS):
        yield scenes(
            months,
            DEFAULT_POPULATION,
            prepared.storms,
            per_month=PER_MONTH,
            first_month=_MONTHS_OF_ANCHORS * (1 + number),
            longest_hop_km=surroundings_km(longest_hop_km),
        )


def _chances(
    found: Scenes, lines: Sequence[tuple[float, float, float]], thresholds: Sequence[float]
) -> NDArray[np.float64]:
    chances = np.zeros(len(lines))
    for i, ((length_km, k, alpha), threshold_db) in enumerate(zip(lines, thresholds, strict=True)):
        attenuation_db, share = hop_samples(found, path_length_km=length_km, k=k, alpha=alpha)
        chances[i] = share[attenuation_db > threshold_db].sum()
    return chances
