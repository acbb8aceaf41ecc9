"""Events whose rate steps up during storms: the time change that makes them from a unit-rate process."""

import numpy as np

from hopyears.models.basics.intervals import Floats, Intervals, Ints
from hopyears.models.basics.kernel import kernel


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
            storms.offset, storms.start_s, storms.end_s, span_s[0], span_s[1],
            rate_outside, rate_inside, unit_gaps, pause,
        )
    )  # fmt: skip


@kernel
def _invert(
    offset: Ints,
    storm_start_s: Floats,
    storm_end_s: Floats,
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
        if outside[i] == 0.0 and inside[i] == 0.0:
            continue
        at, k = low_s, offset[i]
        for n in range(n_events):
            left = unit_gaps[i, n]  # of the hazard until the event: spent stretch by stretch at its rate
            while at < high_s:
                while k < offset[i + 1] and storm_end_s[k] <= at:
                    k += 1
                stormy = k < offset[i + 1] and storm_start_s[k] <= at
                until = high_s
                if k < offset[i + 1]:
                    until = min(high_s, storm_end_s[k] if stormy else storm_start_s[k])
                rate = inside[i] if stormy else outside[i]
                if rate * (until - at) > left:
                    at += left / rate
                    break
                left -= rate * (until - at)
                at = until
            if at >= high_s:
                break
            times[i, n] = at
            at += pause_s[i, n]
    return times
