"""Which of several plans is best, how sure that is, and which are beaten by none."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.sim.streams import Streams

RESAMPLES = 4000
"""Resamples of the bootstrap: a chance near one half is known to 0.8 % (one standard error)."""


@dataclass(frozen=True)
class Ranking:
    """Members in the order of a figure of which less is better.

    Attributes
    ----------
    rank : int array, shape (n,)
        1 for the best.
    right_chance : float array, shape (n,)
        Chance that a member truly has its rank; NaN where no stratum has two units.
    best_chance : float array, shape (n,)
        Chance that it is truly the best.
    order_chance : float
        Chance that the whole order is right.
    """

    rank: Ints
    right_chance: Floats
    best_chance: Floats
    order_chance: float


def ranked(strata: Sequence[Floats], known: ArrayLike, seed: int) -> Ranking:
    """Rank by a sum of means over independent strata, and bootstrap the units for how sure that is.

    Parameters
    ----------
    strata : sequence of float arrays, shape (n_units, n_members)
        A figure of each unit of each member; a row is one unit, met by all members alike.
    known : float array, shape (n_members,)
        What is added without chance, for instance a cost.
    seed : int
        Of the run.

    Notes
    -----
    Units are drawn anew with replacement, n - 1 of n, the same for all members, so that pairs stay pairs.
    Members that tie in a resample take their places by lot. No chance is more than 1 - 2^-n, n the units of
    the smallest stratum: a coin falls on one side n times that seldom (sign test), whatever a bootstrap of
    few units says.

    References
    ----------
    B. Efron and R. J. Tibshirani, An Introduction to the Bootstrap (1993); n - 1 of n: J. N. K. Rao and
    C. F. J. Wu, Journal of the American Statistical Association 83 (1988) 231-241; both from memory.
    """
    fixed = np.asarray(known, dtype=np.float64)
    held = [np.asarray(values, dtype=np.float64) for values in strata if len(values)]
    figure = fixed + sum((values.mean(axis=0) for values in held), np.zeros(len(fixed)))
    rank = np.empty(len(fixed), dtype=np.int64)
    rank[np.argsort(figure, kind="stable")] = np.arange(1, len(fixed) + 1)
    if not any(len(values) > 1 for values in held):
        nothing = np.full(len(fixed), np.nan)
        return Ranking(rank, nothing, nothing.copy(), float("nan"))
    rng = Streams(seed, 0).generator("ranking")
    drawn = np.tile(fixed, (RESAMPLES, 1))
    for values in held:
        n = len(values)
        weights = rng.multinomial(max(n - 1, 1), np.full(n, 1.0 / n), size=RESAMPLES)
        drawn += weights @ values / max(n - 1, 1)
    # Equal figures may differ in the last digit by the order of a sum.
    scale = np.abs(drawn).max(initial=0.0)
    order = np.lexsort(
        (rng.random(drawn.shape), np.round(drawn, 12) if scale < 1 else drawn.round(9)), axis=1
    )
    found = np.argsort(order, axis=1) + 1
    most = 1.0 - 0.5 ** min(len(values) for values in held if len(values) > 1)
    return Ranking(
        rank,
        np.minimum((found == rank).mean(axis=0), most),
        np.minimum((found == 1).mean(axis=0), most),
        min(float((found == rank).all(axis=1).mean()), most),
    )


def undominated(cost: ArrayLike, harm: ArrayLike) -> Bools:
    """Which members no other beats: cheaper and no worse, or better and no dearer.

    Parameters
    ----------
    cost, harm : float arrays, shape (n,)
        Less is better. A cost that is not a number is never beaten and beats none.
    """
    dear, bad = np.asarray(cost, dtype=np.float64), np.asarray(harm, dtype=np.float64)
    no_worse = (dear[None, :] <= dear[:, None]) & (bad[None, :] <= bad[:, None])
    better = (dear[None, :] < dear[:, None]) | (bad[None, :] < bad[:, None])
    return np.asarray(~(no_worse & better).any(axis=1))
