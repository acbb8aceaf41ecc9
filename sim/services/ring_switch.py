"""Which link of a ring is blocked at each instant, and which way round its services go.

A ring is open at one link: at its protection link while all is well, else at a failed one. All services turn
at once: who crosses the link that becomes blocked goes the other way round.

References
----------
ITU-T G.8032/Y.1344 (03/2020), clauses 8 to 10: ring protection link, signal fail, timers (hold-off, guard,
wait to restore); from memory.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.kernel import kernel
from hopyears.sim.services.route_choice import FAILED, GOOD
from hopyears.sim.services.service_data import Route

_Ints = NDArray[np.int64]
_Floats = NDArray[np.float64]


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

    time_s: _Floats
    place: _Ints
    by_command: NDArray[np.bool_]


@kernel
def ring_openings(
    time_s: _Floats,
    link: _Ints,
    state: NDArray[np.int8],
    link_state: NDArray[np.int8],
    protection: int,
    hold_off_s: float,
    guard_s: float,
    wait_to_restore_s: float,
    duration_s: float,
) -> tuple[_Floats, _Ints, NDArray[np.bool_]]:
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
    out_time, out_place, out_command = [0.0], [protection], [False]
    since = np.full(link_state.size, -np.inf)  # when each link last failed or came back
    n_bad = 0
    opened = protection
    for k in range(link_state.size - 1, -1, -1):
        if link_state[k] != GOOD:
            n_bad += 1
            opened = k
    if link_state[protection] != GOOD:
        opened = protection
    out_place[0] = opened
    clear_s = -np.inf  # since when all links work
    now = 0.0
    i = 0
    while True:
        while i < time_s.size and time_s[i] <= now:
            k = link[i]
            if (link_state[k] != GOOD) != (state[i] != GOOD):
                n_bad += 1 if state[i] != GOOD else -1
                since[k] = now
                if n_bad == 0:
                    clear_s = now
            link_state[k] = state[i]
            i += 1
        wake = time_s[i] if i < time_s.size else np.inf
        target, due, command = _turn(
            opened, protection, link_state, since, clear_s, hold_off_s, guard_s, wait_to_restore_s
        )
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


@kernel
def _turn(
    opened: int,
    protection: int,
    link_state: NDArray[np.int8],
    since: _Floats,
    clear_s: float,
    hold_off_s: float,
    guard_s: float,
    wait_to_restore_s: float,
) -> tuple[int, float, bool]:
    """Link to be opened next (or -1), when, and whether by command."""
    if link_state[opened] != GOOD:
        return -1, np.inf, False
    target, due, command = -1, np.inf, False
    for k in range(link_state.size):
        if link_state[k] != GOOD:
            failed = link_state[k] == FAILED
            ready = max(since[k] + (hold_off_s if failed else 0.0), since[opened] + guard_s)
            if ready < due:
                target, due, command = k, ready, not failed
    if target < 0 and opened != protection:
        return protection, clear_s + wait_to_restore_s, True
    return target, due, command


def ways_round(
    openings: Openings,
    links: tuple[int, ...],
    routes: tuple[Route, ...],
    switching_s: float,
    commanded_s: float,
) -> tuple[_Floats, NDArray[np.int32]]:
    """Route in use by a service in time, as ``route_choice.choose_route`` gives it.

    Parameters
    ----------
    openings : Openings
    links : tuple of int
        Links of the ring in order.
    routes : tuple of two routes
        The two ways round; each link of the ring is on one of them.
    switching_s, commanded_s : float
        Time without traffic when the service turns [s].
    """
    on_first = {link for link, _ in routes[0]}
    wanted = [1 if links[place] in on_first else 0 for place in openings.place.tolist()]
    time_s, choice = [0.0], [wanted[0]]
    used, gap_end_s = wanted[0], -np.inf
    for at_s, route, command in zip(
        openings.time_s[1:].tolist(), wanted[1:], openings.by_command[1:].tolist(), strict=True
    ):
        if route == used:
            continue
        if gap_end_s > at_s:  # turned again before it has settled
            time_s.pop()
            choice.pop()
        gap_s = commanded_s if command else switching_s
        time_s += [at_s, at_s + gap_s]
        choice += [2 + used, route]
        used, gap_end_s = route, at_s + gap_s
    return _without_nothing(np.array(time_s), np.array(choice, dtype=np.int32))


def _without_nothing(time_s: _Floats, choice: NDArray[np.int32]) -> tuple[_Floats, NDArray[np.int32]]:
    """Only the last choice of each instant."""
    last = np.append(time_s[1:] > time_s[:-1], True)
    return time_s[last], choice[last]
