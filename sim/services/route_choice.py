"""Which of its routes a service uses at each instant: hold-off, switching time, wait to restore.

A route that fails is left after the hold-off, with the switching time without traffic. One on which planned
work begins is left by command, ahead of the work, and a preferred route is taken again by command: both may
cost less.
"""

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.kernel import kernel

GOOD, FAILED, PLANNED, DEGRADED = 0, 1, 2, 3
"""States of a link for a service: of use, failed, out of use by planned work; for a ring also degraded."""


@kernel
def choose_route(
    time_s: Floats,
    link: Ints,
    state: NDArray[np.int8],
    link_state: NDArray[np.int8],
    route_of: Ints,
    link_first: Ints,
    n_routes: int,
    hold_off_s: float,
    switching_s: float,
    commanded_s: float,
    wait_to_restore_s: float,
    duration_s: float,
) -> tuple[Floats, NDArray[np.int32]]:
    """Route in use as a piecewise-constant history.

    Parameters
    ----------
    time_s, link, state : arrays, shape (n_events,)
        Sorted changes after time 0: when, which link (local number), its new state.
    link_state : int8 array, shape (n_links,)
        State of each link at time 0; changed in place.
    route_of, link_first : int arrays
        Routes that cross link ``k``: ``route_of[link_first[k]:link_first[k + 1]]``.
    n_routes : int
        Routes, in order of preference.
    hold_off_s, switching_s, commanded_s, wait_to_restore_s : float
        As in ``ServiceDemand`` [s].
    duration_s : float
        End of the history [s].

    Returns
    -------
    time_s : float array, shape (n,)
        Starts of each choice [s], the first 0.
    choice : int32 array, shape (n,)
        Route in use; ``n_routes`` + r while no route carries traffic because route r is being left.

    Notes
    -----
    At time 0 the first route that can be used is in use, with no switching. A service whose routes have
    all failed stays on the last one. A switch once begun is ended, even if the cause goes away.
    """
    bad_links = np.zeros(n_routes, np.int64)
    failed_links = np.zeros(n_routes, np.int64)  # those of them that have not been taken out by planned work
    since = np.full(n_routes, -np.inf)  # when the route last failed or came back
    for k in range(link_state.size):
        for j in range(link_first[k], link_first[k + 1]):
            bad_links[route_of[j]] += link_state[k] != GOOD
            failed_links[route_of[j]] += link_state[k] == FAILED
    out_time = np.empty(64, np.float64)
    out = np.empty(64, np.int32)
    now = 0.0
    used = 0
    while used < n_routes - 1 and bad_links[used] > 0:
        used += 1
    if bad_links[used] > 0:
        used = 0
    out_time[0], out[0] = 0.0, used
    n = 1
    target = -1  # the route being switched to, until gap_end
    gap_end = np.inf
    i = 0
    # From one instant to the next at which a link changes, a switch ends or a wait is over.
    while True:
        # Links that change now.
        while i < time_s.size and time_s[i] <= now:
            k = link[i]
            if link_state[k] != state[i]:
                was, link_state[k] = link_state[k], state[i]
                for j in range(link_first[k], link_first[k + 1]):
                    route = route_of[j]
                    was_bad = bad_links[route] > 0
                    bad_links[route] += (state[i] != GOOD) - (was != GOOD)
                    failed_links[route] += (state[i] == FAILED) - (was == FAILED)
                    if was_bad != (bad_links[route] > 0):
                        since[route] = now
            i += 1
        if out.size < n + 2:  # one turn writes two rows at most: a switch that ends, one that begins
            out_time, out = np.concatenate((out_time, out_time)), np.concatenate((out, out))
        if target >= 0 and now >= gap_end:
            used, target = target, -1
            out_time[n], out[n] = now, used
            n += 1
        wake = time_s[i] if i < time_s.size else np.inf
        if target >= 0:
            wake = min(wake, gap_end)
        else:
            failed = failed_links[used] > 0
            waits = hold_off_s if failed else 0.0
            target, due = _want(used, bad_links, since, now, waits, wait_to_restore_s)
            wake = min(wake, due)
            if target >= 0:
                gap_s = switching_s if failed else commanded_s
                gap_end = now + gap_s
                wake = min(wake, gap_end)
                if gap_s > 0.0:  # else the next turn, at this same time, ends the switch
                    out_time[n], out[n] = now, n_routes + used
                    n += 1
        if wake >= duration_s:
            return out_time[:n].copy(), out[:n].copy()
        now = wake


@kernel
def _want(
    used: int, bad_links: Ints, since: Floats, now: float, hold_off_s: float, wait_to_restore_s: float
) -> tuple[int, float]:
    """Route to switch to now (or -1), and when to look again."""
    if bad_links[used] > 0:
        due = since[used] + hold_off_s
        if now < due:
            return -1, due
        for route in range(bad_links.size):
            if bad_links[route] == 0:
                return route, np.inf
        return -1, np.inf
    again = np.inf
    for route in range(used):
        if bad_links[route] == 0:
            due = since[route] + wait_to_restore_s
            if now >= due:
                return route, np.inf
            again = min(again, due)
    return -1, again
