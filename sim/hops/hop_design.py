"""Everything about a hop that does not change while the clock runs.

``design_hops`` turns the network's entries and the climate into numbers: geometry, received level, the
fade margin of every modulation on every receive line, the published laws of rain and multipath. Both
``predict`` (the standards alone) and ``simulate`` start from these same designs.
"""

from dataclasses import dataclass, replace

import numpy as np

from hopyears.models.air import rain_law
from hopyears.models.basics import geometry
from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.frozen import frozen
from hopyears.models.equipment.hardware import Part
from hopyears.models.equipment.link_states import LinkStructure, link_structure
from hopyears.models.network.network import Hop, Network, Radio, Site
from hopyears.models.radio.scheme import Channel, Line, Scheme, channels_of
from hopyears.sim.climate import Climate, climates_of, gas_db_per_km, ratio_of
from hopyears.sim.hops.hop_parts import hop_parts
from hopyears.sim.hops.modulation_steps import Steps, steps_of
from hopyears.sim.hops.path_laws import (
    PathGeometry,
    PathMultipath,
    PathRain,
    path_geometry,
    path_multipath,
    path_rain,
)
from hopyears.sim.hops.radio_levels import RadioLevels, combining_losses, radio_levels
from hopyears.sim.hops.site_hardware import sites_hardware


@dataclass(frozen=True)
class HopDesign:
    """One hop in numbers.

    Attributes
    ----------
    hop, radio
        What the user asked for.
    structure : LinkStructure
        Scheme, parts and receive lines.
    channels : tuple of Channel
    climate : Climate
        At the middle of the path, with the user's changes.
    path : PathGeometry
    rain : PathRain
    multipath : PathMultipath
    steps : Steps
        Modulations in use, lowest first.
    levels : RadioLevels
    """

    hop: Hop
    radio: Radio
    structure: LinkStructure
    channels: tuple[Channel, ...]
    climate: Climate
    path: PathGeometry
    rain: PathRain
    multipath: PathMultipath
    steps: Steps
    levels: RadioLevels

    @property
    def scheme(self) -> Scheme:
        """Protection, as data."""
        return self.structure.scheme

    @property
    def parts(self) -> tuple[Part, ...]:
        """Every part at both ends."""
        return self.structure.parts

    @property
    def lines(self) -> tuple[Line, ...]:
        """Receive lines."""
        return self.structure.lines

    @property
    def n_channel_directions(self) -> int:
        """Channels of both directions; channel-direction d * n_channels + c is channel c in direction d."""
        return 2 * len(self.channels)

    @property
    def clear_capacity_mbit_s(self) -> float:
        """Capacity of one direction in clear air, working channels at the highest modulation in reach."""
        reached = self.levels.margin_db[0] > 0.0
        return self.scheme.working * float(self.steps.capacity_mbit_s[reached].max(initial=0.0))

    def capacity_of_mbit_s(self, levels: Ints, stuck: Ints | None = None) -> Floats:
        """Capacity forward and backward: the best N of the N + M channels of each direction.

        Parameters
        ----------
        levels : int64, shape (n_states, n_channel_directions)
        stuck : int64, shape (n_states, 2), optional
            Streams of each direction that a failed switch keeps on a dead channel: so many fewer count.

        Returns
        -------
        float64, shape (n_states, 2)
            [Mbit/s]
        """
        by_level = np.concatenate(([0.0], self.steps.capacity_mbit_s))
        carriers = by_level[levels].reshape(len(levels), 2, len(self.channels))
        best = np.sort(carriers, axis=2)[:, :, -self.scheme.working :]
        if stuck is not None:
            best = np.where(np.arange(self.scheme.working) < stuck[:, :, None], 0.0, best)
        found: Floats = best.sum(axis=2)
        return found

    def felt_as(self, number: int) -> "HopDesign":
        """The hop to those who tell its lowest ``number`` modulations apart, the last of which stands for all
        above it too and carries what clear air allows."""
        if number >= len(self.steps):
            return self
        best = self.steps.capacity_mbit_s[self.levels.margin_db[0] > 0.0].max(initial=0.0)
        steps = Steps(*(values[:number] for values in vars(self.steps).values()))
        capacity_mbit_s = np.append(steps.capacity_mbit_s[:-1], max(best, steps.capacity_mbit_s[-1]))
        levels = replace(
            self.levels,
            threshold_dbm=self.levels.threshold_dbm[:number],
            received_level_dbm=self.levels.received_level_dbm[:, :number],
            margin_db=self.levels.margin_db[:, :number],
        )
        return replace(self, steps=replace(steps, capacity_mbit_s=frozen(capacity_mbit_s)), levels=levels)

    @property
    def channel_step_ghz(self) -> float:
        """Between neighbouring frequencies of the hop; two channel widths where none is stated."""
        stated = self.hop.frequency_separation_mhz
        return (2.0 * self.hop.channel_width_mhz if stated is None else stated) / 1000.0

    @property
    def duplex_ghz(self) -> float:
        """From go to return frequency; 3 % of the frequency where none is stated."""
        stated = self.hop.duplex_spacing_mhz
        return 0.03 * self.hop.frequency_ghz if stated is None else stated / 1e3

    def other_polarisation(self, channel: Channel) -> bool:
        """Whether a channel's polarisation differs from the reference channel's."""
        return channel.polarisation != self.channels[0].polarisation


def design_hops(network: Network) -> tuple[HopDesign, ...]:
    """Designs of all hops, in the order of the network.

    Parameters
    ----------
    network : Network
        One that meets ``models.network.network_rules.RULES``.
    """
    sites = {site.id: site for site in network.sites}
    places = site_plane_km(network)
    middles = [_middle(sites[hop.site_a], sites[hop.site_b]) for hop in network.hops]
    climates = climates_of(middles)
    hardware = sites_hardware(network)
    return tuple(
        _design(
            network, hop, sites, places, changed_climate(climate, network), hop_parts(network, hop, hardware)
        )
        for hop, climate in zip(network.hops, climates, strict=True)
    )


CENTRE_STEP_DEG = 0.5
"""The network's centre is rounded to this: a plan that adds a site moves neither plane nor climate."""


def network_centre_deg(network: Network) -> tuple[float, float]:
    """Latitude and longitude of the middle of the network, rounded."""
    latitude = np.array([site.latitude_deg for site in network.sites])
    longitude = np.array([site.longitude_deg for site in network.sites])
    centre = geometry.network_centre(latitude, longitude)
    first, second = (CENTRE_STEP_DEG * round(value / CENTRE_STEP_DEG) for value in centre)
    return first, second


def site_plane_km(network: Network) -> dict[str, tuple[float, float]]:
    """Each site's place on the network's plane: km east and north of its centre."""
    latitude = np.array([site.latitude_deg for site in network.sites])
    longitude = np.array([site.longitude_deg for site in network.sites])
    east, north = geometry.local_plane_km(latitude, longitude, centre=network_centre_deg(network))
    return {site.id: (float(x), float(y)) for site, x, y in zip(network.sites, east, north, strict=True)}


def network_climate(network: Network) -> Climate:
    """Climate at the network's centre, with the user's changes: the climate of the common rain field."""
    return changed_climate(climates_of([(*network_centre_deg(network), None)])[0], network)


def changed_climate(climate: Climate, network: Network) -> Climate:
    """A climate of the maps with what the user knows better."""
    known = network.climate
    changes: dict[str, object] = {}
    if known.monthly_temperature_c is not None:
        changes["temperature_c"] = tuple(known.monthly_temperature_c)
    if known.monthly_rainfall_mm is not None:
        changes["rainfall_mm"] = tuple(known.monthly_rainfall_mm)
    if known.refractivity_gradient is not None:
        changes["dn1_n_km"] = known.refractivity_gradient
    if known.terrain_roughness_m is not None:
        changes["terrain_roughness_m"] = known.terrain_roughness_m
    if known.rain_height_m is not None:
        changes["rain_height_m"] = known.rain_height_m
    if known.rain_rate_001_mm_h is not None:
        changes["rain_rate_001_mm_h"] = known.rain_rate_001_mm_h
    if known.monthly_temperature_c is not None or known.monthly_rainfall_mm is not None:
        own = replace(climate, **changes).rain_law  # type: ignore[arg-type]
        of_year = float(rain_law.annual_rain_rate_mm_h(own, 1e-4))
        changes = {"rain_rate_001_mm_h": of_year, "climatic_ratio": ratio_of(own)} | changes
    if known.year_to_year_ratio is not None:
        changes["climatic_ratio"] = known.year_to_year_ratio
    return replace(climate, **changes) if changes else climate  # type: ignore[arg-type]


def _middle(site_a: Site, site_b: Site) -> tuple[float, float, float]:
    return (
        (site_a.latitude_deg + site_b.latitude_deg) / 2,
        (site_a.longitude_deg + site_b.longitude_deg) / 2,
        (site_a.ground_height_m + site_b.ground_height_m) / 2,
    )


def _design(
    network: Network,
    hop: Hop,
    sites: dict[str, Site],
    places: dict[str, tuple[float, float]],
    climate: Climate,
    parts: tuple[Part, ...],
) -> HopDesign:
    radio, scheme = network.radio(hop.radio), hop.protection
    structure = link_structure(scheme, parts, combining_losses(network.losses, radio))
    path = path_geometry(hop, sites[hop.site_a], sites[hop.site_b], places[hop.site_a], places[hop.site_b])
    steps = steps_of(hop, radio)
    gas_loss_db = gas_db_per_km(hop.frequency_ghz, climate) * path.length_km
    return HopDesign(
        hop=hop,
        radio=radio,
        structure=structure,
        channels=channels_of(scheme),
        climate=climate,
        path=path,
        rain=path_rain(hop, path, climate, wet_snow=network.climate.wet_snow),
        multipath=path_multipath(hop, path, climate, edition=network.climate.multipath_edition),
        steps=steps,
        levels=radio_levels(network, hop, structure, steps, path.length_km, gas_loss_db),
    )
