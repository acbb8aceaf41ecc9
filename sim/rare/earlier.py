"""What had failed before a failure put in by hand: broken parts and empty stores drawn more often, weighted.

The history before time t is drawn in one of several ways by chance: as it comes, or with some failures put in
before t, parts and lags from known laws. Failures of parts with exponential lives come at their rate while
these work, so that the density of a history with failures (y_i, u_i) drawn in the second way, over that of
the same history as it comes, is known: for one failure put in

    sum over i of p(y_i) q(t - u_i) / lambda(y_i)  +  chance that one put in falls on a part that is down,

p the chance of a part and q the density of its lag, the sum over all failures of those parts within reach. A
history's weight is one over the mean of these ratios, at most one over the share of those that come by
themselves: 4.

References
----------
Multiple importance sampling with a defensive part: A. B. Owen, Monte Carlo theory, methods and examples
(2013), chapter 9; the formula of Mecke for Poisson processes: G. Last and M. Penrose, arXiv:0909.3205; from
memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb, factorial

import numpy as np

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.judging.cause import Cause
from hopyears.sim.equipment.failure_log import FailureLog, Failures

BY_THEMSELVES = 0.25
"""Share of the histories to which nothing earlier is put in."""

EVEN_SHARE = 0.15
"""Share of the lags that are spread evenly over ``REACH_S``; the others are exponential."""

REACH_S = SECONDS_PER_YEAR
"""Largest lag."""


@dataclass(frozen=True)
class Earlier:
    """A law of failures put in before another: so many, each of a part and with a lag drawn apart.

    Attributes
    ----------
    parts : int array, shape (n,)
        Numbers in the plant, all with exponential lives, none resting.
    chance : float array, shape (n,)
        Of each part, above 0; they sum to 1.
    lag_s : float array, shape (n,)
        Mean of the exponential law of the lag of each part [s], cut at ``REACH_S``.
    rate_per_s : float array, shape (n,)
        Failures of each part while it works.
    number : int
        Failures put in, at least 1.
    """

    parts: Ints
    chance: Floats
    lag_s: Floats
    rate_per_s: Floats
    number: int = 1

    def drawn(self, random: np.random.Generator, time_s: float) -> dict[int, tuple[float, ...]]:
        """Times of failures before a time, by part."""
        found: dict[int, tuple[float, ...]] = {}
        for place in random.choice(len(self.parts), size=self.number, p=self.chance).tolist():
            share = random.random()
            if random.random() < EVEN_SHARE:
                lag_s = share * REACH_S
            else:
                mean_s = float(self.lag_s[place])
                lag_s = -mean_s * float(np.log1p(share * np.expm1(-REACH_S / mean_s)))
            part = int(self.parts[place])
            found[part] = tuple(sorted((*found.get(part, ()), time_s - lag_s)))
        return found

    def density_per_s(self, place: Ints, lag_s: Floats) -> Floats:
        """Of lags of the parts at these places, shape (n,); 0 beyond ``REACH_S``."""
        mean_s = self.lag_s[place]
        bent = np.exp(-lag_s / mean_s) / (-mean_s * np.expm1(-REACH_S / mean_s))
        found = (1.0 - EVEN_SHARE) * bent + EVEN_SHARE / REACH_S
        return np.where((lag_s >= 0.0) & (lag_s <= REACH_S), found, 0.0)

    def chance_below(self, place: Ints, lag_s: Floats) -> Floats:
        """Chance of a shorter lag, likewise."""
        mean_s, within_s = self.lag_s[place], np.clip(lag_s, 0.0, REACH_S)
        bent = np.expm1(-within_s / mean_s) / np.expm1(-REACH_S / mean_s)
        return np.asarray((1.0 - EVEN_SHARE) * bent + EVEN_SHARE * within_s / REACH_S)

    def ratio(self, failures: Failures, time_s: float, never: Bools | None = None) -> float:
        """Density of a history when failures are put in before a time, over that as it comes.

        Those of parts that ``never`` fail, shape (n_parts of the plant,), are not put in.
        """
        place_of = np.full(len(failures.part_offset) - 1, -1)
        place_of[self.parts] = np.arange(len(self.parts))
        place = place_of[failures.part]
        ours = (place >= 0) & (failures.failed_s < time_s)
        place, start_s = place[ours], failures.failed_s[ours]
        end_s = np.minimum(failures.mended_s[ours], time_s)
        inside = self.chance_below(place, time_s - start_s) - self.chance_below(place, time_s - end_s)
        without_effect = float(self.chance[place] @ inside)
        if never is not None:
            without_effect += float(self.chance[never[self.parts]].sum())
        by_itself = (failures.cause[ours] & int(Cause.LIGHTNING | Cause.MAINTENANCE)) == 0
        place = place[by_itself]
        density = self.density_per_s(place, time_s - start_s[by_itself])
        terms = self.chance[place] * density / self.rate_per_s[place]
        return sum(
            comb(self.number, hit) * without_effect ** (self.number - hit) * factorial(hit) * together
            for hit, together in enumerate(_products(terms, self.number))
        )


def weight(ways: Sequence[Earlier], log: FailureLog, time_s: float, never: Bools | None = None) -> float:
    """Weight of a history into which failures before a time were put in by one of some ways, or none."""
    if not ways:
        return 1.0
    mean = sum(way.ratio(log.failures, time_s, never) for way in ways) / len(ways)
    return 1.0 / (BY_THEMSELVES + (1.0 - BY_THEMSELVES) * mean)


def chosen(ways: Sequence[Earlier], random: np.random.Generator) -> Earlier | None:
    """One of the ways, or none: by chance."""
    share = random.random()
    if not ways or share < BY_THEMSELVES:
        return None
    return ways[int((share - BY_THEMSELVES) / (1.0 - BY_THEMSELVES) * len(ways))]


def _products(terms: Floats, most: int) -> list[float]:
    """Sums of the products of 0, 1 ... ``most`` different terms."""
    found = [1.0] + [0.0] * most
    for term in terms.tolist():
        for many in range(most, 0, -1):
            found[many] += term * found[many - 1]
    return found
