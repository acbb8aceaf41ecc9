"""How much rain outage each hop has in the long run, from snapshots of the field that no run uses.

The snapshots give the exact law of the simulated rain, anchoring included, up to their own chance error.
Independent sets of them show how large that is.
"""

from collections.abc import Iterator, Sequence
from dataclasses import astuple

import numpy as np
from numpy.typing import NDArray

from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import RainLaw
from hopyears.sim.blocks.prepared import Prepared, local_law
from hopyears.sim.counting.fading_tally import PLAIN
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.rain.peaks import RAIN_MODEL_VERSION, month_laws
from hopyears.sim.rain.scenes import Scenes, hop_samples, scenes, surroundings_km
from hopyears.sim.storage.disk_cache import Key, kept_arrays

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
        *(_numbers_of(prepared, hop) for hop, _ in asked),
        repr(astuple(DEFAULT_POPULATION)),
        repr(astuple(prepared.storms)),
        tuple(float(value) for line in lines for value in line),
        tuple(thresholds),
        N_SETS,
        PER_MONTH,
    )

    def compute() -> dict[str, NDArray[np.float64]]:
        local = [local_law(prepared.designs[hop], prepared.weather) for hop, _ in asked]
        nodes = {id(law): law for hop in local for _, law in hop}
        reach_km = surroundings_km(max(line[0] for line in lines))
        chance = np.zeros((len(asked), N_SETS))
        for node in nodes.values():
            shares = np.array([sum(share for share, law in hop if law is node) for hop in local])
            here = np.flatnonzero(shares)
            for number, found in enumerate(_sets(prepared, node, reach_km)):
                for i in here:
                    chance[i, number] += shares[i] * _chance(found, lines[i], thresholds[i])
        return {"chance": chance.ravel()}

    return kept_arrays("rain-chances", key, compute)["chance"].reshape(len(asked), N_SETS)


def _numbers_of(prepared: Prepared, hop: int) -> tuple[float, ...]:
    """Climate of the field at a hop, in numbers."""
    numbers: list[float] = []
    for share, law in local_law(prepared.designs[hop], prepared.weather):
        numbers += [share, *law.mean_rate_mm_h.tolist(), *law.rain_probability.tolist()]
    return tuple(numbers)


def _raw_threshold_db(prepared: Prepared, hop: int, step: int) -> float:
    plain = HopThresholds(prepared.designs[hop], prepared.anchors[hop], prepared.nights[hop], PLAIN)
    return float(plain.nominal.rain_down_db[0, step])


def _sets(prepared: Prepared, law: RainLaw, reach_km: float) -> Iterator[Scenes]:
    months = month_laws(law, DEFAULT_POPULATION, prepared.storms)
    for number in range(N_SETS):
        yield scenes(
            months,
            DEFAULT_POPULATION,
            prepared.storms,
            per_month=PER_MONTH,
            first_month=_MONTHS_OF_ANCHORS * (1 + number),
            longest_hop_km=reach_km,
        )


def _chance(found: Scenes, line: tuple[float, float, float], threshold_db: float) -> float:
    length_km, k, alpha = line
    attenuation_db, share = hop_samples(found, path_length_km=length_km, k=k, alpha=alpha)
    return float(share[attenuation_db > threshold_db].sum())
