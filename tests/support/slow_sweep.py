"""The slow, obvious services sweep: a look at every second, capacity shared anew each time."""

from dataclasses import replace

import numpy as np
from shared_capacity import share_capacity

from hopyears.models.judging.cause import Cause


def _state(hop, now):
    return int(hop.state[np.flatnonzero(hop.time_s <= now)[-1]])


def _link(hops, members, now):
    """Capacity each way and causes of a link at an instant."""
    states = [(hops[h], _state(hops[h], now)) for h in members]
    both = [sum(hop.capacity_mbit_s[state, way] for hop, state in states) for way in (0, 1)]
    causes = 0
    for hop, state in states:
        causes |= int(hop.causes[state])
    return both, causes


class _Chooser:
    """Route choice of one service, one second after another."""

    def __init__(self, service):
        self.service = service
        n = len(service.routes)
        self.bad_for = [None] * n  # seconds since it last failed; None while good
        self.good_for = [None] * n
        self.used = None
        self.target = None
        self.gap_left = 0

    def step(self, usable, failed):
        """Which routes can be used, and which have failed rather than been taken out by plan."""
        self.failed = failed
        for r, good in enumerate(usable):
            before_bad, before_good = self.bad_for[r], self.good_for[r]
            forever = 10**9 if self.used is None else 0
            self.good_for[r] = (forever if before_good is None else before_good + 1) if good else None
            self.bad_for[r] = None if good else (forever if before_bad is None else before_bad + 1)
        if self.used is None:
            self.used = usable.index(True) if any(usable) else 0
        if self.target is not None:
            self.gap_left -= 1
            if self.gap_left > 0:
                return len(usable) + self.used
            self.used, self.target = self.target, None
        return self._decide(usable)

    def _decide(self, usable):
        service = self.service
        while True:
            target = None
            if not usable[self.used]:
                waits = service.hold_off_s if self.failed[self.used] else 0
                if self.bad_for[self.used] >= waits and any(usable):
                    target = usable.index(True)
            else:
                back = [
                    r for r in range(self.used) if usable[r] and self.good_for[r] >= service.wait_to_restore_s
                ]
                target = back[0] if back else None
            if target is None:
                return self.used
            gap = service.switching_s if self.failed[self.used] else service.commanded_s
            if gap > 0:
                self.target, self.gap_left = target, gap
                return len(usable) + self.used
            self.used = target


def _too_small(route, direction, capacity, causes, need):
    found = 0
    for link, way in route:
        if capacity[link][way ^ direction] < need - 1e-6:
            found |= causes[link] or int(Cause.CONGESTION)
    return found


def asked_share(clock, now, hour_s):
    """Share of its rates that a service with this clock asks for at a second."""
    if clock is None:
        return 1.0
    hours = (now + clock.offset_s) // hour_s
    working = hours // 24 % 7 < clock.working_days
    return (clock.working_day if working else clock.day_off)[int(hours % 24)]


def _why(service, choice, direction, got, down, capacity, causes, left):
    need, committed = service.peak_ways_mbit_s[direction], service.committed_ways_mbit_s[direction]
    if down and committed > 0.0:
        need = service.required_share * committed
    elif got < committed - 1e-6:
        need = committed
    n = len(service.routes)
    if choice >= n:
        left_route = service.routes[choice - n]
        return int(Cause.SWITCHING) | _too_small(left_route, direction, capacity, causes, need)
    found = _too_small(service.routes[choice], direction, capacity, causes, need)
    if down:
        for route in service.routes:
            found |= _too_small(route, direction, capacity, causes, need)
    if not found:
        for link, way in service.routes[choice]:
            if left[2 * link + (way ^ direction)] <= 1e-6:
                found |= causes[link] or int(Cause.CONGESTION)
    return found


def _at_hour(service, now, hour_s):
    """What a service asks for at a second, as a service that always asks for that."""
    share = asked_share(service.clock, now, hour_s)
    rates = {name: share * getattr(service, name) for name in ("committed_mbit_s", "peak_mbit_s")}
    if service.backward_mbit_s is not None:
        rates["backward_mbit_s"] = tuple(share * each for each in service.backward_mbit_s)
    return replace(service, **rates)


def slow_sweep(hops, services, links, n_seconds, hour_s=3600.0):
    """Rates, down flags and causes of each service in each second (all times are whole seconds)."""
    choosers = [_Chooser(service) for service in services]
    whole = services
    rate = np.zeros((len(services), n_seconds, 2))
    down = np.zeros((len(services), n_seconds, 2), bool)
    why = np.zeros((len(services), n_seconds, 2), int)
    for now in range(n_seconds):
        found = [_link(hops, members, now) for members in links]
        capacity, causes = [f[0] for f in found], [f[1] for f in found]
        choices = []
        services = [_at_hour(service, now, hour_s) for service in whole]
        for service, chooser in zip(services, choosers, strict=True):
            good = [min(c) > 0 and min(c) >= service.switch_below_mbit_s for c in capacity]
            planned = [bool(cause & int(Cause.MAINTENANCE)) for cause in causes]
            usable = [all(good[link] for link, _ in route) for route in service.routes]
            failed = [
                any(not good[link] and not planned[link] for link, _ in route) for route in service.routes
            ]
            choices.append(chooser.step(usable, failed))
        flows = [
            (s, d) for s, service in enumerate(services) for d in (0, 1) if choices[s] < len(service.routes)
        ]
        routes = [[2 * link + (way ^ d) for link, way in services[s].routes[choices[s]]] for s, d in flows]
        every = np.array(capacity, float).reshape(-1)
        shared = share_capacity(
            every,
            routes,
            committed_mbit_s=[services[s].committed_ways_mbit_s[d] for s, d in flows],
            peak_mbit_s=[services[s].peak_ways_mbit_s[d] for s, d in flows],
            priority=[services[s].priority for s, _ in flows],
            weight=[services[s].sharing_weight for s, _ in flows],
        )
        left = every.copy()
        for (s, d), route, value in zip(flows, routes, shared, strict=True):
            rate[s, now, d] = value
            left[route] -= value
        for s, service in enumerate(services):
            for d in (0, 1):
                got = rate[s, now, d]
                down[s, now, d] = (
                    got < service.required_share * service.committed_ways_mbit_s[d] - 1e-6 or got <= 1e-6
                )
                if got < service.peak_ways_mbit_s[d] - 1e-6:
                    why[s, now, d] = _why(
                        service, choices[s], d, got, down[s, now, d], capacity, causes, left
                    )
    return rate, down, why
