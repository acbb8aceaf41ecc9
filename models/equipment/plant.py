"""Everything of a network that can fail and everybody who mends it, as frozen data.

Sites, parts and protection groups are named; all cross references are indices into the sequences given.
The failure simulation reads nothing else. Figures have their defaults in the network's entries, not here.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

import numpy as np

from hopyears.models.basics.arrays import Bools, Floats, Ints
from hopyears.models.basics.units import EARTH_RADIUS_KM
from hopyears.models.equipment.lifetimes import NEVER, Law
from hopyears.models.equipment.part_kind import PART_KINDS, PartKind, Place
from hopyears.models.equipment.power import PowerSupply
from hopyears.models.equipment.upkeep import CrewBase, PlannedWork, SpareStore
from hopyears.models.network.upkeep_entries import LightningRisk, RepairRules


@dataclass(frozen=True)
class PlantSite:
    """A place where parts stand.

    Parameters
    ----------
    id : str
        Name; all draws of the site hang on it.
    latitude_deg, longitude_deg : float
        Position [degrees].
    power : PowerSupply or None
        Supply of the site; None for one that never fails.
    planned : sequence of PlannedWork
        Planned work of each kind.
    access_h : float
        Added to each journey to the site (ferry, walk) [h].
    alarms : bool
        Failures that stop no traffic are seen from afar; else by a routine test or when somebody comes.
    """

    id: str
    latitude_deg: float
    longitude_deg: float
    power: PowerSupply | None = None
    planned: Sequence[PlannedWork] = ()
    access_h: float = 0.0
    alarms: bool = True


@dataclass(frozen=True)
class PlantPart:
    """One part that fails.

    Parameters
    ----------
    id : str
        Name, unique; all draws of the part hang on it.
    kind : str
        Key of ``PART_KINDS`` (or of the plant's own table).
    site : int
        Index of its site.
    life, mend : Law or None
        Own laws [h]; None takes those of the kind.
    priority : int or None
        0 for a fault that stops traffic, 1 for lost protection, 2 for the rest; None lets the
        simulation judge (a failed chain of a group that still has another has priority 1).
    plainly_seen : bool
        Serves a radio outside of its chains, so that a failure is seen although a chain was muted.
    group, spares : str, int
        Parts that stand in for each other, and how many of them may be down before traffic stops.
    fitting : tuple of str
        Kinds of spare that fit it, the most specific first; empty takes the spare of the kind, if any.
    failure_factor : float
        Failures over those of its kind: what divides its life, above 0.
    beside : str
        Parts of one name are worked on together: of a hop end, or of an indoor unit. Empty: it stands alone.
    """

    id: str
    kind: str
    site: int
    life: Law | None = None
    mend: Law | None = None
    priority: int | None = None
    plainly_seen: bool = False
    group: str = ""
    spares: int = 0
    fitting: tuple[str, ...] = ()
    failure_factor: float = 1.0
    beside: str = ""


@dataclass(frozen=True)
class ProtectionGroup:
    """One end of a channel with a main and standby radio chains, of which one transmits at a time.

    Parameters
    ----------
    id : str
        Name, unique; its switching draws hang on it.
    chains : tuple of tuples of int
        Part indices of each chain (radio, cable, modem card ...), the main one first.
    stopped_by : tuple of tuples of int
        For each chain, parts outside of it whose mending stops it; empty for none.
    switch_time_s : float
        Changeover of the transmitter [s].
    switch_failure : float
        Chance, 0 to 1, that a changeover fails on demand.
    manual_switch : Law
        Time to switch by hand after such a failure [h].
    revertive : bool
        Go back to the main chain once it is mended.
    wait_to_restore_s : float
        Wait before reverting [s].
    test : Law or None
        Routine test of the muted chains: a fixed law is a timetable with a random phase, another law is
        the time from a latent failure to its discovery [h]; None for no test.
    cold : bool
        A standby is switched off and does not age (exact for exponential lives).
    """

    id: str
    chains: tuple[tuple[int, ...], ...]
    stopped_by: tuple[tuple[int, ...], ...]
    switch_time_s: float
    switch_failure: float
    manual_switch: Law
    revertive: bool
    wait_to_restore_s: float
    test: Law | None
    cold: bool = False


@dataclass(frozen=True)
class ChannelSwitch:
    """The receiving end of a hop whose channels protect each other.

    Parameters
    ----------
    id : str
        Name, unique among groups and switches; its draws hang on it.
    channels : tuple of tuples of int
        Part indices of each channel, at both ends of the hop: it is down while one of them is.
    working : int
        Streams, each on a channel of its own at first.
    switch_failure : float
        Chance, 0 to 1, that a change to another channel fails on demand.
    manual_switch : Law
        Time to switch by hand after such a failure [h].
    """

    id: str
    channels: tuple[tuple[int, ...], ...]
    working: int
    switch_failure: float
    manual_switch: Law


@dataclass(frozen=True)
class Plant:
    """All that the failure simulation needs to know.

    Parameters
    ----------
    sites, parts, groups : sequences
        As described by their classes; parts refer to sites, groups to parts, by index.
    crews, depots : sequences
        At least one crew base if any part needs a visit; no depot means that spares never lack.
    kinds : mapping
        Table of part kinds.
    repair : RepairRules
        The network's entry: how faults are attended.
    lightning : LightningRisk or None
        The network's entry: a common cause in storms. None: no lightning.
    switches : sequence of ChannelSwitch
        Of hops whose channels protect each other.
    """

    sites: Sequence[PlantSite]
    parts: Sequence[PlantPart]
    groups: Sequence[ProtectionGroup] = ()
    crews: Sequence[CrewBase] = ()
    depots: Sequence[SpareStore] = ()
    kinds: Mapping[str, PartKind] = field(default_factory=lambda: PART_KINDS)
    repair: RepairRules = field(default_factory=RepairRules)
    lightning: LightningRisk | None = None
    switches: Sequence[ChannelSwitch] = ()

    def __post_init__(self) -> None:
        for part in self.parts:
            if part.kind not in self.kinds:
                raise ValueError(
                    f'part "{part.id}": kind is "{part.kind}"; must be one of {", ".join(self.kinds)}'
                )
            if not 0 <= part.site < len(self.sites):
                raise ValueError(f'part "{part.id}": site is {part.site}; must be 0 to {len(self.sites) - 1}')
        for group in self.groups:
            for chain in group.chains:
                for index in chain:
                    if not 0 <= index < len(self.parts):
                        raise ValueError(
                            f'group "{group.id}": chains has {index}; must be 0 to {len(self.parts) - 1}'
                        )
        for things, name in ((self.sites, "site"), (self.parts, "part"), (self.groups, "group")):
            ids = [thing.id for thing in things]
            if len(set(ids)) != len(ids):
                raise ValueError(f"{name} ids are not all different; must be unique")

    @cached_property
    def part_names(self) -> tuple[tuple[str, str], ...]:
        """Names of the parts' random draws; made once, for histories by the hundred."""
        return tuple(("part", part.id) for part in self.parts)

    @cached_property
    def kind_names(self) -> tuple[str, ...]:
        """Keys of the kinds, in the order of ``part_kind``."""
        return tuple(self.kinds)

    @cached_property
    def part_kind(self) -> Ints:
        """Kind of each part, as an index into ``kind_names``."""
        index = {key: i for i, key in enumerate(self.kinds)}
        return np.array([index[part.kind] for part in self.parts], dtype=np.int64)

    @cached_property
    def part_site(self) -> Ints:
        """Site index of each part."""
        return np.array([part.site for part in self.parts], dtype=np.int64)

    @cached_property
    def part_cause(self) -> Ints:
        """Cause flag of each part."""
        return np.array([int(self.kinds[part.kind].cause) for part in self.parts], dtype=np.int64)

    @cached_property
    def supply_parts(self) -> Bools:
        """Whether each part belongs to the supply of its site, which the battery bridges for it."""
        return np.array([self.kinds[part.kind].place is Place.SUPPLY for part in self.parts], dtype=np.bool_)

    @cached_property
    def outdoor_parts(self) -> Ints:
        """Indices of the parts that lightning can hit."""
        return np.array(
            [i for i, part in enumerate(self.parts) if self.kinds[part.kind].outdoor], dtype=np.int64
        )

    @cached_property
    def lives(self) -> tuple[Ints, Floats, Floats]:
        """Kind, mean [h] and spread of each part's life."""
        laws = [part.life or self.kinds[part.kind].life for part in self.parts]
        factor = np.array([part.failure_factor for part in self.parts], dtype=np.float64)
        return (
            np.array([law.kind for law in laws], dtype=np.int64),
            np.array([law.mean_h for law in laws], dtype=np.float64) / factor,
            np.array([law.spread for law in laws], dtype=np.float64),
        )

    @cached_property
    def never_fails(self) -> Bools:
        """Parts that never wear out, as in a study of what that would save, shape (n_parts,)."""
        laws = (part.life or self.kinds[part.kind].life for part in self.parts)
        return np.array([law == NEVER for law in laws], dtype=np.bool_)

    @cached_property
    def chains_of(self) -> dict[int, list[tuple[int, int]]]:
        """(group, chain) of each part whose failure makes transmitters change over."""
        return _by_part([group.chains for group in self.groups])

    @cached_property
    def stops(self) -> dict[int, list[tuple[int, int]]]:
        """(group, chain) of each part whose mending stops a transmitter."""
        return _by_part([group.stopped_by for group in self.groups])

    @cached_property
    def beside(self) -> dict[str, tuple[int, ...]]:
        """Parts that are worked on together, by their common name."""
        found: dict[str, tuple[int, ...]] = {}
        for number, part in enumerate(self.parts):
            if part.beside:
                found[part.beside] = (*found.get(part.beside, ()), number)
        return found

    @cached_property
    def mistake(self) -> Law:
        """Until a crew has set its own mistake right [h]."""
        return Law.lognormal(self.repair.error_h, self.repair.duration_ln_sd)

    @cached_property
    def dispatch(self) -> Law:
        """From alarm to calling a crew or a remote repairer [h]."""
        return Law.lognormal(self.repair.dispatch_h, self.repair.duration_ln_sd)

    @cached_property
    def crew_base(self) -> Ints:
        """Base of each crew, all crews counted through; shape (n_crews,)."""
        return np.repeat(np.arange(len(self.crews)), [base.number for base in self.crews]).astype(np.int64)

    @cached_property
    def depots_near(self) -> tuple[tuple[int, ...], ...]:
        """Depots as seen from each site, the nearest first."""
        depots = range(len(self.depots))
        return tuple(
            tuple(sorted(depots, key=lambda i: great_circle_km(self.depots[i], site))) for site in self.sites
        )

    @cached_property
    def _known_bases(self) -> dict[tuple[int, int | None], list[tuple[float, int]]]:
        return {}

    def fetch_h(self, base: int, depot: int) -> float:
        """Time from a crew's base to a depot [h]."""
        crews = self.crews[base]
        return great_circle_km(crews, self.depots[depot]) * self.repair.road_factor / crews.speed_km_h

    def bases_near(self, site: int, depot: int | None) -> list[tuple[float, int]]:
        """How long crews of each base travel to a site [h], and its number, the nearest first; by way of a
        depot if a spare is fetched there. Worked out once, for histories by the hundred."""
        known = self._known_bases.get((site, depot))
        if known is None:
            every = ((self._travel_h(base, site, depot), base) for base in range(len(self.crews)))
            known = self._known_bases[site, depot] = sorted(every)
        return known

    def _travel_h(self, base: int, site: int, depot: int | None) -> float:
        crews, place = self.crews[base], self.sites[site]
        if depot is None:
            distance_km = great_circle_km(crews, place)
        else:
            store = self.depots[depot]
            distance_km = great_circle_km(crews, store) + great_circle_km(store, place)
        return distance_km * self.repair.road_factor / crews.speed_km_h + place.access_h


def _by_part(chains: Sequence[Sequence[tuple[int, ...]]]) -> dict[int, list[tuple[int, int]]]:
    found: dict[int, list[tuple[int, int]]] = {}
    for group, each in enumerate(chains):
        for chain, parts in enumerate(each):
            for part in parts:
                found.setdefault(part, []).append((group, chain))
    return found


class _Placed(Protocol):
    """What has a position on the earth [degrees]."""

    @property
    def latitude_deg(self) -> float: ...
    @property
    def longitude_deg(self) -> float: ...


def great_circle_km(one: _Placed, other: _Placed) -> float:
    """Great-circle distance between two places [km], sphere of 6371 km (haversine formula)."""
    first, second = math.radians(one.latitude_deg), math.radians(other.latitude_deg)
    half_lat = 0.5 * (second - first)
    half_lon = 0.5 * math.radians(other.longitude_deg - one.longitude_deg)
    haversine = math.sin(half_lat) ** 2 + math.cos(first) * math.cos(second) * math.sin(half_lon) ** 2
    return 2.0 * EARTH_RADIUS_KM * math.asin(min(math.sqrt(haversine), 1.0))
