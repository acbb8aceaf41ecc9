"""Rare failures put into ordinary histories one at a time, each weighted by its known rate.

Let X_C be all that fails of common kinds and X_R what fails of rare ones, and G_x what a figure F grows by
when rare part x fails at time t in the history with all of X_C and with X_R before t only. Adding the rare
failures in order of time gives, for any figure, with queues, spares and standbys as they are,

    E F(X_C, X_R) = E F(X_C) + sum over x of INT lambda_x(t) E[G_x(X_C, X_R before t)] dt,

lambda_x the rate at which x fails, 0 while it is down. The first term is the mean over histories without rare
failures; the second is drawn: part x with chance p_x, the time evenly over a year, and the growth weighted by
rate over p_x. A failure that comes once in a thousand years is thus in every draw.

References
----------
P. Bremaud, Point Processes and Queues (1981), the intensity formula; F. Baccelli, P. Bremaud, Advances in
Applied Probability 25 (1993) 221-234; from memory.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.units import HOURS_PER_YEAR
from hopyears.models.equipment.lifetimes import LawKind
from hopyears.models.equipment.plant import Plant
from hopyears.sim.rare.alone import Alone
from hopyears.sim.streams import Streams, keyed_uniforms

YEARS_OF_A_DRAW = 10.0
"""Years of history that cost as much as a draw: a kind of failure is put in by hand where that tells more."""

LEAST_SHARE = 0.2
"""Least share of a part of the draws, over that of a typical one: weights stay within five
times the typical."""

_Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RareParts:
    """Parts whose failures are put in by hand.

    Attributes
    ----------
    parts : int array, shape (n,)
        Numbers in the plant; may be none.
    rate_per_year : float array, shape (n,)
        Failures of each while it works.
    chance : float array, shape (n,)
        Share of the draws in which each is the one that fails, above 0; they sum to 1.
    """

    parts: NDArray[np.int64]
    rate_per_year: _Floats
    chance: _Floats

    def mask(self, n_parts: int) -> NDArray[np.bool_]:
        """Which of all parts are rare, shape (n_parts,)."""
        found = np.zeros(n_parts, dtype=np.bool_)
        found[self.parts] = True
        return found

    @property
    def weight_per_year(self) -> _Floats:
        """Weight of a draw with each part: what it adds is that much a year."""
        return self.rate_per_year / self.chance

    def drawn(self, plant: Plant, streams: Streams, n: int) -> NDArray[np.int64]:
        """Places in ``parts`` of the parts that fail in the first ``n`` draws of a block.

        Each part has its own exponential variable in every draw, over its chance, and the least one fails: a
        changed plan so moves few draws.
        """
        keys = streams.keys([("forced", plant.parts[part].id) for part in self.parts])
        waits = -np.log(keyed_uniforms(keys[None, :], np.arange(n, dtype=np.uint64)[:, None])) / self.chance
        return np.asarray(waits.argmin(axis=1), dtype=np.int64)


def rare_parts(plant: Plant, alone: Alone) -> RareParts:
    """Parts that stop a service by themselves, of the kinds of which draws tell more than histories do.

    Losses D that come L times a year give a history of T years the variance L E[D^2] / T, and a draw of which
    a share P has a part that stops the service (L^2 / P) E[D^2]: draws win where L < P / T. Kinds that most
    of the services that they stop lose by are left to histories, and so are parts that wear out, have infant
    failures or mostly fail without harm. Which parts are chosen decides how much is won, never whether the
    mean is right.
    """
    law, mean_h, _ = plant.lives
    rate = HOURS_PER_YEAR / mean_h
    stops = alone.lost_s > 0.0
    able = (law == LawKind.EXPONENTIAL) & stops.any(axis=1)
    kinds: dict[str, list[int]] = {}
    for number, part in enumerate(plant.parts):
        kind = plant.kinds[part.kind]
        if able[number] and kind.affecting_share == 1.0 and not kind.infant_share:
            kinds.setdefault(part.kind, []).append(number)
    while kinds:
        parts = np.array(sorted(part for own in kinds.values() for part in own), dtype=np.int64)
        chance = _chances(rate[parts], alone.lost_s[parts])
        of_part = np.zeros(len(plant.parts))
        of_part[parts] = chance
        worth = {name: _worth(rate[own], of_part[own], stops[own]) for name, own in kinds.items()}
        least = min(worth, key=worth.__getitem__)
        if worth[least] >= 1.0:
            return RareParts(parts, rate[parts], chance)
        del kinds[least]
    return RareParts(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0))


def _chances(rate: _Floats, lost_s: _Floats) -> _Floats:
    """Shares of parts of the draws: by the time that each takes a year, and how many services it stops."""
    harm = rate * lost_s.max(axis=1) * np.sqrt((lost_s > 0.0).sum(axis=1))
    share = np.maximum(harm, LEAST_SHARE * harm.mean())
    return np.asarray(share / share.sum())


def _worth(rate: _Floats, chance: _Floats, stops: NDArray[np.bool_]) -> float:
    """How many times more a draw tells than a history about a kind, for the service in the middle."""
    often, share = rate @ stops, chance @ stops
    hit = often > 0.0
    return float(np.median(share[hit] / (often[hit] * YEARS_OF_A_DRAW)))
