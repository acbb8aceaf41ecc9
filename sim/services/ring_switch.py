"""Which link of a ring is blocked at each instant, and which way its services go.

A ring is open at one link: at its protection link while all is well, else at a failed one, or where none has
failed, at a degraded one. All services turn at once: who crosses the link that becomes blocked goes the other
way round. Rings that meet turn each by itself; what the openings of all leave is a tree, in which a service
has one way.

References
----------
ITU-T G.8032/Y.1344 (03/2020), clauses 8 to 10: ring protection link, signal fail, timers (hold-off, guard,
wait to restore), sub-rings that end on another ring; ITU-T G.808.1: signal fail goes before signal degrade;
from memory. G.8032 knows no signal degrade.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.kernel import inlined, kernel
from hopyears.sim.services.route_choice import DEGRADED, GOOD, PLANNED
from hopyears.sim.services.service_data import RingSwitch, Route


@dataclass(frozen=True)
class Openings:
    """Where a ring is open in time.

    Attributes
    ----------
    time_s : float array, shape (n,)
        From when on [s], the first 0.
    place : int array, shape (n,)
        Place of the blocked link in the ring.
    by_command : bool array, shape (n,)
        Whether the ring turned by command, not for a failure.
    """

    time_s: Floats
    place: Ints
    by_command: Bools


@kernel
def ring_openings(
    time_s: Floats,
    link: Ints,
    state: NDArray[np.int8],
    link_state: NDArray[np.int8],
    protection: int,
    hold_off_s: float,
    guard_s: float,
    wait_to_restore_s: float,
    duration_s: float,
) -> tuple[Floats, Ints, Bools]:
    """Openings of a ring: times [s], places, whether by command.

    Parameters
    ----------
    time_s, link, state : arrays, shape (n_events,)
        Sorted changes after time 0: when, which link (place in the ring), its new state (``route_choice``).
    link_state : int8 array, shape (n_links,)
        State of each link at time 0; changed in place.
    protection : int
        Place of the ring protection link.
    hold_off_s, guard_s, wait_to_restore_s, duration_s : float
        [s]. A link must have failed for the hold-off; one that is back stays blocked for the guard time even
        where another has failed; and for the wait to restore, infinite for ever, where none has.
    """
    since = np.full(link_state.size, -np.inf)  # when each link last failed, was degraded or came back
    opened = protection
    for k in range(link_state.size):
        if _severity(link_state[k]) > _severity(link_state[opened]):
            opened = k
    out_time, out_place, out_command = [0.0], [opened], [False]
    n_bad = int(np.sum(link_state != GOOD))
    clear_s = -np.inf  # since when all links work
    now = 0.0
    i = 0
    while True:
        while i < time_s.size and time_s[i] <= now:
            k = link[i]
            if _severity(link_state[k]) != _severity(state[i]):
                n_bad += int(state[i] != GOOD) - int(link_state[k] != GOOD)
                since[k] = now
                if n_bad == 0:
                    clear_s = now
            link_state[k] = state[i]
            i += 1
        wake = time_s[i] if i < time_s.size else np.inf
        target, due = _worse(opened, link_state, since, now, hold_off_s, guard_s)
        command = target >= 0 and link_state[target] == PLANNED
        if n_bad == 0 and opened != protection:
            target, due, command = protection, clear_s + wait_to_restore_s, True
        if target >= 0 and due <= now:
            opened = target
            out_time.append(now)
            out_place.append(target)
            out_command.append(command)
            continue
        wake = min(wake, due)
        if wake >= duration_s:
            return np.array(out_time), np.array(out_place), np.array(out_command)
        now = wake


@inlined
def _severity(state: int) -> int:
    """2 of a link that carries nothing, 1 of one that is degraded, 0 of a good one."""
    if state == GOOD:
        return 0
    return 1 if state == DEGRADED else 2


@kernel
def _worse(
    opened: int, link_state: NDArray[np.int8], since: Floats, now: float, hold_off_s: float, guard_s: float
) -> tuple[int, float]:
    """Link in a worse state than the opened one, to be opened next (or -1), and when."""
    least = _severity(link_state[opened])
    target, due, worst = -1, np.inf, 0
    for k in range(link_state.size):
        severity = _severity(link_state[k])
        if severity <= least:
            continue
        waits_s = 0.0 if link_state[k] == PLANNED else hold_off_s
        ready = max(since[k] + waits_s, since[opened] + guard_s, now)
        if ready < due or (ready == due and severity > worst):
            target, due, worst = k, ready, severity
    return target, due


def ways_round(
    openings: Sequence[Openings], rings: Sequence[RingSwitch], routes: Sequence[Route]
) -> tuple[Floats, NDArray[np.int32]]:
    """Route in use by a service in time, as ``route_choice.choose_route`` gives it.

    Parameters
    ----------
    openings : sequence of Openings
        Of each of the rings.
    rings : sequence of RingSwitch
    routes : sequence of routes
        All ways over the rings. In use is the first that crosses no blocked link.
    """
    crossed = [{link for link, _ in route} for route in routes]
    blocked = [ring.links[each.place[0]] for ring, each in zip(rings, openings, strict=True)]
    used = _open_way(crossed, blocked, 0)
    time_s, choice = [0.0], [used]
    gap_end_s = [-np.inf] * len(rings)
    turns = [
        (at_s, number, place, command)
        for number, each in enumerate(openings)
        for at_s, place, command in zip(
            each.time_s[1:].tolist(), each.place[1:].tolist(), each.by_command[1:].tolist(), strict=True
        )
    ]
    for at_s, number, place, command in sorted(turns, key=lambda turn: turn[:2]):
        ring = rings[number]
        blocked[number] = ring.links[place]
        route = _open_way(crossed, blocked, used)
        if route == used:
            continue
        if max(gap_end_s) > at_s:  # turned again before it has settled
            time_s.pop()
            choice.pop()
        gap_end_s[number] = at_s + (ring.commanded_s if command else ring.switching_s)
        time_s += [at_s, max(gap_end_s)]
        choice += [len(routes) + used, route]
        used = route
    return _without_nothing(np.array(time_s), np.array(choice, dtype=np.int32))


def _open_way(crossed: Sequence[set[int]], blocked: Sequence[int], used: int) -> int:
    """Number of the first way that crosses no blocked link; the one in use where each does."""
    return next((n for n, links in enumerate(crossed) if links.isdisjoint(blocked)), used)


def _without_nothing(time_s: Floats, choice: NDArray[np.int32]) -> tuple[Floats, NDArray[np.int32]]:
    """Only the last choice of each instant."""
    last = np.append(time_s[1:] > time_s[:-1], True)
    return time_s[last], choice[last]
