"""The network as its user describes it: sites, hops, radios, antennas, services, crews, climate.

Each input field is defined once, in the modules of entries named below: type, unit, range, default and
meaning. The file reader, the published JSON Schema and the listing of defaults all follow from
these classes. Everything is frozen.
"""

from functools import cached_property
from typing import Any

from pydantic import Field

from hopyears.models.network.climate_entry import ClimateChange
from hopyears.models.network.contract_entry import Contract
from hopyears.models.network.entry import Entry
from hopyears.models.network.hardware_entries import (
    Antenna,
    IndoorUnit,
    Losses,
    Modulation,
    PartChange,
    Radio,
    Switching,
)
from hopyears.models.network.hop_entries import MAXIMUM_PATH_LENGTH_KM, MINIMUM_PATH_LENGTH_KM, Hop, Site
from hopyears.models.network.money_entries import PenaltyTier, Prices
from hopyears.models.network.traffic_entries import DemandProfile, Ring, Service, Sharing
from hopyears.models.network.upkeep_entries import Crew, Depot, LightningRisk, Maintenance, Power, RepairRules

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


class Network(Entry):
    """A whole network file."""

    title: str = Field("untitled network", max_length=200)
    sites: tuple[Site, ...] = Field(min_length=2, max_length=20_000)
    hops: tuple[Hop, ...] = Field(min_length=1, max_length=20_000)
    radios: tuple[Radio, ...] = Field(min_length=1, max_length=2000)
    antennas: tuple[Antenna, ...] = Field(min_length=1, max_length=2000)
    services: tuple[Service, ...] = Field((), max_length=20_000)
    rings: tuple[Ring, ...] = Field((), max_length=2000)
    demand_profiles: tuple[DemandProfile, ...] = Field((), max_length=1000)
    contracts: tuple[Contract, ...] = Field((), max_length=20_000)
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
