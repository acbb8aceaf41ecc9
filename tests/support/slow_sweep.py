"""The slow, obvious services sweep: a look at every second, capacity shared anew each time."""

from dataclasses import replace

import numpy as np
from shared_capacity import share_capacity

from hopyears.models.judging.cause import Cause


def _state(hop, now):
    return int(hop.state[np.flatnonzero(hop.time_s <= now)[-1]])


def link_at(hops, members, now):
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


class SlowCrowd:
    """Who leaves congested routes, one second after another: rates counted anew for every question."""

    def __init__(self, services):
        self.services = services
        self.movers = [
            s for s, each in enumerate(services) if each.leaves_congestion and len(each.routes) > 1
        ]
        self.order = sorted(range(len(services)), key=lambda s: (services[s].priority, s))
        self.at = dict.fromkeys(self.movers)  # route on which each stands; None before the first second
        self.gap = dict.fromkeys(self.movers)  # seconds left, and the route being left
        self.short_for = dict.fromkeys(self.movers)
        self.room_for = {s: {} for s in self.movers}

    def step(self, capacity, planned, fixed):
        """Choice of every service in the next second; ``fixed`` are those of the others."""
        self.capacity, self.planned = capacity, planned
        self.at |= {s: choice % len(self.services[s].routes) for s, choice in fixed.items()}
        for s in self.order:
            if s in self.movers and self.at[s] is None:
                self.at[s] = max(self.target(s, True), 0)
        for s in self.movers:
            if self.gap[s] is not None:
                left = self.gap[s][0] - 1
                self.gap[s] = (left, self.gap[s][1]) if left > 0 else None
        while self.move():
            pass
        for s in self.movers:
            self.short_for[s] = self.longer(self.short_for[s], self.state(s) != "good")
            self.room_for[s] = {
                r: self.longer(self.room_for[s].get(r), self.room(s, r)) for r in range(self.at[s])
            }
        gaps = {s: len(self.services[s].routes) + self.gap[s][1] for s in self.movers if self.gap[s]}
        return self.at | fixed | gaps

    @staticmethod
    def longer(seconds, holds):
        """Seconds for which something has held, this one included."""
        return (seconds or 0) + 1 if holds else None

    def codes(self, s, route):
        """(link, way, committed rate) of all that a service asks of a route."""
        service = self.services[s]
        return [
            (link, way ^ d, service.committed_ways_mbit_s[d])
            for link, way in service.routes[route]
            for d in (0, 1)
        ]

    def held(self, link, way, who):
        """Sum of the committed rates of some services on a link."""
        return sum(
            rate
            for s in who
            if self.at[s] is not None
            for a, b, rate in self.codes(s, self.at[s])
            if (a, b) == (link, way)
        )

    def alive(self, s, route):
        return all(self.capacity[link][way] > 0 for link, way, _ in self.codes(s, route))

    def fits(self, s, route, who):
        others = [each for each in who if each != s]
        return self.alive(s, route) and all(
            self.capacity[link][way] >= self.held(link, way, others) + rate - 1e-6
            for link, way, rate in self.codes(s, route)
        )

    def peers(self, s):
        return [t for t in self.order if self.services[t].priority <= self.services[s].priority]

    def room(self, s, route):
        takes = route == 0 and self.services[s].preempts
        return self.fits(s, route, self.peers(s) if takes else self.order)

    def state(self, s):
        """good, failed or planned, of the route on which it stands."""
        flows = [(t, d) for t in self.order for d in (0, 1)]
        rates = share_capacity(
            np.array(self.capacity, float).reshape(-1),
            [[2 * link + (way ^ d) for link, way in self.services[t].routes[self.at[t]]] for t, d in flows],
            committed_mbit_s=[self.services[t].committed_ways_mbit_s[d] for t, d in flows],
            peak_mbit_s=[self.services[t].committed_ways_mbit_s[d] for t, d in flows],
            priority=[self.services[t].priority for t, _ in flows],
            weight=[self.services[t].sharing_weight for t, _ in flows],
        )
        got = [rates[flows.index((s, d))] for d in (0, 1)]
        asked = self.services[s].committed_ways_mbit_s
        if self.alive(s, self.at[s]) and all(g >= a - 1e-6 for g, a in zip(got, asked, strict=True)):
            return "good"
        bad = [
            link
            for link, way, _ in self.codes(s, self.at[s])
            if self.capacity[link][way] <= 0
            or self.capacity[link][way] < self.held(link, way, self.peers(s)) - 1e-6
        ]
        return "planned" if all(self.planned[link] for link in bad) else "failed"

    def target(self, s, dead):
        service, looks = self.services[s], [self.order]
        if service.preempts:
            looks.append(self.peers(s))
        routes = [r for r in range(len(service.routes)) if r != self.at[s]]
        for who in looks:
            for r in routes:
                if self.fits(s, r, who):
                    return r
        return next((r for r in routes if dead and self.alive(s, r)), -1)

    def move(self):
        """Let the next service change route; whether one did."""
        for s in self.order:
            if s not in self.movers or self.gap[s] is not None:
                continue
            service, here, state, to = self.services[s], self.at[s], self.state(s), -1
            if state != "good":
                if state == "planned" or (self.short_for[s] or 0) >= service.hold_off_s:
                    to = self.target(s, not self.alive(s, here))
            else:
                for r in range(here):
                    if self.room(s, r) and (self.room_for[s].get(r) or 0) >= service.wait_to_restore_s:
                        to = r
                        break
            if to >= 0:
                seconds = service.switching_s if state == "failed" else service.commanded_s
                self.at[s], self.short_for[s] = to, None
                self.gap[s] = (seconds, here) if seconds else None
                return True
        return False


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


def _why(service, choice, direction, got, down, capacity, causes, left, spare):
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
        left = spare if got < committed - 1e-6 else left
        for link, way in service.routes[choice]:
            if left[2 * link + (way ^ direction)] <= 1e-6:
                found |= causes[link] or int(Cause.CONGESTION)
    return found


def at_hour(service, now, hour_s):
    """What a service asks for at a second, as a service that always asks for that."""
    share = asked_share(service.clock, now, hour_s)
    rates = {name: share * getattr(service, name) for name in ("committed_mbit_s", "peak_mbit_s")}
    if service.backward_mbit_s is not None:
        rates["backward_mbit_s"] = tuple(share * each for each in service.backward_mbit_s)
    return replace(service, **rates)


def slow_sweep(hops, services, links, n_seconds, hour_s=3600.0):
    """Rates, down flags and causes of each service in each second (all times are whole seconds)."""
    crowd = SlowCrowd(services)
    choosers = {s: _Chooser(service) for s, service in enumerate(services) if s not in crowd.movers}
    whole = services
    rate = np.zeros((len(services), n_seconds, 2))
    down = np.zeros((len(services), n_seconds, 2), bool)
    why = np.zeros((len(services), n_seconds, 2), int)
    for now in range(n_seconds):
        found = [link_at(hops, members, now) for members in links]
        capacity, causes = [f[0] for f in found], [f[1] for f in found]
        fixed = {}
        services = [at_hour(service, now, hour_s) for service in whole]
        planned = [bool(cause & int(Cause.MAINTENANCE)) for cause in causes]
        for s, chooser in choosers.items():
            service = services[s]
            good = [min(c) > 0 and min(c) >= service.switch_below_mbit_s for c in capacity]
            usable = [all(good[link] for link, _ in route) for route in service.routes]
            failed = [
                any(not good[link] and not planned[link] for link, _ in route) for route in service.routes
            ]
            fixed[s] = chooser.step(usable, failed)
        choices = crowd.step(capacity, planned, fixed)
        rate[:, now], down[:, now], why[:, now] = all_shared(services, choices, capacity, causes)
    return rate, down, why


def all_shared(services, choices, capacity, causes):
    """Rates, down flags and causes, shape (n_services, 2), of services on these routes, all shared anew."""
    flows = [(s, d) for s, service in enumerate(services) for d in (0, 1) if choices[s] < len(service.routes)]
    routes = [[2 * link + (way ^ d) for link, way in services[s].routes[choices[s]]] for s, d in flows]
    left = np.array(capacity, float).reshape(-1)
    shared = share_capacity(
        left,
        routes,
        committed_mbit_s=[services[s].committed_ways_mbit_s[d] for s, d in flows],
        peak_mbit_s=[services[s].peak_ways_mbit_s[d] for s, d in flows],
        priority=[services[s].priority for s, _ in flows],
        weight=[services[s].sharing_weight for s, _ in flows],
    )
    rate = np.zeros((len(services), 2))
    committed = np.array([service.committed_ways_mbit_s for service in services])
    spare = left.copy()  # by committed rates alone: nobody gets more before all that can have theirs
    for flow, route, value in zip(flows, routes, shared, strict=True):
        rate[flow] = value
        left[route] -= value
        spare[route] -= min(value, committed[flow])
    required = np.array([service.required_share for service in services])
    down = (rate < required[:, None] * committed - 1e-6) | (rate <= 1e-6)
    why = np.zeros((len(services), 2), int)
    for s, service in enumerate(services):
        for d in (0, 1):
            if rate[s, d] < service.peak_ways_mbit_s[d] - 1e-6:
                why[s, d] = _why(
                    service, choices[s], d, rate[s, d], down[s, d], capacity, causes, left, spare
                )
    return rate, down, why
