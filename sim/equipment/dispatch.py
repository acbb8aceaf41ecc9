"""Crews and spares as shared resources on the SimPy clock."""

from dataclasses import dataclass, field

import simpy
from simpy.events import Event

from hopyears.models.equipment.plant import Plant, great_circle_km
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
        self._travel: dict[tuple[int, int, int | None], float] = {}
        self._wake_s = float("inf")

    def travel_s(self, base: int, episode: Episode) -> float:
        """Travel time of a crew from its base to the failed part [s]."""
        key = (base, episode.site, episode.depot)
        if key not in self._travel:
            self._travel[key] = self._plant.travel_h(*key) * HOUR_S
        return self._travel[key]

    def crew_travel_s(self, episode: Episode) -> float:
        """Travel time of the crew that has been sent [s]."""
        return self.travel_s(self._base[episode.crew], episode)

    def call(self, episode: Episode) -> Event | None:
        """Ask for a crew; None if one sets off at once (``episode.crew`` says which), else an event."""
        if self._unlimited:
            return self._call_unlimited(episode)
        if not self._waiting and self._send(episode):
            return None
        episode.called = self._env.event()
        self._waiting.append(episode)
        self.review()
        return episode.called

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
        self._waiting.sort(key=lambda each: (each.priority, each.noticed_s))
        left: list[Episode] = []
        for episode in self._waiting:
            if self._send(episode):
                assert episode.called is not None
                episode.called.succeed()
            else:
                left.append(episode)
        self._waiting = left
        if left:
            self._wake_at_next_shift()

    def _send(self, episode: Episode) -> bool:
        best, best_s = -1, float("inf")
        for base, crews in enumerate(self._idle):
            if crews and self._duty_s(base, episode) <= self._env.now:
                travel_s = self.travel_s(base, episode)
                if travel_s < best_s:
                    best, best_s = base, travel_s
        if best < 0:
            return False
        episode.crew = self._idle[best].pop()
        return True

    def _duty_s(self, base: int, episode: Episode) -> float:
        shift = self._plant.crews[base].shift
        if shift.always or (shift.on_call and episode.priority == 0):
            return self._env.now
        return next_duty_s(self._env.now, shift)

    def _call_unlimited(self, episode: Episode) -> Event | None:
        bases = range(len(self._idle))
        start_s = [self._duty_s(base, episode) for base in bases]
        best = min(bases, key=lambda base: start_s[base] + self.travel_s(base, episode))
        episode.crew = self._base.index(best)
        wait_s = start_s[best] - self._env.now
        return self._env.timeout(wait_s) if wait_s > 0.0 else None

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


class Spares:
    """Depots with a base stock: each spare taken is ordered again and arrives after the lead time.

    With ``unlimited`` stock, spares never lack but are fetched at the nearest depot all the same.
    """

    def __init__(self, env: simpy.Environment, plant: Plant, unlimited: bool) -> None:
        self._env, self._plant, self._unlimited = env, plant, unlimited
        self._stores: dict[tuple[int, str], simpy.Container] = {
            (i, kind): simpy.Container(env, init=max(stock, 0))
            for i, depot in enumerate(plant.depots)
            for kind, stock in depot.stock.items()
        }
        self._near: dict[tuple[int, str], list[int]] = {}

    def take(self, episode: Episode, spare: str, lead_time_draw: float) -> Event | None:
        """Take a spare for an episode; None if it is there, else the event of its arrival.

        The nearest depot with stock serves; if all are empty, the nearest that keeps the kind is waited
        for. A kind that no depot keeps never lacks.
        """
        depots = self._depots_near(episode.site, spare)
        if not depots:
            return None
        if self._unlimited:
            episode.depot = depots[0]
            return None
        stocked = [i for i in depots if self._stores[i, spare].level >= 1]
        depot = stocked[0] if stocked else depots[0]
        store = self._stores[depot, spare]
        episode.depot = depot
        got = store.get(1)
        lead_s = self._plant.depots[depot].lead_time.quantile_h(lead_time_draw) * HOUR_S
        arrival = self._env.timeout(lead_s)
        arrival.callbacks.append(lambda _: _refill(store))
        return None if got.triggered else got

    def _depots_near(self, site: int, spare: str) -> list[int]:
        key = (site, spare)
        if key not in self._near:
            keeping = [i for i in range(len(self._plant.depots)) if (i, spare) in self._stores]
            self._near[key] = sorted(keeping, key=lambda i: self._distance_km(i, site))
        return self._near[key]

    def _distance_km(self, depot: int, site: int) -> float:
        return great_circle_km(self._plant.depots[depot], self._plant.sites[site])


def _refill(store: simpy.Container) -> None:
    store.put(1)
