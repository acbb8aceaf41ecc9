"""What a service owes for its outages: tiers of availability by month or year, with a cap."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.calendar import MONTH_SECONDS
from hopyears.models.basics.units import SECONDS_PER_YEAR


@dataclass(frozen=True)
class Tier:
    """Owed for each month, or year, with an availability below a limit.

    Attributes
    ----------
    availability : float
        Share of the time, above 0 to below 1.
    amount : float
        At least 0 [money].
    yearly : bool
        Judged by the year instead of by the month.
    """

    availability: float
    amount: float
    yearly: bool = False


def owed(unavailable_s: ArrayLike, tiers: Sequence[Tier], cap_per_year: float | None = None) -> Floats:
    """Penalties of each year [money].

    Parameters
    ----------
    unavailable_s : float array, shape (..., 12)
        Unavailable time in each calendar month [s], at least 0.
    tiers : sequence of Tier
        Of those of one period that are broken the dearest is owed, not their sum (our own; state the whole
        amount of each tier).
    cap_per_year : float, optional
        Most that is owed in a year; None for no limit.

    Returns
    -------
    float array, shape (...)
    """
    lost = np.asarray(unavailable_s, dtype=np.float64)
    months, years = np.zeros(lost.shape), np.zeros(lost.shape[:-1])
    for tier in tiers:
        allowed = 1.0 - tier.availability
        if tier.yearly:
            broken = lost.sum(axis=-1) > allowed * SECONDS_PER_YEAR
            years = np.maximum(years, tier.amount * broken)
        else:
            months = np.maximum(months, tier.amount * (lost > allowed * MONTH_SECONDS))
    total = months.sum(axis=-1) + years
    return np.asarray(total if cap_per_year is None else np.minimum(total, cap_per_year))
