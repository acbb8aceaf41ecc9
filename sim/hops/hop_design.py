"""Everything about a hop that does not change while the clock runs.

``design_hops`` turns the network's entries and the climate into numbers: geometry, received level, the
fade margin of every modulation on every receive line, the published laws of rain and multipath. Both
``predict`` (the standards alone) and ``simulate`` start from these same designs.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hopyears.models.air import multipath, rain_attenuation, rain_law
from hopyears.models.air.precipitation import PrecipitationLaw, precipitation_law
from hopyears.models.air.rain_attenuation import RainAttenuationLaw
from hopyears.models.basics import geometry
from hopyears.models.basics.frozen import frozen
from hopyears.models.equipment.hardware import Part
from hopyears.models.equipment.link_states import LinkStructure, link_structure
from hopyears.models.network.network import Hop, Losses, Network, Radio, Site
from hopyears.models.radio import link_budget
from hopyears.models.radio.combining import CombiningLosses
from hopyears.models.radio.scheme import Channel, Line, Scheme, channels_of, lines_of
from hopyears.sim.climate import Climate, climates_of, gas_db_per_km
from hopyears.sim.hops.hop_parts import hop_parts
from hopyears.sim.hops.modulation_steps import Steps, steps_of


@dataclass(frozen=True)
class HopDesign:
    """One hop in numbers; arrays are read-only.

    Attributes
    ----------
    hop, radio, scheme, structure, parts, channels, lines
        What the user asked for, as data.
    x_km, y_km : tuple of two float
        Both ends on the network's plane, east and north of its centre [km].
    length_km, inclination_mrad, elevation_deg : float
    height_a_m, height_b_m : float
        Main antennas above sea level [m].
    climate : Climate
        At the middle of the path, with the user's changes.
    k, alpha : float
        Power law of rain attenuation at the reference (first) channel, P.838-3.
    rain_law : RainAttenuationLaw
        Published law of the reference channel's rain attenuation, P.530-18.
    precipitation : PrecipitationLaw
        The same with wet snow, where the hop's height lets it meet any.
    occurrence : float
        Multipath occurrence p0 of the worst month, P.530-17; a fraction that may exceed 1; 0 on short hops.
    annual_reduction_db : float
        From the worst month to the year, P.530-18.
    gas_loss_db : float
    antenna_discrimination_db : float
        Cross-polar, of the worse antenna.
    steps : Steps
        Modulations in use, lowest first.
    received_level_dbm : float array, shape (n_lines, n_modulations)
        In clear air, nominal equipment.
    margin_db : float array, shape (n_lines, n_modulations)
        Flat fade margin against noise alone, nominal equipment.
    """

    hop: Hop
    radio: Radio
    scheme: Scheme
    structure: LinkStructure
    parts: tuple[Part, ...]
    channels: tuple[Channel, ...]
    lines: tuple[Line, ...]
    x_km: tuple[float, float]
    y_km: tuple[float, float]
    length_km: float
    inclination_mrad: float
    elevation_deg: float
    height_a_m: float
    height_b_m: float
    climate: Climate
    k: float
    alpha: float
    rain_law: RainAttenuationLaw
    precipitation: PrecipitationLaw
    occurrence: float
    annual_reduction_db: float
    gas_loss_db: float
    antenna_discrimination_db: float
    steps: Steps
    received_level_dbm: NDArray[np.float64]
    margin_db: NDArray[np.float64]

    @property
    def n_channel_directions(self) -> int:
        """Channels of both directions; channel-direction d * n_channels + c is channel c in direction d."""
        return 2 * len(self.channels)

    @property
    def clear_capacity_mbit_s(self) -> float:
        """Capacity of one direction in clear air, working channels at the highest modulation in reach."""
        reached = self.margin_db[0] > 0.0
        return self.scheme.working * float(self.steps.capacity_mbit_s[reached].max(initial=0.0))

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
    return tuple(
        _design(network, hop, sites, places, changed_climate(climate, network))
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
    if known.year_to_year_ratio is not None:
        changes["climatic_ratio"] = known.year_to_year_ratio
    if known.rain_rate_001_mm_h is not None:
        changes["rain_rate_001_mm_h"] = known.rain_rate_001_mm_h
    elif known.monthly_temperature_c is not None or known.monthly_rainfall_mm is not None:
        own = replace(climate, **changes)  # type: ignore[arg-type]
        changes["rain_rate_001_mm_h"] = float(rain_law.annual_rain_rate_mm_h(own.rain_law, 1e-4))
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
) -> HopDesign:
    site_a, site_b = sites[hop.site_a], sites[hop.site_b]
    length_km = float(
        geometry.path_length_km(
            site_a.latitude_deg, site_a.longitude_deg, site_b.latitude_deg, site_b.longitude_deg
        )
    )
    height_a_m = site_a.ground_height_m + (hop.antenna_height_a_m or site_a.antenna_height_m)
    height_b_m = site_b.ground_height_m + (hop.antenna_height_b_m or site_b.antenna_height_m)
    elevation_deg = float(geometry.path_elevation_deg(height_a_m, height_b_m, length_km))
    inclination_mrad = float(geometry.path_inclination_mrad(height_a_m, height_b_m, length_km))
    radio, scheme = network.radio(hop.radio), hop.protection
    parts = hop_parts(network, hop)
    structure = link_structure(scheme, parts, combining_losses(network.losses, radio))
    tilt = rain_attenuation.TILT_DEG[hop.polarisation]
    k, alpha = rain_attenuation.coefficients(
        hop.frequency_ghz, polarisation_tilt_deg=tilt, elevation_deg=elevation_deg
    )
    law = rain_attenuation.attenuation_law(
        length_km,
        climate.rain_rate_001_mm_h,
        frequency_ghz=hop.frequency_ghz,
        polarisation_tilt_deg=tilt,
        elevation_deg=elevation_deg,
    )
    gas_loss_db = gas_db_per_km(hop.frequency_ghz, climate) * length_km
    steps = steps_of(hop, radio)
    level = _received_level_dbm(network, hop, radio, structure, length_km, gas_loss_db)
    level_by_step = level[:, None] - steps.backoff_db[None, :]
    antennas = [network.antenna(hop.antenna), network.antenna(hop.antenna_b or hop.antenna)]
    return HopDesign(
        hop=hop,
        radio=radio,
        scheme=scheme,
        structure=structure,
        parts=parts,
        channels=channels_of(scheme),
        lines=lines_of(scheme),
        x_km=(places[hop.site_a][0], places[hop.site_b][0]),
        y_km=(places[hop.site_a][1], places[hop.site_b][1]),
        length_km=length_km,
        inclination_mrad=inclination_mrad,
        elevation_deg=elevation_deg,
        height_a_m=height_a_m,
        height_b_m=height_b_m,
        climate=climate,
        k=float(k),
        alpha=float(alpha),
        rain_law=law,
        precipitation=precipitation_law(
            law,
            min(height_a_m, height_b_m),
            max(height_a_m, height_b_m),
            mean_rain_height_m=climate.rain_height_m if network.climate.wet_snow else None,
        ),
        occurrence=_occurrence(hop, climate, length_km, inclination_mrad, min(height_a_m, height_b_m)),
        annual_reduction_db=float(
            multipath.annual_reduction_db(climate.latitude_deg, length_km, inclination_mrad)
        ),
        gas_loss_db=gas_loss_db,
        antenna_discrimination_db=min(antenna.cross_polar_discrimination_db for antenna in antennas),
        steps=steps,
        received_level_dbm=frozen(level_by_step),
        margin_db=frozen(level_by_step - steps.threshold_dbm[None, :]),
    )


def combining_losses(losses: Losses, radio: Radio) -> CombiningLosses:
    """The network's coupler losses and the radio's waveguide as the link states take them."""
    return CombiningLosses(
        equal_coupler_db=losses.equal_coupler_db,
        unequal_main_db=losses.unequal_main_db,
        unequal_standby_db=losses.unequal_standby_db,
        transducer_db=losses.transducer_db,
        branching_filter_db=losses.branching_filter_db,
        waveguide_db=radio.waveguide_loss_db,
    )


def _received_level_dbm(
    network: Network, hop: Hop, radio: Radio, structure: LinkStructure, length_km: float, gas_loss_db: float
) -> NDArray[np.float64]:
    """Level of each line in clear air at full power, nominal equipment, shape (n_lines,)."""
    power_dbm = radio.transmit_power_dbm if hop.transmit_power_dbm is None else hop.transmit_power_dbm
    gains = [
        _gain_dbi(network, antenna, hop.frequency_ghz)
        for antenna in (hop.antenna, hop.antenna_b or hop.antenna)
    ]
    combining_db = np.array(
        [
            structure.nominal_transmit_loss_db[line.channel] + structure.nominal_receive_loss_db[line.index]
            for line in structure.lines
        ]
    )
    return link_budget.received_level_dbm(
        power_dbm,
        transmit_gain_dbi=gains[0],
        receive_gain_dbi=gains[1],
        free_space_loss_db=link_budget.free_space_loss_db(length_km, hop.frequency_ghz),
        gas_loss_db=gas_loss_db,
        other_losses_db=combining_db,
    )


def _gain_dbi(network: Network, antenna_id: str, frequency_ghz: float) -> float:
    antenna = network.antenna(antenna_id)
    if antenna.gain_dbi is not None:
        return antenna.gain_dbi
    assert antenna.diameter_m is not None  # the entry has exactly one of the two
    return float(link_budget.antenna_gain_dbi(antenna.diameter_m, frequency_ghz))


def _occurrence(
    hop: Hop, climate: Climate, length_km: float, inclination_mrad: float, lower_antenna_m: float
) -> float:
    """Worst-month multipath occurrence, P.530-17 with the maps' K or the user's own."""
    factor = (
        hop.geoclimatic_factor
        if hop.geoclimatic_factor is not None
        else multipath.geoclimatic_factor_detailed(climate.dn1_n_km, climate.terrain_roughness_m)
    )
    return float(
        multipath.worst_month_occurrence(
            factor,
            path_length_km=length_km,
            inclination_mrad=inclination_mrad,
            frequency_ghz=hop.frequency_ghz,
            lower_antenna_m=lower_antenna_m,
        )
    )
