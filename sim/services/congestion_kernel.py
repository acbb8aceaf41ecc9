"""The inner loop of leaving congested routes, instant by instant (see ``sim.services.congestion``)."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.kernel import inlined, kernel
from hopyears.models.judging.sharing import share_kernel
from hopyears.sim.services.route_choice import FAILED, GOOD, PLANNED
from hopyears.sim.services.service_data import SMALL_MBIT_S
from hopyears.sim.services.service_frame import Flows, Routes


class Crowd(NamedTuple):
    """Services that may be short together, by *rank*: by priority, then in order of the file."""

    services: Ints  # by rank, their numbers
    flows: Ints  # both of each, by rank
    peers: Ints  # by rank, how many are of at least its priority
    moves: Bools  # whether it leaves congestion; by service from here on
    preempts: Bools
    hold_off_s: Floats
    switching_s: Floats
    commanded_s: Floats
    wait_to_restore_s: Floats
    routes: Routes
    flow: Flows


class Standing(NamedTuple):
    """Where the services stand, and how long what."""

    capacity: Floats  # by link direction [Mbit/s]
    planned: Bools  # by link, whether planned work takes of its capacity
    route: Ints  # by service, -1 while it has none
    held: Floats  # (n_ranks + 1, n_link_directions): committed rates of those of lower rank number
    condition: NDArray[np.int8]  # of the route in use, by service
    short_since_s: Floats  # by service, infinite while it is not
    room_since_s: Floats  # by route, for those better than the one in use, infinite while there is none
    gap_end_s: Floats  # by service, infinite where it does not change route
    rate: Floats  # by flow: what it gets of its committed rate
    left: Floats  # scratch from here on
    first: Ints
    last: Ints
    crossing: Ints
    pull: Floats
    active: Ints
    busy: Ints


@kernel
def place_services(
    crowd: Crowd,
    standing: Standing,
    time_s: Floats,
    what: Ints,
    forward: Floats,
    backward: Floats,
    value: Ints,
    duration_s: float,
) -> tuple[Floats, Ints, Ints]:
    """Changes of route: times [s], services, choices; those of one service in order of time.

    Events after time 0 are sorted: of link ``what`` its capacity both ways and whether work is planned, of
    service ``what`` less the number of links the route on which it stands.
    """
    n_links = standing.planned.size
    out_time, out_service, out_choice = [0.0], [-1], [-1]
    _begin(crowd, standing)
    for s in crowd.services:
        if crowd.moves[s]:
            out_time.append(0.0)
            out_service.append(s)
            out_choice.append(standing.route[s])
    now = 0.0
    i = 0
    while True:
        while i < time_s.size and time_s[i] <= now:
            if what[i] < n_links:
                standing.capacity[2 * what[i]], standing.capacity[2 * what[i] + 1] = forward[i], backward[i]
                standing.planned[what[i]] = value[i] != 0
            else:
                _stand(crowd, standing, what[i] - n_links, value[i])
            i += 1
        for s in crowd.services:
            if standing.gap_end_s[s] <= now:
                standing.gap_end_s[s] = np.inf
                out_time.append(now)
                out_service.append(s)
                out_choice.append(standing.route[s])
        while True:
            s, route = _next_move(crowd, standing, now)
            if s < 0:
                break
            failed = standing.condition[s] == FAILED
            gap_s = crowd.switching_s[s] if failed else crowd.commanded_s[s]
            out_time.append(now)
            out_service.append(s)
            if gap_s > 0.0:
                n_routes = crowd.routes.of_service[s + 1] - crowd.routes.of_service[s]
                out_choice.append(n_routes + standing.route[s])
                standing.gap_end_s[s] = now + gap_s
            else:
                out_choice.append(route)
            _stand(crowd, standing, s, route)
            standing.short_since_s[s] = np.inf
        wake_s = _keep_time(crowd, standing, now)
        if i < time_s.size:
            wake_s = min(wake_s, time_s[i])
        if wake_s >= duration_s:
            return np.array(out_time), np.array(out_service), np.array(out_choice)
        now = wake_s


@kernel
def _begin(crowd: Crowd, standing: Standing) -> None:
    """Place those who leave congestion at time 0, one after the other, beside the others."""
    route_of = standing.route.copy()
    standing.route[:] = -1
    for s in crowd.services:
        if not crowd.moves[s]:
            _stand(crowd, standing, s, route_of[s])
    for rank in range(crowd.services.size):
        s = crowd.services[rank]
        if crowd.moves[s]:
            _stand(crowd, standing, s, max(_target(crowd, standing, rank, True), 0))


@inlined
def _rank(crowd: Crowd, s: int) -> int:
    """Rank of a service."""
    for rank in range(crowd.services.size):
        if crowd.services[rank] == s:
            return rank
    return -1


@kernel
def _stand(crowd: Crowd, standing: Standing, s: int, route: int) -> None:
    """Put a service on another of its routes, or with -1 on none."""
    rank = _rank(crowd, s)
    codes, first = crowd.routes.codes, crowd.routes.first
    held, committed = standing.held, crowd.flow.committed_mbit_s
    for number, sign in ((standing.route[s], -1.0), (route, 1.0)):
        if number < 0:
            continue
        at = crowd.routes.of_service[s] + number
        for k in range(first[at], first[at + 1]):
            for d in range(2):
                for above in range(rank + 1, held.shape[0]):
                    held[above, codes[d, k]] += sign * committed[2 * s + d]
    standing.route[s] = route


@kernel
def _fits(crowd: Crowd, standing: Standing, s: int, route: int, n_held: int, asks: bool) -> bool:
    """Whether a route is alive and carries the first ``n_held`` ranks as they stand.

    Where it ``asks``, with the service, one of these ranks, on this route in place of its own.
    """
    codes, first = crowd.routes.codes, crowd.routes.first
    committed = crowd.flow.committed_mbit_s
    at = crowd.routes.of_service[s] + route
    for k in range(first[at], first[at + 1]):
        for d in range(2):
            code = codes[d, k]
            needed = standing.held[n_held, code]
            if asks:
                needed += committed[2 * s + d] - _own(crowd, standing, s, code)
            if standing.capacity[code] <= 0.0 or standing.capacity[code] < needed - SMALL_MBIT_S:
                return False
    return True


@inlined
def _own(crowd: Crowd, standing: Standing, s: int, code: int) -> float:
    """Committed rate of a service that a link direction carries on the route in use."""
    if standing.route[s] < 0:
        return 0.0
    codes, first = crowd.routes.codes, crowd.routes.first
    at = crowd.routes.of_service[s] + standing.route[s]
    for k in range(first[at], first[at + 1]):
        for d in range(2):
            if codes[d, k] == code:
                return float(crowd.flow.committed_mbit_s[2 * s + d])
    return 0.0


@kernel
def _target(crowd: Crowd, standing: Standing, rank: int, dead: bool) -> int:
    """Route to which a service may go from the one on which it is short, or -1 (see the rule above)."""
    s = crowd.services[rank]
    n_routes = crowd.routes.of_service[s + 1] - crowd.routes.of_service[s]
    for look in range(3):
        if (look == 1 and not crowd.preempts[s]) or (look == 2 and not dead):
            continue
        n_held = (crowd.services.size, crowd.peers[rank], 0)[look]
        for route in range(n_routes):
            if route != standing.route[s] and _fits(crowd, standing, s, route, n_held, look < 2):
                return route
    return -1


@kernel
def _next_move(crowd: Crowd, standing: Standing, now: float) -> tuple[int, int]:
    """The next service to change route now and its new route, or -1 twice; the condition of all on theirs."""
    _judge(crowd, standing)
    for rank in range(crowd.services.size):
        s = crowd.services[rank]
        if not crowd.moves[s] or standing.gap_end_s[s] < np.inf:
            continue
        if standing.condition[s] != GOOD:
            waits_s = crowd.hold_off_s[s] if standing.condition[s] == FAILED else 0.0
            if now >= min(standing.short_since_s[s], now) + waits_s:
                dead = not _fits(crowd, standing, s, standing.route[s], 0, False)
                route = _target(crowd, standing, rank, dead)
                if route >= 0:
                    return s, route
            continue
        for route in range(standing.route[s]):
            since_s = min(standing.room_since_s[crowd.routes.of_service[s] + route], now)
            if now >= since_s + crowd.wait_to_restore_s[s] and _has_room(crowd, standing, rank, route):
                return s, route
    return -1, -1


@inlined
def _has_room(crowd: Crowd, standing: Standing, rank: int, route: int) -> bool:
    """Whether a better route would carry a service."""
    s = crowd.services[rank]
    n_held = crowd.peers[rank] if crowd.preempts[s] and route == 0 else crowd.services.size
    return bool(_fits(crowd, standing, s, route, n_held, True))


@kernel
def _judge(crowd: Crowd, standing: Standing) -> None:
    """Condition of the route in use of all who leave congestion."""
    shared = False
    for rank in range(crowd.services.size):
        s = crowd.services[rank]
        if not crowd.moves[s]:
            continue
        standing.condition[s] = GOOD
        if _fits(crowd, standing, s, standing.route[s], crowd.peers[rank], False):
            continue
        if not shared:
            _share(crowd, standing)
            shared = True
        standing.condition[s] = _condition(crowd, standing, rank)


@kernel
def _condition(crowd: Crowd, standing: Standing, rank: int) -> int:
    """Whether a service is short, and for planned work alone: so are all links that do not suffice."""
    s = crowd.services[rank]
    committed = crowd.flow.committed_mbit_s
    short = False
    for f in range(2 * s, 2 * s + 2):
        short = short or standing.rate[f] < committed[f] - SMALL_MBIT_S
    planned = True
    at = crowd.routes.of_service[s] + standing.route[s]
    for k in range(crowd.routes.first[at], crowd.routes.first[at + 1]):
        for d in range(2):
            code = crowd.routes.codes[d, k]
            capacity = standing.capacity[code]
            short = short or capacity <= 0.0
            if capacity <= 0.0 or capacity < standing.held[crowd.peers[rank], code] - SMALL_MBIT_S:
                planned = planned and standing.planned[code >> 1]
    if not short:
        return GOOD
    return PLANNED if planned else FAILED


@kernel
def _share(crowd: Crowd, standing: Standing) -> None:
    """What each service would get of its committed rate where it stands."""
    routes = crowd.routes
    n_codes = routes.codes.shape[1]
    standing.left[:] = standing.capacity
    for f in crowd.flows:
        at = routes.of_service[f // 2] + standing.route[f // 2]
        standing.first[f] = routes.first[at] + f % 2 * n_codes
        standing.last[f] = routes.first[at + 1] + f % 2 * n_codes
    share_kernel(
        standing.left,
        standing.first,
        standing.last,
        routes.codes.reshape(-1),
        crowd.flows,
        crowd.flow.committed_mbit_s,
        crowd.flow.committed_mbit_s,
        crowd.flow.priority,
        crowd.flow.weight,
        standing.rate,
        standing.crossing,
        standing.pull,
        standing.active,
        standing.busy,
    )


@kernel
def _keep_time(crowd: Crowd, standing: Standing, now: float) -> float:
    """Note since when what holds; when the next timer ends."""
    wake_s = np.inf
    for rank in range(crowd.services.size):
        s = crowd.services[rank]
        if not crowd.moves[s]:
            continue
        wake_s = min(wake_s, standing.gap_end_s[s])
        if standing.condition[s] == GOOD:
            standing.short_since_s[s] = np.inf
        else:
            standing.short_since_s[s] = min(standing.short_since_s[s], now)
            due_s = standing.short_since_s[s] + crowd.hold_off_s[s]
            if due_s > now:
                wake_s = min(wake_s, due_s)
        begin = crowd.routes.of_service[s]
        for route in range(crowd.routes.of_service[s + 1] - begin):
            better = route < standing.route[s]
            if not better or not _has_room(crowd, standing, rank, route):
                standing.room_since_s[begin + route] = np.inf
                continue
            standing.room_since_s[begin + route] = min(standing.room_since_s[begin + route], now)
            due_s = standing.room_since_s[begin + route] + crowd.wait_to_restore_s[s]
            if due_s > now:
                wake_s = min(wake_s, due_s)
    return wake_s
