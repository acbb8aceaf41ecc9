"""Loops that count what services and hops lose: the rules of ``counting`` in one pass over all of them."""

import numpy as np

from hopyears.models.basics.kernel import kernel, written_out
from hopyears.models.basics.search import first_above
from hopyears.models.judging.cause import Cause
from hopyears.models.judging.outage_loops import (
    SEVERELY_ERRORED,
    UNAVAILABLE,
    both_ways_kernel,
    one_way_kernel,
)
from hopyears.sim.counting.tally_rows import BOTH

_PLANNED = int(Cause.MAINTENANCE)


# The rule of ``counting.tally_rows`` and ``month_figures`` once more, in one pass over all services: there a
# call of arrays for each service takes forty times as long, and a run has thousands of replications. A test
# holds both to the same.
@kernel
def count_losses(  # type: ignore[no-untyped-def]
    first, time_s, down, causes, severe_share, duration_s, edges_s
):
    """Figures of all services, or hops, shape (n, 3, 3); by month, shape (n, n_months, 4), but for the last
    of ``strata.MONTH_FIGURES``; keys and values of ``CAUSE``, a row for each piece lost both ways together.
    """
    n, n_seconds = len(first) - 1, int(np.floor(duration_s))
    figures, months = np.zeros((n, 3, 3)), np.zeros((n, len(edges_s) - 1, 4))
    keys, values, n_rows = np.empty((256, 3), np.int64), np.empty((256, 2)), 0
    for s in range(n):
        here = slice(first[s], first[s + 1])
        if not _any(down[here]):
            continue
        end_s = _ends(time_s, first[s], first[s + 1], duration_s)
        lost = _one_way(time_s[here], end_s, down[here], causes[here], 0, n_seconds, severe_share[s])
        _put_figures(figures[s, 0], lost)
        back = _one_way(time_s[here], end_s, down[here], causes[here], 1, n_seconds, severe_share[s])
        _put_figures(figures[s, 1], back)
        both = both_ways_kernel(lost[0], lost[1], lost[2], lost[3], back[0], back[1], back[2], back[3])
        _put_figures(figures[s, 2], both)
        _put_months(months[s], both, edges_s)
        start, end, label, kind = both[0], both[1], both[2], both[3]
        while n_rows + len(start) > len(keys):
            keys, values = np.concatenate((keys, keys)), np.concatenate((values, values))
        for i in range(len(start)):
            length = float(end[i] - start[i])
            keys[n_rows, 0], keys[n_rows, 1], keys[n_rows, 2] = s, BOTH, label[i]
            values[n_rows, 0] = length if kind[i] == UNAVAILABLE else 0.0
            values[n_rows, 1] = length if kind[i] == SEVERELY_ERRORED else 0.0
            n_rows += 1
    return figures, months, keys[:n_rows].copy(), values[:n_rows].copy()


@written_out
def _any(down):  # type: ignore[no-untyped-def]
    found = False
    for i in range(len(down)):
        found = found or down[i, 0] or down[i, 1]
    return found


@kernel
def _ends(time_s, first, after, duration_s):  # type: ignore[no-untyped-def]
    """Where each state ends: with the next one, the last with the history."""
    end_s = np.empty(after - first)
    for i in range(first, after - 1):
        end_s[i - first] = time_s[i + 1]
    if after > first:
        end_s[after - 1 - first] = duration_s
    return end_s


@kernel
def _one_way(start_s, end_s, down, causes, way, n_seconds, share):  # type: ignore[no-untyped-def]
    here = down[:, way]
    return one_way_kernel(start_s[here], end_s[here], causes[:, way][here], n_seconds, share)


@kernel
def _put_figures(figures, lost):  # type: ignore[no-untyped-def]
    start, end, _, kind, begin, finish = lost
    for k in range(len(begin)):
        figures[0] += finish[k] - begin[k]
    for i in range(len(start)):
        if kind[i] == SEVERELY_ERRORED:
            figures[1] += end[i] - start[i]
    figures[2] = len(begin)


@kernel
def _put_months(months, both, edges_s):  # type: ignore[no-untyped-def]
    """An outage counts in the month it begins in, its seconds where they fall."""
    if len(months) == 0:
        return
    start, end, label, kind, begin, finish = both
    for k in range(len(begin)):
        months[_add_seconds(months[:, 0], begin[k], finish[k], edges_s), 2] += 1.0
    outage = 0
    for i in range(len(start)):
        if kind[i] == UNAVAILABLE and label[i] & _PLANNED:
            month = _add_seconds(months[:, 1], start[i], end[i], edges_s)
            while outage < len(begin) and begin[outage] < start[i]:
                outage += 1
            if outage < len(begin) and begin[outage] == start[i]:
                months[month, 3] += 1.0


@kernel
def _add_seconds(seconds, start, end, edges_s):  # type: ignore[no-untyped-def]
    """Add a stretch of time to the months that it lies in; the first of them."""
    first = first_above(edges_s, start) - 1
    month = first
    while month < len(seconds) and edges_s[month] < end:
        seconds[month] += min(float(end), edges_s[month + 1]) - max(float(start), edges_s[month])
        month += 1
    return first
