"""The life of a part on the SimPy clock: fails, is noticed, waits for spare, crew and weather, is mended."""

import math
from collections import Counter
from collections.abc import Generator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import simpy

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import PartKind, Repair
from hopyears.models.equipment.plant import Plant
from hopyears.models.equipment.working_time import HOUR_S, finish_with_holds_s, next_daylight_s
from hopyears.models.judging.cause import Cause
from hopyears.sim.equipment.changeover import Changeover
from hopyears.sim.equipment.dispatch import Dispatcher, Episode
from hopyears.sim.equipment.draws import Draws, Purpose
from hopyears.sim.equipment.put_in import NOTHING_PUT_IN, PutIn
from hopyears.sim.equipment.stores import Stores
from hopyears.sim.equipment.weather import Times

Process = Generator[simpy.Event, Any, None]


@dataclass
class Workshop:
    """What the lives of all parts share during one block."""

    env: simpy.Environment
    plant: Plant
    draws: Draws
    group_draws: Draws
    dispatcher: Dispatcher
    stores: Stores
    horizon_s: float
    storms: Sequence[tuple[Times, Times]]
    chains_of: dict[int, list[tuple[int, int]]]
    stops: dict[int, list[tuple[int, int]]]
    hits: dict[int, list[float]] = field(default_factory=dict)
    put_in: PutIn = NOTHING_PUT_IN
    changeovers: dict[int, Changeover] = field(default_factory=dict)
    episodes: list[Episode] = field(default_factory=list)
    failed: set[int] = field(default_factory=set)
    mistaken: set[int] = field(default_factory=set)
    down: Counter[str] = field(default_factory=Counter)
    unnoticed: dict[int, list[Episode]] = field(default_factory=dict)

    def kind(self, part: int) -> PartKind:
        """Kind of a part."""
        return self.plant.kinds[self.plant.parts[part].kind]

    def changeover(self, group: int) -> Changeover:
        """Switch of a group, made when it is first needed."""
        if group not in self.changeovers:
            self.changeovers[group] = Changeover(
                self.env, group, self.plant.groups[group], self.group_draws, self.urgent
            )
        return self.changeovers[group]

    def urgent(self) -> None:
        """A fault has become urgent: spares and crews are handed out anew."""
        self.stores.review()
        self.dispatcher.review()

    def visited(self, site: int, _: simpy.Event | None = None) -> None:
        """Somebody is at a site: whatever failed there without being noticed is noticed."""
        for episode in self.unnoticed.pop(site, ()):
            if episode.found is not None and not episode.found.triggered:
                episode.found.succeed()

    def close(self) -> None:
        """Let go of what lives still under way hold: they wait on the clock, which holds itself."""
        for each in (self.env, self):
            vars(each).clear()


def begin(life: Process, _: simpy.Event | None = None) -> None:
    """Follow a life on the clock: it goes on when what it waits for has happened.

    Less than a SimPy process, which is an event itself: nobody waits for the end of a life.
    """
    awaited = next(life, None)
    while awaited is not None and awaited.callbacks is None:  # it has happened already
        awaited = next(life, None)
    if awaited is not None:
        awaited.callbacks.append(partial(begin, life))


def part_life(shop: Workshop, part: int, first_failure_s: float) -> Process:
    """Failures and repairs of one part until the horizon."""
    env, count, worn_s = shop.env, 0, first_failure_s
    hits, put_in = shop.hits.get(part, []), shop.put_in.times_s.get(part, ())
    chains = shop.chains_of.get(part, ())
    while True:
        struck_s = next((hit for hit in hits if hit > env.now), math.inf) if hits else math.inf
        when_s = min(worn_s, struck_s)
        if put_in:
            when_s = min(when_s, *(time_s for time_s in put_in if time_s > env.now), math.inf)
        if when_s >= shop.horizon_s:
            return
        yield env.timeout(when_s - env.now)
        resting = bool(chains) and any(shop.changeover(group).rests(chain) for group, chain in chains)
        stopped = part in shop.mistaken  # it does not run, and so does not fail
        if not stopped and (not resting or when_s == struck_s):
            shop.failed.add(part)
            yield from _episode(shop, part, count, struck=when_s == struck_s)
            shop.failed.remove(part)
        count += 1
        worn_s = shop.put_in.again_s(part, env.now + _life_s(shop, part, count))


def _life_s(shop: Workshop, part: int, count: int) -> float:
    """Life of a replaced part [s]."""
    kind = shop.kind(part)
    draw = shop.draws.uniform(part, Purpose.LIFE, count)
    own = shop.plant.parts[part]
    if kind.infant_share and shop.draws.uniform(part, Purpose.INFANT, count) < kind.infant_share:
        return Law.exponential(kind.infant_mean_h).quantile_h(draw) * HOUR_S
    return (own.life or kind.life).quantile_h(draw) / own.failure_factor * HOUR_S


def _episode(shop: Workshop, part: int, count: int, *, struck: bool) -> Process:
    """One failure of a part from beginning to end."""
    kind = shop.kind(part)
    episode = _fail(shop, part, count, kind, struck)
    groups = shop.chains_of.get(part, ()) if episode.affecting else ()
    shop.episodes.append(episode)
    for group, chain in groups:
        shop.changeover(group).failed(chain, episode)
    stops = _stops_traffic(shop, episode)
    if stops and (len(groups) > 1 or shop.plant.parts[part].plainly_seen):
        episode.priority = 0
    if episode.latent or not (stops or shop.plant.sites[episode.site].alarms):
        yield from _until_found(shop, episode, count)
    notice_h = shop.plant.dispatch.quantile_h(shop.draws.uniform(part, Purpose.NOTICE, count))
    if notice_h > 0.0:
        yield shop.env.timeout(notice_h * HOUR_S)
    episode.noticed_s = shop.env.now
    mend_law = shop.plant.parts[part].mend or kind.mend
    mend_s = mend_law.quantile_h(shop.draws.uniform(part, Purpose.MEND, count)) * HOUR_S
    if kind.repair is Repair.REMOTE:
        episode.spare_s = episode.crew_s = episode.arrived_s = episode.noticed_s
        yield shop.env.timeout(mend_s)
    else:
        yield from _visit(shop, episode, kind, count, mend_s)
    episode.mended_s = shop.env.now
    if episode.affecting:
        shop.down[shop.plant.parts[part].group] -= 1
    for group, chain in groups:
        shop.changeover(group).mended(chain, episode)
    if kind.repair is not Repair.REMOTE:
        _perhaps_mistaken(shop, part, count)


def _perhaps_mistaken(shop: Workshop, part: int, count: int) -> None:
    """After a repair: a crew may leave another part stopped by mistake, and soon sets that right."""
    share, name = shop.plant.repair.error_share, shop.plant.parts[part].beside
    if not share or not name or shop.draws.uniform(part, Purpose.ERROR, count) >= share:
        return
    near = shop.plant.beside[name]
    working = [other for other in near if other != part and other not in shop.failed | shop.mistaken]
    if working:
        place = int(shop.draws.uniform(part, Purpose.ERROR_PART, count) * len(working))
        length_h = shop.plant.mistake.quantile_h(shop.draws.uniform(part, Purpose.ERROR_LENGTH, count))
        begin(_mistake(shop, working[place], length_h * HOUR_S))


def _mistake(shop: Workshop, part: int, length_s: float) -> Process:
    """A part that works is stopped until the crew, which is still there, has seen it."""
    now, own, groups = shop.env.now, shop.plant.parts[part], shop.chains_of.get(part, ())
    cause = int(shop.kind(part).cause) | int(Cause.MAINTENANCE)
    episode = Episode(part, own.site, now, cause, noticed_s=now, spare_s=now, crew_s=now, arrived_s=now)
    shop.episodes.append(episode)
    shop.mistaken.add(part)
    shop.down[own.group] += 1
    for group, chain in groups:
        shop.changeover(group).failed(chain, episode)
    yield shop.env.timeout(length_s)
    shop.mistaken.remove(part)
    shop.down[own.group] -= 1
    episode.mended_s = shop.env.now
    for group, chain in groups:
        shop.changeover(group).mended(chain, episode)


def _stops_traffic(shop: Workshop, episode: Episode) -> bool:
    """Whether a failure takes traffic down as it happens; nothing stands in for the part, or no longer."""
    if not episode.affecting:
        return False
    part = shop.plant.parts[episode.part]
    shop.down[part.group] += 1
    chains = shop.chains_of.get(episode.part, ())
    if chains and not part.plainly_seen:
        return any(shop.changeover(group).silent for group, _ in chains)
    return shop.down[part.group] > part.spares if part.group else True


def _fail(shop: Workshop, part: int, count: int, kind: PartKind, struck: bool) -> Episode:
    draws, plant = shop.draws, shop.plant
    cause = int(kind.cause) | (int(Cause.LIGHTNING) if struck else 0)
    episode = Episode(part, plant.parts[part].site, shop.env.now, cause)
    if kind.affecting_share < 1.0:
        episode.affecting = draws.uniform(part, Purpose.AFFECTING, count) < kind.affecting_share
    chains = shop.chains_of.get(part, ())
    seen = not (episode.affecting and chains) or plant.parts[part].plainly_seen
    if kind.latent_share and not seen and all(shop.changeover(group).mutes(chain) for group, chain in chains):
        episode.latent = draws.uniform(part, Purpose.LATENT, count) < kind.latent_share
    given = plant.parts[part].priority
    episode.priority = given if given is not None else (0 if episode.affecting else 2)
    return episode


def _until_found(shop: Workshop, episode: Episode, count: int) -> Process:
    """What nobody sees waits for a routine test, for the chain to be called, or for somebody to come."""
    env = shop.env
    episode.found = env.event()
    if not shop.plant.sites[episode.site].alarms:
        shop.unnoticed.setdefault(episode.site, []).append(episode)
    chains = shop.chains_of.get(episode.part, []) if episode.affecting else []
    test = shop.plant.groups[chains[0][0]].test if chains else None
    if test is None:
        yield episode.found
    else:
        phase = shop.group_draws.uniform(chains[0][0], Purpose.PHASE, 0)
        draw = shop.draws.uniform(episode.part, Purpose.FOUND, count)
        yield env.timeout(test_wait_s(test, env.now, phase, draw)) | episode.found
    for group, chain in chains:
        shop.changeover(group).found(chain, episode)


def test_wait_s(test: Law, time_s: float, phase: float, draw: float) -> float:
    """Time [s] from now to the test that finds a latent failure; phase and draw are uniform in (0, 1)."""
    if test.kind.name != "FIXED":
        return test.quantile_h(draw) * HOUR_S
    interval_s = test.mean_h * HOUR_S
    return interval_s - (time_s - phase * interval_s) % interval_s


def _daylight_wait_s(shop: Workshop, site: int) -> float:
    """Time until somebody may start a climb at a site [s]."""
    place, least_h = shop.plant.sites[site], shop.plant.repair.least_daylight_h
    return next_daylight_s(shop.env.now, place.latitude_deg, place.longitude_deg, least_h) - shop.env.now


def _crew_with_spare(shop: Workshop, episode: Episode, kind: PartKind, count: int) -> Process:
    """Fetch a spare, wait for light and a crew, until a crew stands at the fault."""
    env = shop.env
    fitting = shop.plant.parts[episode.part].fitting or ((kind.spare,) if kind.spare else ())
    ready = None
    if fitting:
        ready = shop.stores.ask(episode, fitting, shop.draws.uniform(episode.part, Purpose.RESUPPLY, count))
    while episode.crew < 0:  # again where a more urgent fault has taken the spare
        if ready is not None:
            yield ready
        episode.spare_s = env.now
        episode.darkness_s = 0.0
        if kind.repair is Repair.OUTDOOR and shop.plant.repair.daylight_climbs:
            episode.darkness_s = _daylight_wait_s(shop, episode.site)
            if episode.darkness_s > 0.0:
                yield env.timeout(episode.darkness_s)
        if shop.stores.lost(episode) is None:
            yield shop.dispatcher.call(episode)
        ready = shop.stores.lost(episode)
    shop.stores.used(episode)


def _visit(shop: Workshop, episode: Episode, kind: PartKind, count: int, mend_s: float) -> Process:
    """Wait for a spare, a crew and the weather, and mend."""
    env = shop.env
    yield from _crew_with_spare(shop, episode, kind, count)
    episode.arrived_s = env.now
    end_s = episode.arrived_s + mend_s
    if kind.repair is Repair.OUTDOOR:
        end_s = finish_with_holds_s(episode.arrived_s, mend_s, *shop.storms[episode.site])
        episode.storm_s = end_s - (episode.arrived_s + mend_s)
    stopped = shop.stops.get(episode.part, ())
    if stopped or not shop.plant.sites[episode.site].alarms:
        shop.visited(episode.site)
        for group, chain in stopped:
            shop.changeover(group).stopped(chain, episode)
    yield env.timeout(end_s - env.now)
    for group, chain in stopped:
        shop.changeover(group).mended(chain, episode)
    shop.dispatcher.done(episode)
