"""Crews as shared resources on the SimPy clock: who goes, and what else is mended on the same visit."""

from dataclasses import dataclass, field

import simpy
from simpy.events import Event

from hopyears.models.equipment.plant import Plant
from hopyears.models.equipment.working_time import HOUR_S, next_duty_s


@dataclass(slots=True, eq=False)
class Episode:
    """One failure from the moment it happens to the moment it is mended; times in seconds of the block.

    Stages not reached yet are infinite.
    """

    part: int
    site: int
    failed_s: float
    cause: int
    latent: bool = False
    affecting: bool = True
    priority: int = 0
    found: Event | None = None
    noticed_s: float = float("inf")
    spare_s: float = float("inf")
    crew_s: float = float("inf")
    arrived_s: float = float("inf")
    mended_s: float = float("inf")
    darkness_s: float = 0.0
    storm_s: float = 0.0
    crew: int = -1
    depot: int | None = None
    called: Event | None = field(default=None, repr=False)


@dataclass(slots=True, eq=False)
class Visit:
    """A crew under way to a site or at work there, and the faults that it is still to mend.

    ``depot`` is where it fetches spares, ``passes_s`` when it leaves there (or its base): from then on only
    faults that need no spare can join.
    """

    crew: int
    first: Episode
    left_s: float
    passes_s: float
    arrives_s: float
    jobs: list[Episode]

    @property
    def travel_s(self) -> float:
        """Time of the journey out, and home again [s]."""
        return self.arrives_s - self.left_s


class Dispatcher:
    """Sends the nearest idle crew on duty; if none, the most urgent, then the oldest, call goes first.

    Parameters
    ----------
    env : simpy.Environment
        Clock.
    plant : Plant
        Crews and sites.
    unlimited : bool
        As many crews at each base as are called: nobody waits for one, but shifts and roads remain.
    """

    def __init__(self, env: simpy.Environment, plant: Plant, unlimited: bool) -> None:
        self._env, self._plant, self._unlimited = env, plant, unlimited
        self._base: list[int] = plant.crew_base.tolist()
        self._idle: list[list[int]] = [[] for _ in plant.crews]
        for crew in reversed(range(len(self._base))):
            self._idle[self._base[crew]].append(crew)
        self._waiting: list[Episode] = []
        self._wake_s = float("inf")
        self._visits: dict[int, Visit] = {}

    def call(self, episode: Episode) -> Event:
        """The event of a crew standing at the fault, or of the call being withdrawn (``episode.crew`` is -1).

        A crew that is under way to the site mends this fault too if it can; one at work there does if the
        fault is not urgent, or nobody else is idle.
        """
        episode.called = self._env.event()
        called = episode.called
        if self._unlimited:
            self._send_unlimited(episode)
        elif not (
            self._join(episode, at_work=episode.priority > 0)
            or (not self._waiting and self._send(episode))
            or self._join(episode, at_work=True)
        ):
            self._waiting.append(episode)
            self.review()
        return called

    def withdraw(self, episode: Episode) -> None:
        """Call nobody for a fault any more; nothing happens if it waits for no crew."""
        if episode in self._waiting:
            self._waiting.remove(episode)
            assert episode.called is not None
            episode.called.succeed()

    def done(self, episode: Episode) -> None:
        """A fault is mended: its crew turns to the next at the site, or goes home."""
        if self._unlimited:
            return
        visit = self._visits[episode.crew]
        if visit.jobs:
            self._next_job(visit)
            return
        del self._visits[episode.crew]
        if self._plant.repair.return_travel and visit.travel_s > 0.0:
            self._env.timeout(visit.travel_s).callbacks.append(lambda _: self.release(visit.crew))
        else:
            self.release(visit.crew)

    def book(self, base: int) -> int | None:
        """A crew of a base for planned work, at any hour; None if none is at home."""
        if self._unlimited:
            return self._base.index(base)
        return self._idle[base].pop() if self._idle[base] else None

    def release(self, crew: int) -> None:
        """A crew is free again."""
        if not self._unlimited:
            self._idle[self._base[crew]].append(crew)
            if self._waiting:
                self.review()

    def review(self) -> None:
        """Serve who can be served, for instance after a call has become urgent."""
        for episode in sorted(self._waiting, key=_urgency):
            if episode in self._waiting and self._send(episode):
                self._waiting.remove(episode)
        if self._waiting:
            self._wake_at_next_shift()

    def _send(self, episode: Episode) -> bool:
        for travel_h, base in self._plant.bases_near(episode.site, episode.depot):
            if self._idle[base] and self._duty_s(base, episode) <= self._env.now:
                self._set_out(episode, self._idle[base].pop(), travel_h * HOUR_S)
                return True
        return False

    def _set_out(self, episode: Episode, crew: int, travel_s: float) -> None:
        """A crew leaves for a site; calls that wait for the same site and depot go with it."""
        now, passes_s = self._env.now, self._env.now
        if episode.depot is not None:
            passes_s += self._plant.fetch_h(self._base[crew], episode.depot) * HOUR_S
        visit = self._visits[crew] = Visit(crew, episode, now, passes_s, now + travel_s, [episode])
        episode.crew, episode.crew_s = crew, now
        if travel_s > 0.0:
            for fellow in [each for each in self._waiting if each is not episode and self._fits(visit, each)]:
                self._waiting.remove(fellow)
                fellow.crew = crew
                visit.jobs.append(fellow)
            self._env.timeout(travel_s).callbacks.append(lambda _: self._next_job(visit))
        else:
            self._next_job(visit)

    def _next_job(self, visit: Visit) -> None:
        """The crew turns to the most urgent fault that it has come for."""
        visit.jobs.sort(key=_urgency)
        episode = visit.jobs.pop(0)
        if episode is not visit.first:
            episode.crew_s = self._env.now
        assert episode.called is not None  # every fault that a crew goes to has called for one
        episode.called.succeed()

    def _join(self, episode: Episode, *, at_work: bool) -> bool:
        for visit in self._visits.values():
            reached = visit.arrives_s <= self._env.now
            if visit.travel_s > 0.0 and (at_work or not reached) and self._fits(visit, episode):
                episode.crew = visit.crew
                visit.jobs.append(episode)
                return True
        return False

    def _fits(self, visit: Visit, episode: Episode) -> bool:
        """Whether a crew can mend a fault on a visit: same site, and no spare that it has not at hand."""
        fetched = episode.depot == visit.first.depot and self._env.now <= visit.passes_s
        return episode.site == visit.first.site and (episode.depot is None or fetched)

    def _duty_s(self, base: int, episode: Episode) -> float:
        shift = self._plant.crews[base].shift
        if shift.always or (shift.on_call and episode.priority == 0):
            return self._env.now
        return next_duty_s(self._env.now, shift)

    def _send_unlimited(self, episode: Episode) -> None:
        ways = (
            (self._duty_s(base, episode), travel_h * HOUR_S, base)
            for travel_h, base in self._plant.bases_near(episode.site, episode.depot)
        )
        start_s, travel_s, best = min(ways, key=lambda way: way[0] + way[1])
        episode.crew, episode.crew_s = self._base.index(best), start_s
        called, arrives_s = episode.called, start_s + travel_s
        assert called is not None  # it has just been made

        def arrived(_: Event) -> None:
            called.succeed()

        self._env.timeout(arrives_s - self._env.now).callbacks.append(arrived)

    def _wake_at_next_shift(self) -> None:
        now = self._env.now
        starts = [
            next_duty_s(now, self._plant.crews[base].shift) for base, crews in enumerate(self._idle) if crews
        ]
        wake_s = min((start for start in starts if start > now), default=float("inf"))
        if wake_s < self._wake_s or (self._wake_s <= now and wake_s < float("inf")):
            self._wake_s = wake_s
            self._env.timeout(wake_s - now).callbacks.append(self._woken)

    def _woken(self, _: Event) -> None:
        self._wake_s = float("inf")
        if self._waiting:
            self.review()


def _urgency(episode: Episode) -> tuple[int, float]:
    """Who goes first: the more urgent, then the older."""
    return episode.priority, episode.noticed_s
