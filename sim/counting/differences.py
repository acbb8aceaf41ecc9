"""Differences of figures that are sums of means over several kinds of unit, pair by pair."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.sim.counting.statistics import Interval, Stratum, strata_interval


@dataclass(frozen=True)
class PairedStratum:
    """Differences of the pairs of one kind of unit.

    Attributes
    ----------
    values : float array, shape (n,)
        Of either sign, n at least 1.
    largest_unseen : float
        Size that a difference could reasonably have, used where no pair shows any; 0 where there can be none.
    gains_only : bool
        A difference below 0 is allowed for only where one was seen.
    """

    values: Floats
    largest_unseen: float
    gains_only: bool = False

    def parts(self) -> tuple[Stratum, Stratum]:
        """What lies above 0 and what lies below it, without its sign, as terms of their own.

        Where all that was seen has one sign, one of the other sign may be as large as the largest seen.
        """
        size = float(np.abs(self.values).max()) or self.largest_unseen
        above, below = (np.maximum(sign * self.values, 0.0) for sign in (1.0, -1.0))
        lost = 0.0 if self.gains_only else size
        return Stratum.of(above, largest_unseen=size), Stratum.of(below, largest_unseen=lost)


def paired_strata_interval(strata: Sequence[PairedStratum]) -> Interval:
    """Sum of mean differences over several kinds of pairs; what never differed is a bound, not a zero.

    Parameters
    ----------
    strata : sequence of PairedStratum
        Independent of each other, at least one.

    Notes
    -----
    What the differences add and what they take off are two sums of values that are never negative, each with
    the limits of ``strata_interval``. The limits of their difference come from the distances of these from
    the estimates, which add as squares, and from the covariance of the two sums. With differences of one size
    and sign it takes six to be sure of the sign, as by the sign test.

    References
    ----------
    G. Y. Zou and A. Donner, Construction of confidence limits about effect measures: a general approach,
    Statistics in Medicine 27 (2008) 1693-1702: from memory.
    """
    above, below = zip(*(each.parts() for each in strata), strict=True)
    more, less = strata_interval(above), strata_interval(below)
    # A pair adds or takes off, never both: the covariance widens what the parts alone tell.
    apart = sum(up.variance + down.variance for up, down in zip(above, below, strict=True))
    covariance = sum(
        up.mean * down.mean / each.values.size for up, down, each in zip(above, below, strata, strict=True)
    )
    wider = 1.0 + (2.0 * covariance / apart if apart > 0.0 else 0.0)
    best = more.best - less.best
    low = float(np.sqrt(wider * ((more.best - more.low) ** 2 + (less.high - less.best) ** 2)))
    high = float(np.sqrt(wider * ((more.high - more.best) ** 2 + (less.best - less.low) ** 2)))
    return Interval(best - low, best, best + high)
