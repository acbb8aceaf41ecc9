"""Events whose rate steps up during storms: the time change that makes them from a unit-rate process."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from models.intervals import Floats, Intervals, Ints


def event_times_s(
    hazard: NDArray[np.float64],
    storms: Intervals,
    *,
    span_s: tuple[float, float],
    rate_outside: NDArray[np.float64],
    rate_inside: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Times at which the expected number of events reaches given values.

    If the values are the arrivals of a unit-rate Poisson process, the times are those of a Poisson
    process with ``rate_outside`` in fair weather and ``rate_inside`` in storms.

    Parameters
    ----------
    hazard : float array, shape (n_rows, n_events)
        Ascending along the second axis, at least 0.
    storms : Intervals
        Storm intervals [s], one row each.
    span_s : tuple of two floats
        Start, where the expected number is 0, and end [s].
    rate_outside, rate_inside : float arrays, shape (n_rows,)
        Events per second, at least 0.

    Returns
    -------
    array, shape (n_rows, n_events)
        Times [s], infinite after the end.

    References
    ----------
    Time-change theorem of the inhomogeneous Poisson process, textbook (E. Cinlar, Introduction to
    Stochastic Processes, 1975, chapter 4).
    """
    return np.asarray(
        _invert(
            storms.offset, storms.start_s, storms.end_s, span_s[0], span_s[1],
            rate_outside, rate_inside, np.ascontiguousarray(hazard),
        )
    )  # fmt: skip


@njit(cache=True, error_model="numpy", nogil=True)
def _invert(
    offset: Ints,
    storm_start_s: Floats,
    storm_end_s: Floats,
    low_s: float,
    high_s: float,
    outside: Floats,
    inside: Floats,
    hazard: Floats,
) -> Floats:
    n_rows, n_events = hazard.shape
    times = np.full((n_rows, n_events), np.inf)
    for i in range(n_rows):
        at, done, n = low_s, 0.0, 0
        last = offset[i + 1]
        for k in range(offset[i], last + 1):
            # a stretch of fair weather, then the storm after it (none after the last)
            fair_end = high_s if k == last else min(max(storm_start_s[k], at), high_s)
            step = outside[i] * (fair_end - at)
            while n < n_events and hazard[i, n] < done + step:
                times[i, n] = at + (hazard[i, n] - done) / outside[i]
                n += 1
            at, done = fair_end, done + step
            if k == last:
                break
            storm_end = min(max(storm_end_s[k], at), high_s)
            step = inside[i] * (storm_end - at)
            while n < n_events and hazard[i, n] < done + step:
                times[i, n] = at + (hazard[i, n] - done) / inside[i]
                n += 1
            at, done = storm_end, done + step
    return times
