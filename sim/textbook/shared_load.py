"""Textbook outage of a link: one hop, or the hops of a bundle, which share their load.

The link carries a rate when the hops that are up carry it together. Equipment of the hops fails
independently: the states of the bundle are added up, each with its chance. In each state fading decides over
the hops that are up:

- *Rain* is the same on hops side by side: they lose their modulations at one time, each at its own share of
  the year.
- *Multipath* has its nights in common and its fades apart. The sheet counts the longer of two times, that of
  fades all at one time and that of independent ones, so that it errs to the safe side (our own).
"""

from collections.abc import Sequence
from itertools import combinations
from math import prod

import numpy as np
import pandas as pd

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import MINUTES_PER_YEAR

MOST_DOWN = 3
"""States with more hops down at once count as an outage: they last for less than any figure shown."""

_RAIN, _MULTIPATH, _EQUIPMENT = "rain_min_per_year", "multipath_min_per_year", "equipment_min_per_year"


def link_minutes(hops: Sequence[pd.DataFrame], rate_mbit_s: float) -> Floats:
    """Rain, multipath and equipment minutes a year in which a link does not carry a rate.

    Parameters
    ----------
    hops : sequence of DataFrame
        Rows of ``predict_hops`` of each hop of the link, the lowest modulation first.
    rate_mbit_s : float
        Of a service alone on the link. A hop by itself counts at its lowest modulation that carries it; a
        link that does not carry it in clear air counts as rained out all year.

    Returns
    -------
    float array, shape (3,)
    """
    if len(hops) == 1:
        (steps,) = hops
        able = np.flatnonzero(steps["capacity_mbit_s"].to_numpy() >= rate_mbit_s)
        if able.size:
            return np.array([steps[kind].iat[able[0]] for kind in (_RAIN, _MULTIPATH, _EQUIPMENT)])
    capacity = [steps["capacity_mbit_s"].to_numpy(dtype=np.float64) for steps in hops]
    if sum(float(levels.max()) for levels in capacity) < rate_mbit_s:
        return np.array([MINUTES_PER_YEAR, 0.0, 0.0])
    rain, multipath = ([_lost_share(steps, kind) for steps in hops] for kind in (_RAIN, _MULTIPATH))
    dead = [float(steps[_EQUIPMENT].iloc[0]) / MINUTES_PER_YEAR for steps in hops]
    total, known = np.zeros(3), 0.0
    everyone = range(len(hops))
    for n_down in range(min(len(hops), MOST_DOWN) + 1):
        for down in combinations(everyone, n_down):
            chance = prod(dead[i] if i in down else 1.0 - dead[i] for i in everyone)
            known += chance
            up = [i for i in everyone if i not in down]
            held = [capacity[i] for i in up]
            if sum(float(levels.max()) for levels in held) < rate_mbit_s or not up:
                total[2] += chance
                continue
            total[0] += chance * _together(held, [rain[i] for i in up], rate_mbit_s)
            fades = [multipath[i] for i in up]
            graver = max(_together(held, fades, rate_mbit_s), _apart(held, fades, rate_mbit_s))
            total[1] += chance * graver
    total[2] += max(1.0 - known, 0.0)
    return total * MINUTES_PER_YEAR


def _lost_share(steps: pd.DataFrame, kind: str) -> Floats:
    """Share of the year without each modulation, never less for a higher one."""
    share: Floats = np.maximum.accumulate(steps[kind].to_numpy(dtype=np.float64)) / MINUTES_PER_YEAR
    return np.minimum(share, 1.0)


def _together(capacity: Sequence[Floats], lost: Sequence[Floats], rate_mbit_s: float) -> float:
    """Share of time below a rate when all hops fade at one time, each in its own measure."""
    for share in np.unique(np.concatenate(lost)):
        held = [float(c[at <= share].max(initial=0.0)) for c, at in zip(capacity, lost, strict=True)]
        if sum(held) >= rate_mbit_s:
            return float(share)
    return 1.0


def _apart(capacity: Sequence[Floats], lost: Sequence[Floats], rate_mbit_s: float) -> float:
    """Share of time below a rate when the hops fade independently."""
    chance = {0.0: 1.0}  # by the capacity of the hops so far, no more than the rate
    for own, at in zip(capacity, lost, strict=True):
        levels = np.append(0.0, own)
        weights = np.diff(np.concatenate(([0.0], at, [1.0])))
        joined: dict[float, float] = {}
        for before, weight in chance.items():
            for level, part in zip(levels, weights, strict=True):
                held = min(before + float(level), rate_mbit_s)
                joined[held] = joined.get(held, 0.0) + weight * float(part)
        chance = joined
    return sum(weight for held, weight in chance.items() if held < rate_mbit_s)
