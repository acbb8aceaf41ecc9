"""A block judged again as if one thing had never gone wrong, on the same draws.

What chance decides (storms, nights, each part's life, each repair) belongs to named things and stays the
same. A part that never fails also calls no crew and takes no spare, so that others may be mended sooner;
switches follow what is left. Storms shake the mains and hold climbers whatever becomes of rain on the hops.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from hopyears.models.basics.arrays import Bools
from hopyears.models.equipment.lifetimes import NEVER
from hopyears.models.equipment.part_kind import Place, kinds_at
from hopyears.models.equipment.plant import Plant, PlantSite
from hopyears.models.judging.cause import Cause
from hopyears.sim.blocks.block import BlockDraws, BlockSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.equipment.segments import same_segments
from hopyears.sim.hops.hop import EquipmentSegments, hop_history
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.multipath.fades import FadeEvents
from hopyears.sim.rain.rain_kernel import RainKnots
from hopyears.sim.services.service_data import ServiceHistory
from hopyears.sim.studies.targets import (
    CAUSE,
    HOP,
    LIGHTNING,
    MAINTENANCE,
    MULTIPATH,
    PART,
    POWER,
    RAIN,
    SINGLE,
    SITE,
    Target,
)


def targets_of(
    prepared: Prepared, services: Sequence[int] | None = None, *, single_parts: bool = False
) -> tuple[Target, ...]:
    """Everything that can go wrong in a network with these model options.

    With ``services``, only hops that these may cross, and sites at the ends of such hops. With
    ``single_parts`` also every single part at those sites.
    """
    hops: Sequence[int] = range(len(prepared.designs))
    if services is not None:
        hops = sorted({hop for service in services for hop in prepared.hops_crossed(service)})
    places = {site for i in hops for site in prepared.built.hops[i].sites}
    targets = [Target(HOP, prepared.designs[i].hop.id) for i in hops]
    options, plant = prepared.options, prepared.built.plant
    if options.failures:
        present = {part.kind for part in plant.parts}
        targets += [Target(SITE, site.id) for i, site in enumerate(plant.sites) if i in places]
        targets += [Target(PART, kind) for kind in plant.kind_names if kind in present]
        if single_parts:
            targets += [Target(SINGLE, part.id) for part in plant.parts if part.site in places]
        if any(site.power is not None for site in plant.sites):
            targets.append(Target(CAUSE, POWER))
        if any(site.planned for site in plant.sites):
            targets.append(Target(CAUSE, MAINTENANCE))
        if plant.lightning is not None and options.rain:
            targets.append(Target(CAUSE, LIGHTNING))
    if options.rain:
        targets.append(Target(CAUSE, RAIN))
    if any(nights is not None for nights in prepared.nights):
        targets.append(Target(CAUSE, MULTIPATH))
    return tuple(targets)


def parts_of(prepared: Prepared, target: Target) -> Bools:
    """Which parts of the plant a target holds, shape (n_parts,); for power those of the supplies."""
    plant, found = prepared.built.plant, np.zeros(len(prepared.built.plant.parts), dtype=np.bool_)
    hop_parts = {
        design.hop.id: hop.own for design, hop in zip(prepared.designs, prepared.built.hops, strict=True)
    }
    if target.kind == HOP:
        found[list(hop_parts[target.name])] = True
        return found
    own = {part for parts in hop_parts.values() for part in parts}
    for i, part in enumerate(plant.parts):
        match target.kind, target.name:
            case "site", name:
                found[i] = i not in own and plant.sites[part.site].id == name
            case "part kind", name:
                found[i] = part.kind == name
            case "part", name:
                found[i] = part.id == name
            case "cause", "power":
                found[i] = plant.kinds[part.kind].cause == Cause.POWER
            case "cause", "lightning":
                found[i] = plant.kinds[part.kind].outdoor
    return found


def plant_without(prepared: Prepared, target: Target) -> Plant:
    """The plant with everything but the target's failures.

    A site is all that its hops have in common there: power, planned work, indoor units with their line
    cards, mast, software. Radios, antennas and cables on it are their hops' own.

    Raises
    ------
    ValueError
        If the target is not of the plant: a hop, rain or multipath.
    """
    plant = prepared.built.plant
    match target.kind, target.name:
        case "part kind", kind:
            spared = replace(plant.kinds[kind], life=NEVER, outdoor=False)
            return replace(plant, kinds={**plant.kinds, kind: spared})
        case "part", name:
            return _with_part_spared(plant, name)
        case "site", name:
            own = {part for hop in prepared.built.hops for part in hop.own}
            parts = tuple(
                replace(part, life=NEVER) if i not in own and plant.sites[part.site].id == name else part
                for i, part in enumerate(plant.parts)
            )
            sites = tuple(_steady(replace(s, planned=())) if s.id == name else s for s in plant.sites)
            return replace(plant, parts=parts, sites=sites)
        case "cause", "power":
            supply = {kind.key: replace(kind, life=NEVER) for kind in kinds_at(Place.SUPPLY)}
            kinds = {**plant.kinds, **supply}
            return replace(plant, kinds=kinds, sites=tuple(_steady(site) for site in plant.sites))
        case "cause", "planned work":
            return replace(plant, sites=tuple(replace(site, planned=()) for site in plant.sites))
        case "cause", "lightning":
            return replace(plant, lightning=None)
    raise ValueError(f"target is {target.kind} {target.name}; must be one of the plant's")


def _with_part_spared(plant: Plant, name: str) -> Plant:
    """The plant with one part that neither wears out nor is struck."""
    index = next(i for i, part in enumerate(plant.parts) if part.id == name)
    part, kinds = replace(plant.parts[index], life=NEVER), dict(plant.kinds)
    if kinds[part.kind].outdoor:
        spared = f"spared {part.kind}"
        kinds[spared] = replace(kinds[part.kind], outdoor=False)
        part = replace(part, kind=spared)
    parts = (*plant.parts[:index], part, *plant.parts[index + 1 :])
    return replace(plant, parts=parts, kinds=kinds)


def _steady(site: PlantSite) -> PlantSite:
    """A site whose supply never fails."""
    return replace(site, power=None)


class BlockCase:
    """One block, drawn once, to be judged as it was and without any of its targets.

    Parameters
    ----------
    simulator : BlockSimulator
    draws : BlockDraws
    services : sequence of int, optional
        Services to judge, whole groups of ``sharing_groups``; all of them unless stated. Histories are given
        in this order.
    by_month : bool
        Whether histories tell what they lacked by calendar month.
    failures : callable, optional
        Gives the failures of a plant with the block's draws; unless stated, all that come by themselves.
    """

    def __init__(
        self,
        simulator: BlockSimulator,
        draws: BlockDraws,
        services: Sequence[int] | None = None,
        *,
        by_month: bool = False,
        failures: Callable[[Plant], FailureLog] | None = None,
    ) -> None:
        self._simulator, self._draws, self._by_month = simulator, draws, by_month
        self._failures = failures or self._by_themselves
        prepared = self._prepared = simulator.prepared
        self._judged = tuple(range(len(prepared.demands)) if services is None else services)
        self._group = sharing_groups(prepared)
        self._links = [{link for route in each.routes for link, _ in route} for each in prepared.demands]
        self._index = {design.hop.id: i for i, design in enumerate(prepared.designs)}
        self._link_of = prepared.link_of_hops()
        self._used = sorted({hop for service in self._judged for hop in prepared.hops_crossed(service)})
        self._rain = {i: simulator.rain(draws, i) for i in self._used}

    @cached_property
    def hops(self) -> list[HopHistory]:
        """Histories of the hops as they were; of those that no judged service crosses, undisturbed."""
        hops = [self._undisturbed(i) for i in range(len(self._prepared.designs))]
        for i in self._used:
            hops[i] = self._hop(i, self._draws.segments[i])
        return hops

    @cached_property
    def services(self) -> tuple[ServiceHistory, ...]:
        """Histories of the judged services as they were."""
        return self._services(self.hops, self._draws.log, self._judged)

    def services_without(self, target: Target) -> tuple[ServiceHistory, ...]:
        """Histories of the judged services had the target never gone wrong.

        The very histories of ``services`` where the target could make no difference.
        """
        hops, draws = list(self.hops), self._draws
        match target.kind, target.name:
            case "hop", name:
                return self.services_without_hops([name])
            case "cause", "rain" | "multipath":
                if draws.field is None and all(fades is None for fades in draws.fades):
                    return self.services
                keep_rain, keep_fades = target.name != RAIN, target.name != MULTIPATH
                for i in self._used:
                    segments = self._draws.segments[i]
                    hops[i] = self._hop(i, segments, keep_rain=keep_rain, keep_fades=keep_fades)
                return self._judge(hops, {self._link_of[i] for i in self._used}, self._draws.log)
        return self.services_with_plant(plant_without(self._prepared, target))

    def services_without_hops(self, names: Sequence[str]) -> tuple[ServiceHistory, ...]:
        """The same had none of these hops ever gone wrong."""
        hops, changed = list(self.hops), set()
        for index in (self._index[name] for name in names):
            hops[index] = self._undisturbed(index)
            changed.add(self._link_of[index])
        return self._judge(hops, changed, self._draws.log)

    def _judge(
        self, hops: list[HopHistory], changed: set[int], log: FailureLog | None
    ) -> tuple[ServiceHistory, ...]:
        """The services again; only groups that cross a changed link (by its number) can fare differently."""
        groups = {self._group[s] for s in self._judged if self._links[s] & changed}
        again = [s for s in self._judged if self._group[s] in groups]
        anew = dict(zip(again, self._services(hops, log, again), strict=True))
        return tuple(anew.get(s, before) for s, before in zip(self._judged, self.services, strict=True))

    def _services(
        self, hops: list[HopHistory], log: FailureLog | None, wanted: Sequence[int]
    ) -> tuple[ServiceHistory, ...]:
        duration_s = self._draws.duration_s
        return self._simulator.services(hops, log, duration_s, only=wanted, by_month=self._by_month)

    def services_with_plant(self, plant: Plant) -> tuple[ServiceHistory, ...]:
        """The same block with a plant of the same parts; only hops whose equipment fares differently are
        done again.
        """
        return (
            self.services if self._draws.log is None else self.services_with_failures(self._failures(plant))
        )

    def _by_themselves(self, plant: Plant) -> FailureLog:
        draws = self._draws
        return self._simulator.failures(plant, draws.streams, draws.duration_s, draws.weather)

    def services_with_failures(self, log: FailureLog) -> tuple[ServiceHistory, ...]:
        """The same with other failures."""
        draws, simulator = self._draws, self._simulator
        hops, changed = list(self.hops), set()
        for i in self._used:
            segments = simulator.segments(i, log)
            if not same_segments(segments, draws.segments[i]):
                hops[i] = self._hop(i, segments)
                changed.add(self._link_of[i])
        n_hops = len(self._prepared.designs)
        for link, part in enumerate(self._prepared.line_cards, start=n_hops):
            if not _same_part(log, draws.log, part):
                changed.add(link)
        return self._judge(hops, changed, log)

    def _hop(
        self, index: int, segments: EquipmentSegments, *, keep_rain: bool = True, keep_fades: bool = True
    ) -> HopHistory:
        rain = self._rain_of(index, segments) if keep_rain else None
        fades = self._fades_of(index, segments) if keep_fades else None
        if rain is None and fades is None:
            return self._simulator.fade_free[index].history(segments)
        return hop_history(self._simulator.thresholds[index], segments, rain, fades, self._draws.duration_s)

    def _rain_of(self, index: int, segments: EquipmentSegments) -> RainKnots | None:
        """Rain of a hop for these equipment states: as it was unless a weaker state has come."""
        thresholds = self._simulator.thresholds[index]
        lowest_db = thresholds.lowest_rain_db(segments.states)
        if lowest_db >= thresholds.lowest_rain_db(self._draws.segments[index].states):
            return self._rain[index]
        return self._simulator.rain(self._draws, index, lowest_db)

    def _fades_of(self, index: int, segments: EquipmentSegments) -> FadeEvents | None:
        """Fades of a hop for these equipment states, likewise."""
        thresholds = self._simulator.thresholds[index]
        tops = thresholds.highest_power(segments.states)
        drawn = thresholds.highest_power(self._draws.segments[index].states)
        if tops[0] <= drawn[0] and tops[1] <= drawn[1]:
            return self._draws.fades[index]
        return self._simulator.fades(self._draws, index, max(tops[0], drawn[0]), max(tops[1], drawn[1]))

    def _undisturbed(self, index: int) -> HopHistory:
        """A hop to which nothing happens."""
        capacity = self._simulator.thresholds[index].full_mbit_s
        return HopHistory(np.zeros(1), np.zeros(1, dtype=np.int32), capacity, np.zeros(1, dtype=np.int64))


def sharing_groups(prepared: Prepared) -> list[int]:
    """Group of each service: services that may share a link which can be up and yet too small for them.

    What happens to a link can change only the services of groups that cross it.
    """
    # A bundle carries less while one of its hops is down: it may always be short.
    lowest = [
        float(prepared.designs[hops[0]].steps.capacity_mbit_s[0]) if len(hops) == 1 else 0.0
        for hops in prepared.links[: len(prepared.designs)]
    ]
    crossing: dict[int, list[int]] = {}
    for s, demand in enumerate(prepared.demands):
        for link in {link for route in demand.routes for link, _ in route}:
            crossing.setdefault(link, []).append(s)
    group = list(range(len(prepared.demands)))
    for link, services in sorted(crossing.items()):
        load = sum(max(prepared.demands[s].peak_ways_mbit_s) for s in services)
        if link < len(lowest) and lowest[link] < load:
            joined = {group[s] for s in services}
            group = [min(joined) if g in joined else g for g in group]
    return group


def _same_part(one: FailureLog, other: FailureLog | None, part: int) -> bool:
    """Whether a part fares the same."""
    if other is None:
        return False
    return all(
        np.array_equal(a, b)
        for a, b in zip(one.state_changes_for([part]), other.state_changes_for([part]), strict=True)
    )
