"""The network as its user describes it: sites, hops, radios, antennas, services, crews, climate.

Each input field is defined once, here and in the two modules of entries named below: type, unit, range,
default and meaning. The file reader, the published JSON Schema and the listing of defaults all follow from
these classes. Everything is frozen.
"""

from collections.abc import Mapping
from functools import cached_property
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from hopyears.models.basics.faults import FieldError
from hopyears.models.network.climate_entry import ClimateChange
from hopyears.models.network.contract_entry import Contract
from hopyears.models.network.entry import Entry, Finite, Identifier, Name
from hopyears.models.network.hardware_entries import (
    Antenna,
    IndoorUnit,
    LineKind,
    Losses,
    Modulation,
    PartChange,
    Radio,
    Switching,
)
from hopyears.models.network.money_entries import PenaltyTier, Prices
from hopyears.models.network.traffic_entries import DemandProfile, Ring, Sharing
from hopyears.models.network.upkeep_entries import Crew, Depot, LightningRisk, Maintenance, Power, RepairRules
from hopyears.models.radio.scheme import Scheme, parse_scheme

__all__ = [
    "MAXIMUM_PATH_LENGTH_KM",
    "MINIMUM_PATH_LENGTH_KM",
    "Antenna",
    "ClimateChange",
    "Contract",
    "Crew",
    "DemandProfile",
    "Depot",
    "Entry",
    "Hop",
    "IndoorUnit",
    "LightningRisk",
    "Losses",
    "Maintenance",
    "Modulation",
    "Network",
    "PartChange",
    "PenaltyTier",
    "Power",
    "Prices",
    "Radio",
    "RepairRules",
    "Ring",
    "Service",
    "Sharing",
    "Site",
    "Switching",
]

MAXIMUM_PATH_LENGTH_KM = 200.0
MINIMUM_PATH_LENGTH_KM = 0.02


class Site(Entry):
    """A place with a mast: radios in every direction share its power, its mast and its indoor unit."""

    id: Identifier
    name: Name = None
    latitude_deg: Annotated[Finite, Field(ge=-80, le=80, description="WGS 84")]
    longitude_deg: Annotated[Finite, Field(ge=-180, le=180, description="WGS 84")]
    ground_height_m: Annotated[Finite, Field(ge=-450, le=6000, description="above sea level")] = 0.0
    antenna_height_m: Annotated[
        Finite, Field(ge=1, le=500, description="above ground, for hops that do not state their own")
    ] = 30.0
    power: Annotated[Identifier, Field(description="id of a [[power]] entry, or 'standard'")] = "standard"
    access_h: Annotated[
        Finite, Field(ge=0, le=240, description="added to each journey there: ferry, walk, key")
    ] = 0.0
    failure_factor: Annotated[
        Finite,
        Field(gt=0, le=100, description="failures of the parts there, over those of parts of their kind"),
    ] = 1.0
    indoor_unit: Annotated[
        Identifier, Field(description="id of an [[indoor_units]] entry, or 'standard'")
    ] = "standard"
    indoor_units: Annotated[
        int, Field(ge=0, le=8, description="how many; 0 takes as many as the directions need")
    ] = 0


class Hop(Entry):
    """A radio link between two sites."""

    id: Identifier
    name: Name = None
    site_a: Annotated[Identifier, Field(alias="from", description="site id")]
    site_b: Annotated[Identifier, Field(alias="to", description="site id")]
    frequency_ghz: Annotated[Finite, Field(ge=1, le=100, description="of the first channel")]
    channel_width_mhz: Annotated[
        Finite, Field(gt=0, le=4000, description="channel spacing of the frequency plan")
    ] = 28.0
    polarisation: Annotated[Literal["H", "V"], Field(description="of the first channel")] = "V"
    radio: Annotated[Identifier, Field(description="radio id")]
    antenna: Annotated[Identifier, Field(description="antenna id at both ends")]
    antenna_b: Annotated[
        Identifier | None, Field(description="antenna id at the 'to' end; default as at the 'from' end")
    ] = None
    scheme: Annotated[
        str, Field(max_length=40, description="protection, for instance 1+0, 1+1 HSB, 2+0 XPIC")
    ] = "1+0"
    antenna_height_a_m: Annotated[
        Finite | None, Field(ge=1, le=500, description="above ground; default the site's")
    ] = None
    antenna_height_b_m: Annotated[
        Finite | None, Field(ge=1, le=500, description="above ground; default the site's")
    ] = None
    antenna_separation_m: Annotated[
        Finite, Field(gt=0, le=60, description="vertical, between the two antennas of space diversity")
    ] = 8.0
    frequency_separation_mhz: Annotated[
        Finite | None,
        Field(gt=0, le=5000, description="between neighbouring channels; default two channel widths"),
    ] = None
    duplex_spacing_mhz: Annotated[
        Finite | None, Field(gt=0, le=12000, description="go to return; default 3 % of the frequency")
    ] = None
    reference_states: Annotated[
        int | None, Field(ge=2, le=16384, description="modulation when not adaptive; default the lowest")
    ] = None
    transmit_power_dbm: Annotated[Finite | None, Field(ge=-30, le=50, description="default the radio's")] = (
        None
    )
    fixed_loss_a_db: Annotated[
        Finite, Field(ge=0, le=60, description="at the 'from' end beside couplers: feeder, attenuator")
    ] = 0.0
    fixed_loss_b_db: Annotated[
        Finite, Field(ge=0, le=60, description="at the 'to' end beside couplers: feeder, attenuator")
    ] = 0.0
    fixed_loss_path_db: Annotated[
        Finite, Field(ge=0, le=60, description="of the path beside free space and gases: obstruction")
    ] = 0.0
    threshold_degradation_db: Annotated[
        Finite, Field(ge=0, le=40, description="rise of all receiver thresholds by interference from outside")
    ] = 0.0
    sub_band: Annotated[
        Identifier | None,
        Field(description="radios of one type and sub-band share spares; default all of the type"),
    ] = None
    terrain: Annotated[
        Literal["flat", "hilly", "mountain"], Field(description="for the gathering of fades in nights")
    ] = "flat"
    geoclimatic_factor: Annotated[
        Finite | None, Field(gt=0, le=0.2, description="K of P.530; default from the maps, 0.2 at most")
    ] = None
    refractivity_75: Annotated[
        Finite | None,
        Field(
            gt=0,
            le=1000,
            description="dN75 of P.530-18, N-units, for multipath_edition 18; default none",
        ),
    ] = None
    mean_terrain_m: Annotated[
        Finite | None,
        Field(
            ge=-450,
            le=6000,
            description="mean height along the path above sea level, for multipath_edition 18; default the "
            "mean of both sites' grounds",
        ),
    ] = None
    bundle: Annotated[
        Identifier | None,
        Field(
            description="hops of one bundle, between the same sites, share their load as one; default none"
        ),
    ] = None
    rain_exceedance_db: Annotated[
        dict[str, Finite] | None,
        Field(
            description="measured rain attenuation by per cent of the year, for instance {'0.01' = 32.0}; "
            "default the law of P.530"
        ),
    ] = None
    multipath_exceedance_db: Annotated[
        dict[str, Finite] | None,
        Field(
            description="multipath fades measured, by per cent of the worst month, as {'0.01' = 28.0}; "
            "default the law of P.530"
        ),
    ] = None

    @property
    def protection(self) -> Scheme:
        """The scheme as data."""
        return parse_scheme(self.scheme)

    @model_validator(mode="after")
    def _scheme_reads(self) -> "Hop":
        try:
            parse_scheme(self.scheme)
        except ValueError as error:
            _, _, allowed = str(error).rpartition("; must be ")
            raise FieldError("scheme", f'"{self.scheme}"', allowed) from None
        return self


SHARE_TO_BE_UP: Mapping[str, float] = MappingProxyType({"packet": 0.5, "circuit": 1.0, "optical": 1.0})
"""Share of its committed rate below which a service of each kind is down unless it states another."""


class Service(Entry):
    """An end-to-end demand."""

    id: Identifier
    name: Name = None
    site_a: Annotated[Identifier, Field(alias="from", description="site id")]
    site_b: Annotated[Identifier, Field(alias="to", description="site id")]
    committed_mbit_s: Annotated[
        Finite,
        Field(
            gt=0,
            le=1_000_000,
            description="rate that must be delivered, in each direction unless backward is stated",
        ),
    ]
    peak_mbit_s: Annotated[
        Finite | None, Field(gt=0, le=1_000_000, description="at least committed; default committed")
    ] = None
    committed_backward_mbit_s: Annotated[
        Finite | None,
        Field(gt=0, le=1_000_000, description="the same from 'to' to 'from'; default as forward"),
    ] = None
    peak_backward_mbit_s: Annotated[
        Finite | None,
        Field(
            gt=0,
            le=1_000_000,
            description="at least committed backward; default that where it is stated, else as forward",
        ),
    ] = None
    demand_profile: Annotated[
        Identifier | None,
        Field(
            description="id of a [[demand_profiles]] entry: share of both rates that is asked for by the "
            "hour; default all of them at all times"
        ),
    ] = None
    kind: Annotated[
        LineKind,
        Field(description="of its local ports"),
    ] = "packet"
    priority: Annotated[int, Field(ge=1, le=8, description="1 is served first")] = 4
    sharing_weight: Annotated[
        Finite | None,
        Field(
            ge=0.001,
            le=1_000_000,
            description="of what it gets of a link that is too small for those of its priority; default by "
            "[sharing]",
        ),
    ] = None
    required_share: Annotated[
        Finite | None,
        Field(
            gt=0,
            le=1,
            description="of the committed rate; the service is down below it, and below committed above it; "
            "default 0.5 for packet (Y.1563), else 1 (G.826); 1 where a contract counts all below committed",
        ),
    ] = None
    grade: Annotated[
        Literal["access", "short haul", "long haul"],
        Field(description="portion of the national path, for the objectives of F.1703 and F.1668"),
    ] = "short haul"
    availability_objective: Annotated[
        Finite | None, Field(gt=0, lt=1, description="share of time, as 0.9999; default by F.1703")
    ] = None
    severely_errored_ratio_objective: Annotated[
        Finite | None, Field(gt=0, lt=1, description="share of available time; default by F.1668")
    ] = None
    outages_per_year_objective: Annotated[
        Finite | None, Field(gt=0, le=100_000, description="outage intensity of G.827; default none")
    ] = None
    protection: Annotated[
        Literal["none", "protected", "rerouted", "ring"],
        Field(
            description="one route; a working and a protecting route; any free route; all ways round the "
            "[[rings]] entries on its way, which then say how it switches"
        ),
    ] = "none"
    route: Annotated[
        tuple[Identifier, ...],
        Field(max_length=1000, description="hop ids in order; default the route of fewest hops"),
    ] = ()
    protecting_route: Annotated[
        tuple[Identifier, ...],
        Field(max_length=1000, description="hop ids in order; default the shortest disjoint route"),
    ] = ()
    switching_time_s: Annotated[
        Finite | None,
        Field(
            ge=0,
            le=600,
            description="without traffic when a failed route is left; default 0.05 when protected, "
            "5 when rerouted",
        ),
    ] = None
    commanded_switching_time_s: Annotated[
        Finite | None,
        Field(
            ge=0,
            le=600,
            description="without traffic at a change by command: ahead of planned work, and back to a better "
            "route; default 0.05 when protected, 0 when rerouted (the new route is ready first)",
        ),
    ] = None
    switch_trigger: Annotated[
        Literal["signal fail", "signal degrade", "congestion"],
        Field(
            description="a route is left when a link of it is dead; or carries less than the service needs; "
            "or, beside the others there, leaves it less than its committed rate while another has room"
        ),
    ] = "signal fail"
    preempts: Annotated[
        bool,
        Field(
            description="with trigger congestion: takes room that services of lower priority hold, where no "
            "route has room beside them, and goes back to its first route likewise"
        ),
    ] = True
    reverts: Annotated[bool, Field(description="a better route is taken again once it is back")] = True
    hold_off_s: Annotated[
        Finite, Field(ge=0, le=60, description="a route must have failed so long before it is left")
    ] = 0.0
    wait_to_restore_s: Annotated[
        Finite,
        Field(ge=0, le=100_000, description="a better route must be back so long before it is taken again"),
    ] = 300.0
    weight: Annotated[
        Finite, Field(ge=0, le=1e6, description="of its minutes in the sum over services that plans are for")
    ] = 1.0
    penalties: Annotated[
        tuple[PenaltyTier, ...],
        Field(max_length=24, description="owed for months or years below an availability; default none"),
    ] = ()
    penalty_cap_per_year: Annotated[
        Finite | None, Field(ge=0, le=1e12, description="most that is owed in a year; default no limit")
    ] = None
    undelivered_value_per_gbit: Annotated[
        Finite | None,
        Field(
            ge=0,
            le=1e12,
            description="value of a gigabit asked for and not delivered, both directions; default none",
        ),
    ] = None

    @property
    def share_to_be_up(self) -> float:
        """Share of the committed rate below which the service is down, by its kind unless stated.

        A second of a packet service is severely errored when more than half of its frames are lost (ITU-T
        Y.1563, from memory); of a circuit, which comes whole or not at all, when it falls short (G.826).
        """
        return SHARE_TO_BE_UP[self.kind] if self.required_share is None else self.required_share

    @property
    def full_rate_mbit_s(self) -> float:
        """Peak rate, or the committed rate where no peak is stated [Mbit/s]."""
        return self.committed_mbit_s if self.peak_mbit_s is None else self.peak_mbit_s

    @property
    def committed_ways_mbit_s(self) -> tuple[float, float]:
        """Committed rate forward and backward [Mbit/s]."""
        backward = self.committed_backward_mbit_s
        return self.committed_mbit_s, self.committed_mbit_s if backward is None else backward

    @property
    def full_ways_mbit_s(self) -> tuple[float, float]:
        """Peak rate forward and backward, or the committed rate where no peak is stated [Mbit/s]."""
        backward = self.peak_backward_mbit_s or self.committed_backward_mbit_s or self.full_rate_mbit_s
        return self.full_rate_mbit_s, backward

    @model_validator(mode="after")
    def _peak_is_peak(self) -> "Service":
        if self.peak_mbit_s is not None and self.peak_mbit_s < self.committed_mbit_s:
            raise FieldError(
                "peak_mbit_s",
                f"{self.peak_mbit_s:g}",
                f"at least committed_mbit_s, {self.committed_mbit_s:g}",
            )
        if self.full_ways_mbit_s[1] < self.committed_ways_mbit_s[1]:
            field, least = "committed_backward_mbit_s", self.committed_backward_mbit_s
            if least is None:
                field, least = "committed_mbit_s", self.committed_mbit_s
            raise FieldError(
                "peak_backward_mbit_s", f"{self.full_ways_mbit_s[1]:g}", f"at least {field}, {least:g}"
            )
        return self


class Network(Entry):
    """A whole network file."""

    title: Annotated[str, Field(max_length=200)] = "untitled network"
    sites: Annotated[tuple[Site, ...], Field(min_length=2, max_length=20_000)]
    hops: Annotated[tuple[Hop, ...], Field(min_length=1, max_length=20_000)]
    radios: Annotated[tuple[Radio, ...], Field(min_length=1, max_length=2000)]
    antennas: Annotated[tuple[Antenna, ...], Field(min_length=1, max_length=2000)]
    services: Annotated[tuple[Service, ...], Field(max_length=20_000)] = ()
    rings: Annotated[tuple[Ring, ...], Field(max_length=2000)] = ()
    demand_profiles: Annotated[tuple[DemandProfile, ...], Field(max_length=1000)] = ()
    contracts: Annotated[tuple[Contract, ...], Field(max_length=20_000)] = ()
    parts: tuple[PartChange, ...] = ()
    power: tuple[Power, ...] = ()
    indoor_units: tuple[IndoorUnit, ...] = ()
    crews: tuple[Crew, ...] = ()
    depots: tuple[Depot, ...] = ()
    maintenance: tuple[Maintenance, ...] = ()
    climate: ClimateChange = ClimateChange()
    switching: Switching = Switching()
    losses: Losses = Losses()
    sharing: Sharing = Sharing()
    repair: RepairRules = RepairRules()
    lightning: LightningRisk = LightningRisk()
    prices: Prices = Prices()

    def site(self, site_id: str) -> Site:
        """The site of that id. Raises KeyError where there is none."""
        found: Site = self._by_id["sites"][site_id]
        return found

    def hop(self, hop_id: str) -> Hop:
        """The hop of that id. Raises KeyError where there is none."""
        found: Hop = self._by_id["hops"][hop_id]
        return found

    def radio(self, radio_id: str) -> Radio:
        """The radio of that id. Raises KeyError where there is none."""
        found: Radio = self._by_id["radios"][radio_id]
        return found

    def antenna(self, antenna_id: str) -> Antenna:
        """The antenna of that id. Raises KeyError where there is none."""
        found: Antenna = self._by_id["antennas"][antenna_id]
        return found

    def power_of(self, site: Site) -> Power:
        """How a site is fed; ``standard`` has the defaults unless the file defines it."""
        found: Power | None = self._by_id["power"].get(site.power)
        return found or Power(id="standard")

    def indoor_unit_of(self, site: Site) -> IndoorUnit:
        """What a site's indoor units offer; ``standard`` has the defaults unless the file defines it."""
        found: IndoorUnit | None = self._by_id["indoor_units"].get(site.indoor_unit)
        return found or IndoorUnit(id="standard")

    def demand_profile_of(self, service: Service) -> DemandProfile | None:
        """By which hours a service asks for its rates; None where it does at all times."""
        name = service.demand_profile
        found: DemandProfile | None = None if name is None else self._by_id["demand_profiles"].get(name)
        return found

    @cached_property
    def _by_id(self) -> dict[str, dict[str, Any]]:
        """Entries by id in each list; made once, for networks of thousands of hops."""
        return {
            name: {entry.id: entry for entry in getattr(self, name)}
            for name in ("sites", "hops", "radios", "antennas", "power", "indoor_units", "demand_profiles")
        }
