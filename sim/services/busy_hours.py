"""Demand by the hour in a services sweep: the clock runs only while capacity may be short.

While every link carries all that may ever be asked of it, each service gets what it asks for, whatever the
hour: the sweep then stands at full demand, and what was asked for follows from the clock alone.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats
from hopyears.models.basics.intervals import merged
from hopyears.models.judging.demand_clock import DemandClock
from hopyears.sim.services.service_data import ServiceDemand, ServiceHistory

Stretches = tuple[Floats, Floats]
"""Starts and ends of stretches of time [s]."""


def where(holds: Bools, time_s: Floats, duration_s: float) -> Stretches:
    """Stretches of a piecewise-constant history in which something holds."""
    end_s = np.minimum(np.append(time_s[1:], duration_s), duration_s)
    some = holds & (end_s > time_s)
    return time_s[some], end_s[some]


def clock_changes(
    clock: DemandClock, short: Iterable[Stretches], duration_s: float
) -> tuple[Floats, NDArray[np.int32]]:
    """Level of a clock in time, at full demand but in the stretches in which capacity may be short.

    Returns
    -------
    time_s : float array, shape (n,)
        Starts [s], the first 0.
    level : int32 array, shape (n,)
    """
    start_s, end_s = (np.concatenate([np.zeros(0), *side]) for side in zip(*short, strict=True))
    awake = merged(np.zeros(start_s.size, dtype=np.int64), start_s, end_s, n_rows=1)
    turns_s, level_of_turn = clock.history(duration_s)
    time_s = np.unique(np.concatenate([[0.0], awake.start_s, awake.end_s, turns_s]))
    time_s = time_s[time_s < duration_s]
    begun, ended = (np.searchsorted(side, time_s, side="right") for side in (awake.start_s, awake.end_s))
    hour = level_of_turn[np.searchsorted(turns_s, time_s, side="right") - 1]
    level = np.where(begun > ended, hour, clock.full).astype(np.int32)
    new = np.append(True, level[1:] != level[:-1])
    return time_s[new], level[new]


def with_hours(
    history: ServiceHistory, service: ServiceDemand, span_edges_s: Sequence[float] | Floats
) -> ServiceHistory:
    """A history of the sweep with the time that it stood at full demand told by the hours of the clock.

    The service gets all that it asks for except in results with a cause: the rest of the time at each level
    is its time with all.
    """
    clock = service.clock
    if clock is None:
        return history
    got_all = ~history.causes.any(axis=1)
    level = np.searchsorted(clock.shares, history.asked_share)
    lacked_s = np.bincount(level[~got_all], history.seconds[~got_all], clock.shares.size)
    asked_s = clock.seconds(np.array([0.0, history.duration_s]))[0]
    rest_s = np.maximum(np.round(asked_s - lacked_s, 6), 0.0)  # below a microsecond it is rounding
    known = level[got_all]
    more = np.setdiff1d(np.flatnonzero(rest_s), known)
    seconds = history.seconds.copy()
    seconds[got_all] = rest_s[known]
    rates = np.round(np.outer(clock.shares[more], service.peak_ways_mbit_s) * 1e3) / 1e3
    return replace(
        history,
        rate_mbit_s=np.concatenate([history.rate_mbit_s, rates]),
        down=np.concatenate([history.down, np.zeros((more.size, 2), dtype=np.bool_)]),
        causes=np.concatenate([history.causes, np.zeros((more.size, 2), dtype=np.int64)]),
        seconds=np.append(seconds, rest_s[more]),
        asked_share=np.append(history.asked_share, clock.shares[more]),
        spans=_with_unasked(history.spans, service, clock, np.asarray(span_edges_s, dtype=np.float64)),
    )


def _with_unasked(spans: Floats, service: ServiceDemand, clock: DemandClock, edges_s: Floats) -> Floats:
    """Spans with what was not even asked for among what lacks of the peak rate."""
    if not len(spans):
        return spans
    found = spans.copy()
    peaks = np.array([*service.peak_ways_mbit_s, min(service.peak_ways_mbit_s)])
    found[:, :, 0] += np.outer(clock.seconds(edges_s) @ (1.0 - clock.shares), peaks)
    return found
