"""Capacity of links divided among services: by priority, then max-min fair.

The rule, in order:

1. Committed rates, the smallest priority number first. Within one priority the capacity is divided
   max-min fair: no service can get more without taking it from one that has no more than it has. Where
   services have weights, what they have is counted in units of their weight.
2. What is left over goes to the excess (peak less committed), again the smallest number first and
   max-min fair within one priority, by weight.

So a committed rate of low priority comes before the excess of high priority, as a committed rate is
what was sold. When the committed rates of one priority do not fit, all those on the full link get less;
none is dropped to save the others.
"""

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.kernel import kernel

TOLERANCE = 1e-9
"""Capacity left below this share of the largest capacity or rate counts as none."""


@kernel
def share_kernel(
    left: Floats,
    first: Ints,
    last: Ints,
    links: Ints,
    services: Ints,
    committed: Floats,
    peak: Floats,
    priority: Ints,
    weight: Floats,
    rate: Floats,
    crossing: Ints,
    pull: Floats,
    active: Ints,
) -> None:
    """Fill ``rate`` of ``services`` (sorted by priority) and take it from ``left``, in place.

    Service ``s`` crosses ``links[first[s]:last[s]]``. Arrays are indexed by service or link number and
    may be larger than the problem; ``crossing`` (per link) must come and goes as zeros, ``pull`` (per link)
    and ``active`` (at least as long as ``services``) are scratch. All rates [Mbit/s] are 0 or more,
    committed at most peak; weights above 0. A service with no link gets its peak.

    References
    ----------
    D. Bertsekas and R. Gallager, Data Networks, 2nd edition (1992), section 6.5.2 (progressive filling; with
    weights as P. Marbach, Priority service and max-min fairness, IEEE/ACM Trans. Networking 11, 2003: from
    memory).
    Committed rates before excess, and strict priority: common practice, no source.
    """
    for s in services:
        rate[s] = 0.0
    for excess in range(2):
        begin = 0
        while begin < services.size:
            end = begin + 1
            while end < services.size and priority[services[end]] == priority[services[begin]]:
                end += 1
            limit = peak if excess else committed
            fill_kernel(
                left, first, last, links, services[begin:end], limit, weight, rate, crossing, pull, active
            )
            begin = end


@kernel
def fill_kernel(
    left: Floats,
    first: Ints,
    last: Ints,
    links: Ints,
    services: Ints,
    limit: Floats,
    weight: Floats,
    rate: Floats,
    crossing: Ints,
    pull: Floats,
    active: Ints,
) -> None:
    """Raise the rates of ``services`` together towards their limits until nothing can rise."""
    # Progressive filling: all who can still rise stand at one level above where they began, in units of their
    # weights, so a step is the least of what one lacks to its limit and of what a link has left for the
    # weights that cross it. A step stops one of them at least, so there are no more steps than services.
    n, largest = _grant_what_fits(left, first, last, links, services, limit, rate, active)
    small = TOLERANCE * largest
    busy = np.empty(left.size if n else 0, np.int64)  # links that somebody still rising crosses
    n_busy = 0
    for i in range(n):
        for k in range(first[active[i]], last[active[i]]):
            if crossing[links[k]] == 0:
                busy[n_busy] = links[k]
                pull[links[k]] = 0.0
                n_busy += 1
            crossing[links[k]] += 1
            pull[links[k]] += weight[active[i]]
    level = 0.0
    while n > 0:
        step = np.inf
        for i in range(n):
            step = min(step, (limit[active[i]] - rate[active[i]]) / weight[active[i]] - level)
        for j in range(n_busy):
            step = min(step, left[busy[j]] / pull[busy[j]])
        step = max(step, 0.0)  # rounding may have left a hair less than nothing
        level += step
        for j in range(n_busy):
            left[busy[j]] -= step * pull[busy[j]]
        kept = 0
        for i in range(n):
            s = active[i]
            full = limit[s] - rate[s] - weight[s] * level <= small
            stop = full
            for k in range(first[s], last[s]):
                stop = stop or left[links[k]] <= small
            if not stop:
                active[kept] = s
                kept += 1
                continue
            rate[s] = limit[s] if full else rate[s] + weight[s] * level
            for k in range(first[s], last[s]):
                crossing[links[k]] -= 1
                pull[links[k]] = pull[links[k]] - weight[s] if crossing[links[k]] else 0.0
        n = kept
        n_busy = _still_busy(busy, n_busy, crossing)


@kernel
def _still_busy(busy: Ints, n_busy: int, crossing: Ints) -> int:
    """Keep the links with a crossing at the front; their number."""
    kept = 0
    for j in range(n_busy):
        if crossing[busy[j]] > 0:
            busy[kept] = busy[j]
            kept += 1
    return kept


@kernel
def _grant_what_fits(
    left: Floats,
    first: Ints,
    last: Ints,
    links: Ints,
    services: Ints,
    limit: Floats,
    rate: Floats,
    active: Ints,
) -> tuple[int, float]:
    """Give their limit to services on whose links all limits fit; the others become ``active``.

    Returns their number and their largest limit. It changes nothing of the outcome, and saves most of
    the work: a link that carries the limits of all can bind none.
    """
    for s in services:
        for k in range(first[s], last[s]):
            left[links[k]] -= limit[s] - rate[s]  # as if all got all: below 0 where it does not fit
    n = 0
    for s in services:
        fits = True
        for k in range(first[s], last[s]):
            fits = fits and left[links[k]] >= 0.0
        if not fits:
            active[n] = s
            n += 1
    largest = 0.0
    kept = 0
    for s in services:
        if kept < n and active[kept] == s:  # active keeps the order of services: no search
            kept += 1
            largest = max(largest, limit[s])
            for k in range(first[s], last[s]):
                left[links[k]] += limit[s] - rate[s]
        else:
            rate[s] = max(rate[s], limit[s])
    return n, largest
