"""Events whose rate steps up during storms: the time change that makes them from a unit-rate process."""

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.intervals import Intervals
from hopyears.models.basics.kernel import kernel
from hopyears.models.basics.search import first_above


def event_times_s(
    unit_gaps: Floats,
    storms: Intervals,
    *,
    span_s: tuple[float, float],
    rate_outside: Floats,
    rate_inside: Floats,
    pause_s: Floats | None = None,
) -> Floats:
    """Times of events at given distances in expected number of events.

    If the distances are independent exponentials of mean 1, the events are a Poisson process with
    ``rate_outside`` in fair weather and ``rate_inside`` in storms, stopped during pauses.

    Parameters
    ----------
    unit_gaps : float array, shape (n_rows, n_events)
        Expected number of events from one event to the next, at least 0.
    storms : Intervals
        Storm intervals [s], one row each.
    span_s : tuple of two floats
        Start and end [s].
    rate_outside, rate_inside : float arrays, shape (n_rows,)
        Events per second, at least 0.
    pause_s : float array, shape (n_rows, n_events), or None
        Time after each event during which none can happen (an outage cannot begin in an outage) [s].

    Returns
    -------
    array, shape (n_rows, n_events)
        Times [s], infinite after the end.

    References
    ----------
    Time-change theorem of the inhomogeneous Poisson process, textbook (E. Cinlar, Introduction to
    Stochastic Processes, 1975, chapter 4).
    """
    pause = np.zeros_like(unit_gaps) if pause_s is None else pause_s
    return np.asarray(
        _invert(
            storms.offset, storms.start_s, storms.end_s, storms.before_s, span_s[0], span_s[1],
            rate_outside, rate_inside, unit_gaps, pause,
        )
    )  # fmt: skip


@kernel
def _invert(
    offset: Ints,
    storm_start_s: Floats,
    storm_end_s: Floats,
    before_s: Floats,
    low_s: float,
    high_s: float,
    outside: Floats,
    inside: Floats,
    unit_gaps: Floats,
    pause_s: Floats,
) -> Floats:
    n_rows, n_events = unit_gaps.shape
    times = np.full((n_rows, n_events), np.inf)
    for i in range(n_rows):
        fair, stormy = outside[i], inside[i]
        if fair == 0.0 and stormy == 0.0:
            continue
        at, k, end = low_s, offset[i], offset[i + 1]
        for n in range(n_events):
            left = unit_gaps[i, n]  # of the hazard until the event
            k += first_above(storm_end_s[k:end], at)
            if k < end and storm_start_s[k] <= at:
                rest = stormy * (storm_end_s[k] - at)
                if rest > left:
                    at += left / stormy
                    left = -1.0
                else:
                    left -= rest
                    at = storm_end_s[k]
                    k += 1
            if left >= 0.0:  # the event comes in fair weather before storm k, or later
                first, last = k, end  # before storm ``first``, or before one up to ``last``
                while first < last:
                    j = (first + last) // 2
                    storm_s = before_s[j] - before_s[k]
                    if fair * (storm_start_s[j] - at - storm_s) + stormy * storm_s > left:
                        last = j
                    else:
                        first = j + 1
                if first > k:  # in the storm before that, or in the fair weather after it
                    j = first - 1
                    storm_s = before_s[j] - before_s[k]
                    left -= fair * (storm_start_s[j] - at - storm_s) + stormy * storm_s
                    length_s = storm_end_s[j] - storm_start_s[j]
                    if stormy * length_s > left:
                        at, k, left = storm_start_s[j] + left / stormy, j, -1.0
                    else:
                        at, k, left = storm_end_s[j], first, left - stormy * length_s
                if left >= 0.0:
                    at = at + left / fair if fair > 0.0 else high_s
            if at >= high_s:
                break
            times[i, n] = at
            at += pause_s[i, n]
    return times
