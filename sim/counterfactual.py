"""A block judged again as if one thing had never gone wrong, on the same draws.

What chance decides (storms, nights, each part's life, each repair) belongs to named things and stays the
same. A part that never fails also calls no crew and takes no spare, so that others may be mended sooner;
switches follow what is left. Storms shake the mains and hold climbers whatever becomes of rain on the hops.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from models.lifetimes import Law
from models.plant import Plant, Site
from sim.block import BlockDraws, BlockSimulator, hop_history
from sim.fades import FadeEvents
from sim.hop import EquipmentSegments, hop_capacity_mbit_s, hop_timeline
from sim.prepared import Prepared
from sim.rain_kernel import RainKnots
from sim.service_data import HopHistory, ServiceHistory

HOP, SITE, PART, CAUSE = "hop", "site", "part kind", "cause"
"""Kinds of targets."""

RAIN, MULTIPATH, POWER, MAINTENANCE, LIGHTNING = "rain", "multipath", "power", "maintenance", "lightning"
"""Names of the targets of kind ``CAUSE``."""

NEVER = Law.exponential(1e30)
"""Life of what does not fail."""


@dataclass(frozen=True)
class Target:
    """One thing that might never have gone wrong: its kind (``HOP`` ...) and its name."""

    kind: str
    name: str


def targets_of(prepared: Prepared) -> tuple[Target, ...]:
    """Everything that can go wrong in a network with these model options."""
    targets = [Target(HOP, design.hop.id) for design in prepared.designs]
    options, plant = prepared.options, prepared.built.plant
    if options.failures:
        present = {part.kind for part in plant.parts}
        targets += [Target(SITE, site.id) for site in plant.sites]
        targets += [Target(PART, kind) for kind in plant.kind_names if kind in present]
        if any(site.power is not None for site in plant.sites):
            targets.append(Target(CAUSE, POWER))
        if any(site.windows for site in plant.sites):
            targets.append(Target(CAUSE, MAINTENANCE))
        if plant.lightning is not None and options.rain:
            targets.append(Target(CAUSE, LIGHTNING))
    if options.rain:
        targets.append(Target(CAUSE, RAIN))
    if any(nights is not None for nights in prepared.nights):
        targets.append(Target(CAUSE, MULTIPATH))
    return tuple(targets)


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
        case "site", name:
            own = {part for hop in prepared.built.hops for part in hop.own}
            parts = tuple(
                replace(part, life=NEVER) if i not in own and plant.sites[part.site].id == name else part
                for i, part in enumerate(plant.parts)
            )
            sites = tuple(_steady(replace(s, maintenance=None)) if s.id == name else s for s in plant.sites)
            return replace(plant, parts=parts, sites=sites)
        case "cause", "power":
            spared = replace(plant.kinds["rectifier"], life=NEVER)
            kinds = {**plant.kinds, "rectifier": spared}
            return replace(plant, kinds=kinds, sites=tuple(_steady(site) for site in plant.sites))
        case "cause", "maintenance":
            return replace(plant, sites=tuple(replace(site, maintenance=None) for site in plant.sites))
        case "cause", "lightning":
            return replace(plant, lightning=None)
    raise ValueError(f"target is {target.kind} {target.name}; must be one of the plant's")


def _steady(site: Site) -> Site:
    """A site whose supply never fails."""
    return replace(site, power=None)


class BlockCase:
    """One block, drawn once, to be judged as it was and without any of its targets.

    Parameters
    ----------
    simulator : BlockSimulator
    draws : BlockDraws
    """

    def __init__(self, simulator: BlockSimulator, draws: BlockDraws) -> None:
        self._simulator, self._draws = simulator, draws
        self._prepared = simulator.prepared
        self._index = {design.hop.id: i for i, design in enumerate(self._prepared.designs)}
        self._rain = [simulator.rain(draws, i) for i in range(len(self._prepared.designs))]

    @cached_property
    def hops(self) -> list[HopHistory]:
        """Histories of the hops as they were."""
        return [self._hop(i, segments) for i, segments in enumerate(self._draws.segments)]

    @cached_property
    def services(self) -> tuple[ServiceHistory, ...]:
        """Histories of the services as they were."""
        return self._simulator.services(self.hops, self._draws)

    def services_without(self, target: Target) -> tuple[ServiceHistory, ...]:
        """Histories of the services had the target never gone wrong."""
        match target.kind, target.name:
            case "hop", name:
                if not any((self._index[name], d) in r for r in self._routes for d in (0, 1)):
                    return self.services
                hops = list(self.hops)
                hops[self._index[name]] = self._undisturbed(self._index[name])
                return self._simulator.services(hops, self._draws)
            case "cause", "rain" | "multipath":
                keep_rain, keep_fades = target.name != RAIN, target.name != MULTIPATH
                hops = [
                    self._hop(i, segments, keep_rain=keep_rain, keep_fades=keep_fades)
                    for i, segments in enumerate(self._draws.segments)
                ]
                return self._simulator.services(hops, self._draws)
        return self._with_plant(plant_without(self._prepared, target))

    @cached_property
    def _routes(self) -> list[tuple[tuple[int, int], ...]]:
        return [route for demand in self._prepared.demands for route in demand.routes]

    def _with_plant(self, plant: Plant) -> tuple[ServiceHistory, ...]:
        """The same block with other failures; only hops whose equipment fares differently are done again."""
        draws, simulator = self._draws, self._simulator
        log = simulator.failures(plant, draws.streams, draws.duration_s, draws.storms_near)
        hops = list(self.hops)
        for i, before in enumerate(draws.segments):
            segments = simulator.segments(i, log)
            if not _same(segments, before):
                hops[i] = self._hop(i, segments)
        return simulator.services(hops, replace(draws, log=log))

    def _hop(
        self, index: int, segments: EquipmentSegments, *, keep_rain: bool = True, keep_fades: bool = True
    ) -> HopHistory:
        return hop_history(
            hop_timeline(
                self._simulator.thresholds[index],
                segments,
                self._rain_of(index, segments) if keep_rain else None,
                self._fades_of(index, segments) if keep_fades else None,
                self._draws.duration_s,
            )
        )

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
        ceiling = self._simulator.thresholds[index].nominal.ceiling
        forward, backward = hop_capacity_mbit_s(self._prepared.designs[index], ceiling[None, :])[0]
        return HopHistory(
            np.zeros(1),
            np.zeros(1, dtype=np.int32),
            np.array([forward]),
            np.array([backward]),
            np.zeros(1, dtype=np.int64),
        )


def _same(one: EquipmentSegments, other: EquipmentSegments) -> bool:
    """Whether equipment fares the same; states of one hop are made once, so equal ones are identical."""

    def states(segments: EquipmentSegments) -> list[int]:
        return [id(segments.states[row]) for row in segments.state]

    if not np.array_equal(one.start_s, other.start_s):
        return False
    return states(one) == states(other)
