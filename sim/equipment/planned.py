"""Planned work: dated windows, and the crews that are away for them.

A visit is by appointment, at whatever hour was set: a crew of the site's nearest base leaves in time, works
for the length of the window and travels home. Repairs go first: with no crew of that base at home when it is
time to leave, the visit is put off by a day, and so it is, where somebody must climb, when a storm is near
at any time of the window (forecasts are taken as good). A visit once begun is finished. Whatever is put off
moves no later appointment, unless it has come due in the meantime.
"""

import bisect
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import simpy
from simpy.events import Event

from hopyears.models.basics.arrays import Ints
from hopyears.models.basics.intervals import Intervals, merged
from hopyears.models.basics.units import SECONDS_PER_DAY, SECONDS_PER_YEAR
from hopyears.models.equipment.lifetimes import quantiles_h
from hopyears.models.equipment.plant import Plant
from hopyears.models.equipment.upkeep import PlannedWork
from hopyears.models.equipment.working_time import HOUR_S, next_daylight_s
from hopyears.sim.equipment.changeover import Changeover
from hopyears.sim.equipment.dispatch import Dispatcher
from hopyears.sim.equipment.draws import Draws, Purpose
from hopyears.sim.equipment.failure_log import PlannedVisits
from hopyears.sim.equipment.weather import Times

_MOST_WINDOWS = 1 << 24


@dataclass(frozen=True)
class Appointments:
    """Dates of one kind of planned work at one site: begin [s] and length [s] of each, in order."""

    site: int
    work: PlannedWork
    start_s: list[float]
    length_s: list[float]


def appointments(plant: Plant, draws: Draws, span_s: tuple[float, float]) -> list[Appointments]:
    """All dates within a span: evenly spread over the years, at the stated hour of local solar time."""
    plans = [(i, kind, work) for i, site in enumerate(plant.sites) for kind, work in enumerate(site.planned)]
    made = []
    for site, kind, work in plans:
        number = np.arange(math.ceil((span_s[1] - span_s[0]) / SECONDS_PER_YEAR * work.per_year))
        phase = draws.uniform(site, Purpose.WINDOW, kind)
        day = np.floor((span_s[0] + (number + phase) / work.per_year * SECONDS_PER_YEAR) / SECONDS_PER_DAY)
        local_h = work.start_h - plant.sites[site].longitude_deg / 15.0
        start_s = day * SECONDS_PER_DAY + local_h * HOUR_S
        made.append(Appointments(site, work, start_s.tolist(), _lengths_s(draws, site, kind, work, number)))
    return made


def _lengths_s(draws: Draws, site: int, kind: int, work: PlannedWork, number: Ints) -> list[float]:
    law = work.duration
    if law.kind.name == "FIXED":
        return [law.mean_h * HOUR_S] * len(number)
    draw = draws.numbered(site, Purpose.WINDOW_LENGTH, number + kind * _MOST_WINDOWS)
    kinds = np.full(len(number), int(law.kind))
    length_h = quantiles_h(kinds, np.full(len(number), law.mean_h), np.full(len(number), law.spread), draw)
    lengths: list[float] = (length_h * HOUR_S).tolist()
    return lengths


class Planner:
    """Keeps the appointments that need a crew, on the SimPy clock.

    Parameters
    ----------
    env : simpy.Environment
        Clock.
    plant : Plant
        With at least one base of crews.
    dispatcher : Dispatcher
        Whose crews go.
    storms : sequence of (starts, ends)
        Of each site [s].
    changeovers : dict of int to Changeover
        Switches in use, by group: what a test at their site finds.
    visited : function of a site and an event
        Called as somebody arrives at a site without alarms.
    """

    def __init__(
        self,
        env: simpy.Environment,
        plant: Plant,
        dispatcher: Dispatcher,
        storms: Sequence[tuple[Times, Times]],
        changeovers: dict[int, Changeover],
        visited: Callable[[int, Event], None],
    ) -> None:
        self._env, self._plant, self._dispatcher = env, plant, dispatcher
        self._storms, self._changeovers, self._visited = storms, changeovers, visited
        self._groups: dict[int, list[int]] = {}
        self.rows: list[tuple[int, int, float, float, float, float, float]] = []

    def begin(self, made: Sequence[Appointments]) -> None:
        """Wait for the first date of each."""
        for index, group in enumerate(self._plant.groups):
            self._groups.setdefault(self._plant.parts[group.chains[0][0]].site, []).append(index)
        for plan in made:
            self._await(plan, 0, plan.start_s[0])

    def _await(self, plan: Appointments, number: int, start_s: float) -> None:
        _, travel_s = self._nearest(plan.site)
        rules = self._plant.repair
        if plan.work.climbs and rules.daylight_climbs:
            place = self._plant.sites[plan.site]
            start_s = next_daylight_s(
                start_s, place.latitude_deg, place.longitude_deg, rules.least_daylight_h
            )
        leave = self._env.timeout(max(start_s - travel_s - self._env.now, 0.0))
        leave.callbacks.append(partial(self._leave, plan, number, start_s))

    def _leave(self, plan: Appointments, number: int, start_s: float, _: Event) -> None:
        base, travel_s = self._nearest(plan.site)
        now = self._env.now
        arrived_s = max(start_s, now + travel_s)
        end_s = arrived_s + plan.length_s[number]
        stormy = plan.work.climbs and self._stormy(plan.site, arrived_s, end_s)
        crew = None if stormy else self._dispatcher.book(base)
        if crew is None:
            self._await(plan, number, start_s + SECONDS_PER_DAY)
            return
        down_s = arrived_s + plan.length_s[number] * plan.work.outage_share
        home_s = end_s + (travel_s if self._plant.repair.return_travel else 0.0)
        self.rows.append((plan.site, crew, now, arrived_s, end_s, home_s, down_s))
        home = self._env.timeout(home_s - now)
        home.callbacks.append(lambda _: self._dispatcher.release(crew))
        if not self._plant.sites[plan.site].alarms:
            self._env.timeout(arrived_s - now).callbacks.append(partial(self._visited, plan.site))
        if plan.work.tests:
            self._env.timeout(arrived_s - now).callbacks.append(partial(self._test, plan.site))
        if number + 1 < len(plan.start_s):
            due_s = plan.start_s[number + 1]
            late_days = max(math.ceil((end_s - due_s) / SECONDS_PER_DAY), 0)
            self._await(plan, number + 1, due_s + late_days * SECONDS_PER_DAY)

    def _nearest(self, site: int) -> tuple[int, float]:
        travel_h, base = self._plant.bases_near(site, None)[0]
        return base, travel_h * HOUR_S

    def _stormy(self, site: int, start_s: float, end_s: float) -> bool:
        starts, ends = self._storms[site]
        storm = bisect.bisect_right(ends, start_s)
        return storm < len(starts) and starts[storm] < end_s

    def _test(self, site: int, _: Event) -> None:
        for group in self._groups.get(site, ()):
            if group in self._changeovers:
                self._changeovers[group].test()


def visits_of(rows: Sequence[tuple[int, int, float, float, float, float, float]]) -> PlannedVisits:
    """Rows of a planner as arrays, in the order of departure."""
    table = np.array(rows, dtype=np.float64).reshape(-1, 7)
    site, crew = table[:, 0].astype(np.int64), table[:, 1].astype(np.int64)
    left_s, start_s, end_s, home_s, down_s = (table[:, column].copy() for column in range(2, 7))
    return PlannedVisits(site, crew, left_s, start_s, end_s, home_s, down_s)


def planned_outages(visits: PlannedVisits, remote: Sequence[Appointments], n_sites: int) -> Intervals:
    """When planned work stops each site (one row a site): visits, and work from a distance on its dates."""
    rows = [np.full(len(plan.start_s), plan.site) for plan in remote]
    starts = [np.array(plan.start_s) for plan in remote]
    lengths = [np.array(plan.length_s) * plan.work.outage_share for plan in remote]
    ends = [start + length for start, length in zip(starts, lengths, strict=True)]
    return merged(
        np.concatenate([visits.site, *rows]),
        np.concatenate([visits.start_s, *starts]),
        np.concatenate([visits.down_until_s, *ends]),
        n_rows=n_sites,
    )
