"""Rows of the tallies from histories: outages, causes, rates, modulation."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.calendar import month_edges_s
from hopyears.models.basics.kernel import kernel
from hopyears.models.judging.cause import Cause
from hopyears.models.judging.outage_loops import SEVERELY_ERRORED, UNAVAILABLE
from hopyears.models.judging.outage_rule import SEVERE_SHARE, Lost, classify, either_way
from hopyears.sim.counting.keyed_table import Columns
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service_data import (
    BACKWARD,
    FORWARD,
    LEAST_SHORTFALL_MBIT_S,
    ServiceDemand,
    ServiceHistory,
)
from hopyears.sim.services.service_run import Outages

BOTH = 2
"""Direction number of both ways together."""

N_BINS = 1000
"""Bins of the throughput histogram: bin b has shares of the peak above (b-1)/1000 to b/1000, bin 0 zero."""

Rows = list[tuple[Ints, Floats]]
"""Keys (n, n_keys) and values (n, n_values) of some rows."""

Ways = tuple[Lost, Lost, Lost]
"""Lost seconds forward, backward, and both ways together."""

TOTAL = Columns(
    ("entity", "direction"),
    ("observed_s", "unavailable_s", "severely_errored_s", "errored_s", "outages"),
    ("longest_outage_s",),
)
MONTH = Columns(
    ("entity", "direction", "block", "year", "month"), ("unavailable_s", "severely_errored_s", "outages")
)
SERVICE_MONTH = Columns(
    MONTH.keys, (*MONTH.sums, "planned_s", "planned_outages", "below_committed_s", "undelivered_mbit")
)
"""Of the unavailable time, that with planned work among the causes; outages that begin with it; time below
committed; megabits that lack of the peak rate, asked for at the hour or not (of both ways, of the slower
one)."""
CAUSE = Columns(("entity", "direction", "causes"), ("unavailable_s", "severely_errored_s"))
OUTAGE = Columns(("entity", "block", "start_s", "causes"), ("duration_s",))
TRAFFIC = Columns(("entity", "direction"), ("delivered_mbit", "peak_mbit", "down_s", "below_committed_s"))
UNDELIVERED = Columns(
    ("entity", "direction", "causes"),
    ("undelivered_mbit", "undelivered_committed_mbit", "seconds", "below_committed_s"),
)
THROUGHPUT = Columns(("entity", "direction", "bin"), ("seconds",))
CAPACITY = Columns(("entity", "direction", "capacity_kbit_s"), ("seconds",))
STATE_CAUSE = Columns(("entity", "causes"), ("seconds",))
LEVEL = Columns(("entity", "direction", "level"), ("channel_seconds",))


@dataclass(frozen=True)
class Block:
    """Number and length of a block of years."""

    number: int
    n_years: int

    @cached_property
    def edges_s(self) -> Floats:
        """Edges of its months [s], shape (12 n_years + 1,)."""
        return month_edges_s(self.n_years)

    @property
    def duration_s(self) -> float:
        """Its length [s], a whole number."""
        return float(self.edges_s[-1])


def three_ways(history: ServiceHistory | HopHistory, duration_s: float) -> Ways:
    """Lost seconds forward, backward and both ways by the ten-second rule."""
    forward, backward = (
        classify(
            *_down_intervals(history, direction, duration_s),
            duration_s=duration_s,
            severe_share=history.severe_share if isinstance(history, ServiceHistory) else SEVERE_SHARE,
        )
        for direction in (FORWARD, BACKWARD)
    )
    return forward, backward, either_way(forward, backward)


def lost_both_ways(outages: Outages, service: int) -> Lost:
    """Lost seconds of a service, both ways, by the ten-second rule."""
    rule = {"duration_s": outages.duration_s, "severe_share": float(outages.severe_share[service])}
    forward, backward = (
        classify(*outages.down_intervals(service, direction), **rule) for direction in (FORWARD, BACKWARD)
    )
    return either_way(forward, backward)


def _down_intervals(
    history: ServiceHistory | HopHistory, direction: int, duration_s: float
) -> tuple[Floats, Floats, Ints]:
    """Stretches without service; a hop by itself is down while it carries nothing."""
    if isinstance(history, ServiceHistory):
        return history.down_intervals(direction)
    time_s, end_s, state = _lasting(history, duration_s)
    down = (history.capacity_mbit_s[:, direction] <= 0.0)[state]
    return time_s[down], end_s[down], history.causes[state[down]]


def _lasting(hop: HopHistory, duration_s: float) -> tuple[Floats, Floats, NDArray[np.int32]]:
    """Start, end and state of each stretch of a hop's history within the block."""
    n = int(np.searchsorted(hop.time_s, duration_s))
    return hop.time_s[:n], np.append(hop.time_s[1:n], duration_s), hop.state[:n]


def total_row(entity: int, direction: int, lost: Lost) -> tuple[Ints, Floats]:
    """Row of ``TOTAL``."""
    lengths = lost.unavailable_end_s - lost.unavailable_start_s
    times = [lost.duration_s, lost.unavailable_s, lost.severely_errored_s, lost.errored_s]
    values = [*times, lost.n_outages, lengths.max(initial=0)]
    return np.array([[entity, direction]]), np.array([values], dtype=np.float64)


def month_rows(entity: int, direction: int, lost: Lost, block: Block) -> tuple[Ints, Floats]:
    """Rows of ``MONTH``; an outage counts in the month it begins in, its seconds where they fall."""
    edges = block.edges_s
    severe = lost.kind == SEVERELY_ERRORED
    values = (
        seconds_between(edges, lost.unavailable_start_s, lost.unavailable_end_s),
        seconds_between(edges, lost.start_s[severe], lost.end_s[severe]),
        np.diff(np.searchsorted(lost.unavailable_start_s, edges)),
    )
    month = np.arange(edges.size - 1)
    keys = entity, direction, block.number, month // 12, month % 12
    return _columns(month.size, np.int64, *keys), _columns(month.size, np.float64, *values)


def service_month_rows(
    entity: int, direction: int, lost: Lost, history: ServiceHistory, block: Block
) -> tuple[Ints, Floats]:
    """Rows of ``SERVICE_MONTH``; the history has its spans by month, or else nothing of them is counted."""
    keys, values = month_rows(entity, direction, lost, block)
    spans = history.spans[:, direction] if len(history.spans) else np.zeros((len(keys), 2))
    return keys, np.column_stack([values, *planned_by_month(lost, block.edges_s), spans[:, 1], spans[:, 0]])


def planned_by_month(lost: Lost, edges_s: Floats) -> tuple[Floats, Floats]:
    """Unavailable seconds with planned work among their causes, and outages that begin with it, by month."""
    planned = (lost.kind == UNAVAILABLE) & ((lost.causes & int(Cause.MAINTENANCE)) != 0)
    if not planned.any():
        return np.zeros(edges_s.size - 1), np.zeros(edges_s.size - 1)
    start_s = lost.start_s[planned]
    begun = start_s[np.isin(start_s, lost.unavailable_start_s)]
    seconds = seconds_between(edges_s, start_s, lost.end_s[planned])
    return seconds, np.diff(np.searchsorted(begun, edges_s)).astype(np.float64)


def seconds_between(edges: Floats, start_s: Ints | Floats, end_s: Ints | Floats) -> Floats:
    """Time of sorted disjoint intervals between each pair of neighbouring edges."""
    return np.diff(_seconds_before(edges, start_s.astype(np.float64), end_s.astype(np.float64)))


@kernel
def _seconds_before(edges: Floats, start_s: Floats, end_s: Floats) -> Floats:
    """Time of sorted disjoint intervals before each edge."""
    inside, before, n = np.zeros(edges.size), 0.0, 0
    for i in range(edges.size):
        while n < start_s.size and start_s[n] < edges[i]:
            if n > 0:
                before += end_s[n - 1] - start_s[n - 1]
            n += 1
        if n > 0:
            inside[i] = min(edges[i], end_s[n - 1]) - start_s[n - 1] + before
    return inside


def cause_rows(entity: int, direction: int, lost: Lost) -> tuple[Ints, Floats]:
    """Rows of ``CAUSE``: each lost second under its exact set of causes."""
    seconds = lost.end_s - lost.start_s
    values = (seconds * (lost.kind == kind) for kind in (UNAVAILABLE, SEVERELY_ERRORED))
    return _keyed(entity, direction, lost.causes), _columns(seconds.size, np.float64, *values)


def outage_rows(entity: int, lost: Lost, block: Block) -> tuple[Ints, Floats]:
    """Rows of ``OUTAGE``: each unavailable interval with all causes met in it."""
    n = lost.n_outages
    if n == 0:
        return np.zeros((0, 4), np.int64), np.zeros((0, 1))
    first = np.searchsorted(lost.start_s, lost.unavailable_start_s)
    last = np.searchsorted(lost.start_s, lost.unavailable_end_s)
    # Reduce over [first, last) of each outage only: what lies between outages falls to odd places.
    padded = np.append(lost.causes, 0)
    causes = np.bitwise_or.reduceat(padded, np.stack([first, last], axis=1).ravel())[::2]
    keys = _columns(n, np.int64, entity, block.number, lost.unavailable_start_s, causes)
    return keys, (lost.unavailable_end_s - lost.unavailable_start_s)[:, None].astype(np.float64)


def _keyed(entity: int, direction: int, third: Ints) -> Ints:
    keys: Ints = _columns(third.size, np.int64, entity, direction, third)
    return keys


def _columns(n: int, kind: type[np.int64 | np.float64], *columns: ArrayLike) -> NDArray[Any]:
    """Arrays of ``n``, or single numbers, side by side."""
    found = np.empty((n, len(columns)), dtype=kind)
    for place, column in enumerate(columns):
        found[:, place] = column
    return found


def traffic_rows(entity: int, service: ServiceDemand, history: ServiceHistory) -> dict[Columns, Rows]:
    """Rows of ``TRAFFIC``, ``UNDELIVERED`` and ``THROUGHPUT`` of one service.

    A service that is not down is *below committed* while it gets less than its committed rate, or than the
    share of it that it asks for at the hour; of both ways together while either is and neither is down.
    """
    seconds = history.seconds
    peaks = (*service.peak_ways_mbit_s, min(service.peak_ways_mbit_s))
    committed = np.outer(history.asked_share, service.committed_ways_mbit_s)
    short = history.rate_mbit_s < committed - LEAST_SHORTFALL_MBIT_S
    rows: dict[Columns, Rows] = {TRAFFIC: [], UNDELIVERED: [], THROUGHPUT: []}
    lower = history.rate_mbit_s.min(axis=1)
    rates = {FORWARD: history.rate_mbit_s[:, 0], BACKWARD: history.rate_mbit_s[:, 1], BOTH: lower}
    for direction, rate in rates.items():
        peak, asked = peaks[direction], peaks[direction] * history.asked_share
        down = history.down.any(axis=1) if direction == BOTH else history.down[:, direction]
        # Rates are whole kbit/s, so a share that ends on an edge belongs to the bin below it.
        share = np.ceil(np.minimum(rate / peak, 1.0) * N_BINS - 1e-9).astype(np.int64)
        rows[THROUGHPUT].append((_keyed(entity, direction, share), seconds[:, None]))
        below = ~down & (short.any(axis=1) if direction == BOTH else short[:, direction])
        sums = np.array([[rate @ seconds, peak * seconds.sum(), down @ seconds, below @ seconds]])
        rows[TRAFFIC].append((np.array([[entity, direction]]), sums))
        if direction != BOTH:
            missing = np.maximum(asked - rate, 0.0) * (history.causes[:, direction] != 0)
            lacking = np.maximum(committed[:, direction] - rate, 0.0) * (missing > 0.0)
            times = [seconds * (missing > 0.0), seconds * below]
            values = _columns(seconds.size, np.float64, missing * seconds, lacking * seconds, *times)
            rows[UNDELIVERED].append((_keyed(entity, direction, history.causes[:, direction]), values))
    return rows


def hop_rows(
    entity: int, hop: HopHistory, duration_s: float, channels_at_level: NDArray[np.int_] | None
) -> dict[Columns, Rows]:
    """Rows of ``CAPACITY``, ``STATE_CAUSE`` and ``LEVEL`` of one hop.

    Parameters
    ----------
    channels_at_level : int array, shape (n_states, 2, n_levels), optional
        Channels at each modulation level in each state and direction.
    """
    start_s, end_s, state = _lasting(hop, duration_s)
    weights = end_s - start_s
    seconds = np.bincount(state, weights=weights, minlength=hop.causes.size).astype(np.float64)
    rows: dict[Columns, Rows] = {CAPACITY: [], STATE_CAUSE: [], LEVEL: []}
    for direction in (FORWARD, BACKWARD):
        kbit_s = np.rint(hop.capacity_mbit_s[:, direction] * 1e3).astype(np.int64)
        rows[CAPACITY].append((_keyed(entity, direction, kbit_s), seconds[:, None]))
        if channels_at_level is not None:
            time_at = seconds @ channels_at_level[:, direction].astype(np.float64)
            rows[LEVEL].append((_keyed(entity, direction, np.arange(time_at.size)), time_at[:, None]))
    keys = _columns(hop.causes.size, np.int64, entity, hop.causes)
    rows[STATE_CAUSE].append((keys, seconds[:, None]))
    return rows
