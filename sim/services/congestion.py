"""Which routes services use that leave a congested one: decided together, since each takes room of others.

The rule, at each instant at which a link, another service's route or a timer changes:

1. A service that leaves congestion is *short* on its route while a link of it is dead, or while the committed
   rates of all who stand there, shared as in ``models.judging.sharing``, leave it less than its own.
2. One after the other, by priority and then in order of the file, the shares found anew after each move: who
   has been short for its hold-off goes to the first of its routes with *room*, where its committed rate fits
   beside those of all who stand there; else, where it pre-empts, beside those of at least its own priority;
   else, off a dead route, to the first that is not dead. If there is none it stays, and looks again at the
   next change.
3. Who is not short goes back to a better route that has had room beside all for the wait to restore; to its
   first one where it pre-empts, if there has been room beside those of at least its priority.

A move leaves nobody short who was not, but those of lower priority by pre-emption: each takes a service to
where all of its priority and above fit. So the moves of one instant come to an end, and those of a higher
priority do not depend on whom they displace. Rates count as committed, whatever the hour.

References
----------
RFC 2702 (1999), 5.5 to 5.7: traffic trunks with priority, pre-emption and adaptivity; RFC 3209 (2001), setup
and holding priority; ITU-T G.8031: hold-off, wait to restore. From memory; that all looks are at committed
rates is our own.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Bools, Floats
from hopyears.sim.services.congestion_kernel import Crowd, Standing, place_services
from hopyears.sim.services.route_choice import GOOD
from hopyears.sim.services.service_data import ServiceDemand
from hopyears.sim.services.service_frame import Frame

Changes = tuple[Floats, NDArray[np.int32]]
"""Times and values of a piecewise-constant history; the first time is 0."""


def crowd_of(frame: Frame, members: Sequence[int]) -> Crowd:
    """Services of a group, the first served first."""
    services = frame.services
    ranked = sorted(members, key=lambda s: (services[s].priority, s))
    priority = np.array([services[s].priority for s in ranked])

    def each(value: str) -> Floats:
        return np.array([getattr(service, value) for service in services], dtype=np.float64)

    return Crowd(
        services=np.array(ranked, dtype=np.int64),
        flows=np.array([2 * s + d for s in ranked for d in (0, 1)], dtype=np.int64),
        peers=np.searchsorted(priority, priority, side="right").astype(np.int64),
        moves=np.array([leaves_congestion(service) for service in services]),
        preempts=np.array([service.preempts for service in services]),
        hold_off_s=each("hold_off_s"),
        switching_s=each("switching_s"),
        commanded_s=each("commanded_s"),
        wait_to_restore_s=each("wait_to_restore_s"),
        routes=frame.routes,
        flow=frame.flows,
    )


def leaves_congestion(service: ServiceDemand) -> bool:
    """Whether a service has other routes and leaves one that is congested."""
    return service.leaves_congestion and len(service.routes) > 1 and not service.rings


def routes_among(
    crowd: Crowd,
    links: Sequence[tuple[int, Floats, Floats, Bools]],
    others: Sequence[tuple[int, Changes]],
    n_links: int,
    duration_s: float,
) -> dict[int, Changes]:
    """Route in use by each service that leaves congestion, as ``route_choice.choose_route`` gives it.

    Parameters
    ----------
    crowd : Crowd
    links : sequence of (link, times, capacity, planned)
        Piecewise-constant histories [s], the first time 0: capacity [Mbit/s], shape (n, 2), and whether
        planned work takes of it.
    others : sequence of (service, changes)
        Route in use of the other services; while one changes route it stands on the one that it leaves.
    n_links : int
        Links that are numbered.
    duration_s : float
        End of the histories [s].
    """
    standing = _empty_standing(crowd, n_links)
    for link, _, capacity, planned in links:
        standing.capacity[2 * link : 2 * link + 2] = capacity[0]
        standing.planned[link] = planned[0]
    n_routes = np.diff(crowd.routes.of_service)
    for s, (_, choice) in others:
        standing.route[s] = choice[0] % n_routes[s]
    columns = [
        (times[1:], np.full(times.size - 1, link), *capacity[1:].T, planned[1:].astype(np.int64))
        for link, times, capacity, planned in links
    ]
    for s, (times, choice) in others:
        none = np.zeros(times.size - 1)
        columns.append(
            (times[1:], np.full(times.size - 1, n_links + s), none, none, choice[1:] % n_routes[s])
        )
    time_s, what, forward, backward, value = (np.concatenate(column) for column in zip(*columns, strict=True))
    order = np.argsort(time_s, kind="stable")
    events = (time_s[order], what[order].astype(np.int64), forward[order], backward[order])
    out_time, service, choice = place_services(
        crowd, standing, *events, value[order].astype(np.int64), duration_s
    )
    found = {}
    for s in crowd.services[crowd.moves[crowd.services]].tolist():
        own = service == s
        last = np.append(out_time[own][1:] > out_time[own][:-1], True)
        found[s] = out_time[own][last], choice[own][last].astype(np.int32)
    return found


def _empty_standing(crowd: Crowd, n_links: int) -> Standing:
    n_services, n_codes = crowd.moves.size, 2 * n_links
    return Standing(
        capacity=np.zeros(n_codes),
        planned=np.zeros(n_links, dtype=np.bool_),
        route=np.full(n_services, -1, dtype=np.int64),
        held=np.zeros((crowd.services.size + 1, n_codes)),
        condition=np.full(n_services, GOOD, dtype=np.int8),
        short_since_s=np.full(n_services, np.inf),
        room_since_s=np.full(int(crowd.routes.of_service[-1]), np.inf),
        gap_end_s=np.full(n_services, np.inf),
        rate=np.zeros(2 * n_services),
        left=np.zeros(n_codes),
        first=np.zeros(2 * n_services, dtype=np.int64),
        last=np.zeros(2 * n_services, dtype=np.int64),
        crossing=np.zeros(n_codes, dtype=np.int64),
        pull=np.zeros(n_codes),
        active=np.zeros(2 * n_services, dtype=np.int64),
        busy=np.zeros(n_codes, dtype=np.int64),
    )
