"""Everything of a network that can fail and everybody who mends it, as frozen data.

Sites, parts and protection groups are named; all cross references are indices into the sequences given.
The failure simulation reads nothing else.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import (
    DISPATCH,
    MANUAL_SWITCH,
    PART_KINDS,
    STANDBY_TEST,
    SWITCH_FAILURE,
    SWITCH_TIME_S,
    PartKind,
)
from hopyears.models.equipment.power import PowerSupply
from hopyears.models.equipment.upkeep import Crews as Crews
from hopyears.models.equipment.upkeep import Depot as Depot
from hopyears.models.equipment.upkeep import Maintenance as Maintenance

EARTH_RADIUS_KM = 6371.0


@dataclass(frozen=True)
class Site:
    """A place where parts stand.

    Parameters
    ----------
    id : str
        Name; all draws of the site hang on it.
    latitude_deg, longitude_deg : float
        Position [degrees].
    power : PowerSupply or None
        Supply of the site; None for one that never fails.
    maintenance : Maintenance, sequence of Maintenance, or None
        Planned windows of one kind or of several.
    road_detour_h : float
        Travel time to be added for this site (ferry, walk) [h].
    """

    id: str
    latitude_deg: float
    longitude_deg: float
    power: PowerSupply | None = None
    maintenance: Maintenance | Sequence[Maintenance] | None = None
    road_detour_h: float = 0.0

    @property
    def windows(self) -> Sequence[Maintenance]:
        """All kinds of planned window of the site."""
        if self.maintenance is None:
            return ()
        return (self.maintenance,) if isinstance(self.maintenance, Maintenance) else self.maintenance


@dataclass(frozen=True)
class Part:
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
    spares : tuple of str
        What fits it in a depot, the most specific first; empty takes the spare of the kind, if any.
    """

    id: str
    kind: str
    site: int
    life: Law | None = None
    mend: Law | None = None
    priority: int | None = None
    spares: tuple[str, ...] = ()


@dataclass(frozen=True)
class ProtectionGroup:
    """One end of a channel with a main and standby radio chains, of which one transmits at a time.

    Parameters
    ----------
    id : str
        Name, unique; its switching draws hang on it.
    chains : tuple of tuples of int
        Part indices of each chain (radio, cable, modem card ...), the main one first.
    switch_time_s : float
        Changeover of the transmitter [s].
    switch_failure : float
        Chance, 0 to 1, that a changeover fails on demand.
    manual_switch : Law
        Time to switch by hand after such a failure [h].
    revertive : bool
        Go back to the main chain once it is mended.
    restore_wait_h : float
        Wait before reverting [h].
    test : Law or None
        Routine test of the muted chains: a fixed law is a timetable with a random phase, another law is
        the time from a latent failure to its discovery [h]; None for no test.
    cold : bool
        A standby is switched off and does not age (exact for exponential lives).
    """

    id: str
    chains: tuple[tuple[int, ...], ...]
    switch_time_s: float = SWITCH_TIME_S
    switch_failure: float = SWITCH_FAILURE
    manual_switch: Law = MANUAL_SWITCH
    revertive: bool = False
    restore_wait_h: float = 0.1
    test: Law | None = STANDBY_TEST
    cold: bool = False


@dataclass(frozen=True)
class Lightning:
    """Common cause: strikes that hit a site during a storm and damage what stands outdoors.

    ``strikes_per_storm_h`` damaging strikes per hour of storm over the site (with some 250 h of storms a
    year, one in 27 years); each exposed part of the mast fails with ``damage_chance``. Common practice, no
    source.
    """

    strikes_per_storm_h: float = 0.00015
    damage_chance: float = 0.2


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
    dispatch : Law
        From alarm to calling a crew or a remote repairer [h].
    road_factor : float
        Road distance over great-circle distance, at least 1 (1.3: common practice, no source).
    daylight_climbs : bool
        Climbs start in daylight only.
    return_travel : bool
        A crew is busy until it is back at its base.
    lightning : Lightning or None
        Common cause in storms.
    """

    sites: Sequence[Site]
    parts: Sequence[Part]
    groups: Sequence[ProtectionGroup] = ()
    crews: Sequence[Crews] = ()
    depots: Sequence[Depot] = ()
    kinds: Mapping[str, PartKind] = field(default_factory=lambda: PART_KINDS)
    dispatch: Law = DISPATCH
    road_factor: float = 1.3
    daylight_climbs: bool = False
    return_travel: bool = True
    lightning: Lightning | None = None

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
    def kind_names(self) -> tuple[str, ...]:
        """Keys of the kinds, in the order of ``part_kind``."""
        return tuple(self.kinds)

    @cached_property
    def part_kind(self) -> NDArray[np.int64]:
        """Kind of each part, as an index into ``kind_names``."""
        index = {key: i for i, key in enumerate(self.kinds)}
        return np.array([index[part.kind] for part in self.parts], dtype=np.int64)

    @cached_property
    def part_site(self) -> NDArray[np.int64]:
        """Site index of each part."""
        return np.array([part.site for part in self.parts], dtype=np.int64)

    @cached_property
    def part_cause(self) -> NDArray[np.int64]:
        """Cause flag of each part."""
        return np.array([int(self.kinds[part.kind].cause) for part in self.parts], dtype=np.int64)

    @cached_property
    def outdoor_parts(self) -> NDArray[np.int64]:
        """Indices of the parts that lightning can hit."""
        return np.array(
            [i for i, part in enumerate(self.parts) if self.kinds[part.kind].outdoor], dtype=np.int64
        )

    @cached_property
    def lives(self) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
        """Kind, mean [h] and spread of each part's life."""
        laws = [part.life or self.kinds[part.kind].life for part in self.parts]
        return (
            np.array([law.kind for law in laws], dtype=np.int64),
            np.array([law.mean_h for law in laws], dtype=np.float64),
            np.array([law.spread for law in laws], dtype=np.float64),
        )

    @cached_property
    def crew_base(self) -> NDArray[np.int64]:
        """Base of each crew, all crews counted through; shape (n_crews,)."""
        return np.repeat(np.arange(len(self.crews)), [base.number for base in self.crews]).astype(np.int64)

    def fetch_h(self, base: int, depot: int) -> float:
        """Time from a crew's base to a depot [h]."""
        crews = self.crews[base]
        return great_circle_km(crews, self.depots[depot]) * self.road_factor / crews.speed_km_h

    def travel_h(self, base: int, site: int, depot: int | None) -> float:
        """Time from a crew's base, by way of a depot if a spare is fetched there, to a site [h]."""
        crews, place = self.crews[base], self.sites[site]
        if depot is None:
            distance_km = great_circle_km(crews, place)
        else:
            store = self.depots[depot]
            distance_km = great_circle_km(crews, store) + great_circle_km(store, place)
        return distance_km * self.road_factor / crews.speed_km_h + place.road_detour_h


def great_circle_km(one: Site | Crews | Depot, other: Site | Crews | Depot) -> float:
    """Great-circle distance between two places [km], sphere of 6371 km (haversine formula)."""
    first, second = math.radians(one.latitude_deg), math.radians(other.latitude_deg)
    half_lat = 0.5 * (second - first)
    half_lon = 0.5 * math.radians(other.longitude_deg - one.longitude_deg)
    haversine = math.sin(half_lat) ** 2 + math.cos(first) * math.cos(second) * math.sin(half_lon) ** 2
    return 2.0 * EARTH_RADIUS_KM * math.asin(min(math.sqrt(haversine), 1.0))
