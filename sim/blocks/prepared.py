"""A network made ready for the clock: everything that blocks share and no block changes.

It is made once, holds no random state, and travels to every worker process.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TypeVar, cast

import numpy as np

from hopyears.models.air import rain_attenuation, rain_law
from hopyears.models.air.daily_cycle import shower_cycle
from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.receiver_lines import LineSet
from hopyears.models.air.storm import DEFAULT_STORMS, StormModel, drift_by_latitude
from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.percentiles import measured_points
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.network.network import Network
from hopyears.sim.blocks.hop_nights import fading_lines, night_places, nights_of
from hopyears.sim.equipment.plant_builder import BuiltPlant, build_plant
from hopyears.sim.hops.design_doubts import refuse_designs
from hopyears.sim.hops.hop_design import (
    HopDesign,
    design_hops,
    network_centre_deg,
    network_climate,
    site_plane_km,
)
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.multipath.night_law import NightLaw
from hopyears.sim.multipath.nights import NightPlaces
from hopyears.sim.rain.anchoring import IDENTITY, Anchor, RainHop, fit_anchors
from hopyears.sim.rain.peaks import RAIN_MODEL_VERSION
from hopyears.sim.rain.rain_laws import LocalLaw
from hopyears.sim.rain.storm_intervals import storm_intervals
from hopyears.sim.rain.storms import Region, draw_storms
from hopyears.sim.rain.weather import CycleLaw, DriftLaw, Weather, map_weather, uniform_weather
from hopyears.sim.services.service_data import Route, ServiceDemand
from hopyears.sim.services.service_demands import hop_bundles, service_demands
from hopyears.sim.storage.disk_cache import Key, kept_arrays
from hopyears.sim.streams import Streams

_TRIAL_SEED, _TRIAL_YEARS = 0x5EED, 10
_SITES_AT_ONCE = 256

_Thing = TypeVar("_Thing")


@dataclass(frozen=True)
class ModelOptions:
    """Which parts of the model run; all do by default.

    Attributes
    ----------
    rain, multipath, failures : bool
    anchoring : bool
        Each hop's long-run rain attenuation is that of P.530 (or of the user's measured percentiles).
    queues : bool
        Crews and spares are limited; without, nobody waits for either.
    replications : int
        Histories of failures, and rare failures put in by hand, of each so many beside a block's own
        (``sim.rare.strata``); they decide how sure figures of rare outages are. 0: none.
    """

    rain: bool = True
    multipath: bool = True
    failures: bool = True
    anchoring: bool = True
    queues: bool = True
    replications: int = 0


class Known:
    """Things worked out once, one of each type."""

    def __init__(self) -> None:
        self._things: dict[type, object] = {}

    def of(self, kind: type[_Thing], make: Callable[[], _Thing]) -> _Thing:
        """The thing of a type, made when it is first asked for."""
        if kind not in self._things:
            self._things[kind] = make()
        return cast(_Thing, self._things[kind])


@dataclass(frozen=True)
class Prepared:
    """What every block of a run starts from.

    Attributes
    ----------
    network : Network
    options : ModelOptions
    designs : tuple of HopDesign
        In the order of the network's hops, as all tuples below.
    anchors : tuple of Anchor
    nights : tuple of NightLaw or None
        None on hops without multipath.
    night_places : NightPlaces
        Of the hops with multipath.
    line_sets : tuple of LineSet or None
    built : BuiltPlant
    demands : tuple of ServiceDemand
        In the order of the network's services; links 0 to n_hops - 1 are the hops, the rest line cards.
    line_cards : tuple of int
        Part of the plant behind each link after the hops.
    links : tuple of tuple of int
        Histories behind each link: a hop, the hops of a bundle, a line card.
    weather : Weather
        Rain laws of the map about the network, and where systems of rain are born.
    storms : StormModel
    region : Region
    site_km : tuple of (east, north)
    known : Known
        What others have worked out from this, so that nobody does so twice; it travels to the workers, and a
        changed copy begins without.
    """

    network: Network
    options: ModelOptions
    designs: tuple[HopDesign, ...]
    anchors: tuple[Anchor, ...]
    nights: tuple[NightLaw | None, ...]
    night_places: NightPlaces
    line_sets: tuple[LineSet | None, ...]
    built: BuiltPlant
    demands: tuple[ServiceDemand, ...]
    line_cards: tuple[int, ...]
    links: tuple[tuple[int, ...], ...]
    weather: Weather
    storms: StormModel
    region: Region
    site_km: tuple[tuple[float, float], ...]
    known: Known = field(init=False, default_factory=Known, compare=False, repr=False)

    def hops_along(self, route: Route) -> list[tuple[int, ...]]:
        """Hops of each link of a route in its order: several of a bundle; line cards have none."""
        return [self.links[link] for link, _ in route if link < len(self.designs)]

    def hops_crossed(self, service: int) -> list[int]:
        """Every hop that any route of a service may cross, sorted."""
        routes = self.demands[service].routes
        return sorted({hop for route in routes for link in self.hops_along(route) for hop in link})

    @property
    def bundles(self) -> dict[str, tuple[int, ...]]:
        """Hops of each bundle of several, by its name."""
        several = (hops for hops in self.links[: len(self.designs)] if len(hops) > 1)
        return {str(self.designs[hops[0]].hop.bundle): hops for hops in several}

    def link_of_hops(self) -> dict[int, int]:
        """Link that each hop is of, alone or in a bundle."""
        n_hops = len(self.designs)
        return {hop: link for link, hops in enumerate(self.links[:n_hops]) for hop in hops}


def prepare(
    network: Network, options: ModelOptions | None = None, designs: Sequence[HopDesign] | None = None
) -> Prepared:
    """Make a network ready. Looks up the climate and fits the anchors, both cached on disk.

    Parameters
    ----------
    network : Network
    options : ModelOptions, optional
    designs : sequence of HopDesign, optional
        Of its hops, where they are at hand.

    Raises
    ------
    InputError
        If no law describes a hop, or the climate cannot be scaled to a measured rain rate.
    """
    options = options or ModelOptions()
    designs = design_hops(network) if designs is None else tuple(designs)
    refuse_designs(designs, network.title)
    storms = storm_model(network)
    places = site_plane_km(network)
    site_km = tuple(places[site.id] for site in network.sites)
    nights = tuple(nights_of(design) if options.multipath else None for design in designs)
    region = Region.around(np.array([x for x, _ in site_km]), np.array([y for _, y in site_km]))
    weather = field_weather(network, storms, region)
    share = (
        storm_share(weather, storms, region, site_km, storm_reach(network))
        if options.rain and options.failures
        else 0.0
    )
    built = build_plant(network, designs, share)
    demands, line_cards = service_demands(network, designs, built)
    return Prepared(
        network=network,
        options=options,
        designs=designs,
        anchors=_anchors(designs, weather, storms, options),
        nights=nights,
        night_places=night_places(designs, nights),
        line_sets=tuple(
            None if night is None else fading_lines(design, night)
            for design, night in zip(designs, nights, strict=True)
        ),
        built=built,
        demands=demands,
        line_cards=line_cards,
        links=(*hop_bundles(designs), *((len(designs) + card,) for card in range(len(line_cards)))),
        weather=weather,
        storms=storms,
        region=region,
        site_km=site_km,
    )


def field_law(network: Network) -> RainLaw:
    """Monthly rain law of the network's centre, scaled to the user's 0.01 % rate where one is given.

    Raises
    ------
    InputError
        If a 0.01 % rate is given for a place where it hardly ever rains.
    """
    law = network_climate(network).rain_law
    rate = network.climate.rain_rate_001_mm_h
    if rate is None:
        return law
    try:
        return rain_law.scaled_to_rate(law, rate)
    except ValueError:
        share = float(rain_law.annual_rain_probability(law))
        raise InputError.one(
            f"{network.title}: climate: rain_rate_001_mm_h is {rate:g}; must be left out where it rains for "
            f"less than 0.01 % of the year ({share:.2g} by monthly rainfall and temperature)"
        ) from None


def field_weather(network: Network, storms: StormModel, region: Region) -> Weather:
    """Climate and drift about the network: the maps with the user's changes.

    Monthly temperature or rainfall of the user's own hold for the whole network; a rain rate scales all
    rates.
    """
    known, centre = network.climate, network_centre_deg(network)
    if known.monthly_temperature_c is not None or known.monthly_rainfall_mm is not None:
        return uniform_weather(
            field_law(network),
            region,
            DEFAULT_POPULATION,
            storms,
            centre_deg=centre,
            drift=drift_law(network),
            cycle=cycle_law(network),
        )
    return map_weather(
        centre,
        region,
        DEFAULT_POPULATION,
        storms,
        rate_scale=rate_scale(network),
        drift=drift_law(network),
        cycle=cycle_law(network),
    )


def rate_scale(network: Network) -> float:
    """Rain rates of the field over those of the maps, from the rate that the user has measured."""
    mapped = network_climate(network).rain_law
    return float(field_law(network).mean_rate_mm_h[0] / mapped.mean_rate_mm_h[0])


def drift_law(network: Network) -> DriftLaw:
    """Drift by latitude and month, with the speed and heading that the user knows."""
    known = network.climate

    def drift(latitude_deg: float, month: Ints) -> Floats:
        found = drift_by_latitude(latitude_deg, month)
        if known.storm_speed_km_h is not None:
            found[:, 0] = known.storm_speed_km_h
        if known.storm_bearing_deg is not None:
            found[:, 1], found[:, 2] = known.storm_bearing_deg, DEFAULT_STORMS.drift_spread_deg
        return found

    return drift


def cycle_law(network: Network) -> CycleLaw:
    """Daily cycle of showers by latitude and share of land, with what the user knows of it."""
    known = network.climate

    def cycle(latitude_deg: float, land_share: float) -> Floats:
        found = shower_cycle(latitude_deg, land_share)
        if known.shower_daily_amplitude is not None:
            found[:, 0] = known.shower_daily_amplitude
        if known.shower_peak_hour is not None:
            found[:, 1] = known.shower_peak_hour
        return found

    return cycle


def storm_model(network: Network) -> StormModel:
    """How storms move and gather, with the user's changes."""
    known = network.climate
    changes: dict[str, float] = {}
    if known.year_to_year_ratio is not None:
        changes["yearly_spread"] = known.year_to_year_ratio
    if known.storm_speed_km_h is not None:
        changes["mean_drift_km_h"] = known.storm_speed_km_h
    if known.storm_bearing_deg is not None:
        changes["drift_towards_deg"] = known.storm_bearing_deg
    return StormModel(**changes)


def storm_reach(network: Network) -> dict[str, float]:
    """From when on a storm is at a site, as ``storm_intervals`` takes it: distance and peak of its cells."""
    rules = network.repair
    return {"distance_km": rules.storm_distance_km, "least_peak_mm_h": rules.storm_rain_mm_h}


def storm_share(
    weather: Weather,
    storms: StormModel,
    region: Region,
    site_km: Sequence[tuple[float, float]],
    reach: Mapping[str, float],
) -> float:
    """Mean share of time with a storm in reach of a site (see ``storm_reach``), kept on disk.

    From trial years that have nothing to do with any run; to four digits, far within their error, so that
    processors that round otherwise agree.
    """
    key: Key = (
        "to four digits",
        RAIN_MODEL_VERSION,
        *reach.values(),
        repr((storms, region, weather.centre_deg)),
        *(tuple(float(value) for value in law.mean_rate_mm_h) for law in weather.nodes.laws),
        *(tuple(float(value) for value in law.rain_probability) for law in weather.nodes.laws),
        tuple(float(value) for tile in weather.tiles for value in tile.drift[::6].ravel()),
        tuple(float(value) for tile in weather.tiles for value in tile.days[::6].ravel()),
        tuple(float(value) for place in site_km for value in place),
    )

    def compute() -> dict[str, Floats]:
        field = draw_storms(Streams(_TRIAL_SEED, 0), weather, region, n_years=_TRIAL_YEARS, storms=storms)
        some = (site_km[first : first + _SITES_AT_ONCE] for first in range(0, len(site_km), _SITES_AT_ONCE))
        total_s = sum(float(storm_intervals(field, sites, **reach).total_s().sum()) for sites in some)
        share = total_s / (len(site_km) * _TRIAL_YEARS * SECONDS_PER_YEAR)
        return {"share": np.array([float(f"{share:.4g}")])}

    return float(kept_arrays("storms", key, compute)["share"][0])


def stormy_share(prepared: Prepared) -> float:
    """Mean share of time with a storm in reach of a site of a network; 0 where its model has none."""
    if not (prepared.options.rain and prepared.options.failures):
        return 0.0
    place = (prepared.weather, prepared.storms, prepared.region, prepared.site_km)
    return storm_share(*place, storm_reach(prepared.network))


def local_law(design: HopDesign, weather: Weather) -> LocalLaw:
    """Rain laws of the field at the middle of a hop."""
    return weather.nodes.about(design.climate.latitude_deg, design.climate.longitude_deg)


def _anchors(
    designs: Sequence[HopDesign], weather: Weather, storms: StormModel, options: ModelOptions
) -> tuple[Anchor, ...]:
    if not (options.anchoring and options.rain):
        return (IDENTITY,) * len(designs)
    hops = [
        RainHop(local_law(design, weather), design.path.length_km, design.rain.k, design.rain.alpha)
        for design in designs
    ]
    return tuple(fit_anchors(hops, [partial(rain_target_db, design) for design in designs], storms=storms))


def rain_target_db(design: HopDesign, probability: Floats) -> Floats:
    """Attenuation that a hop's rain, with its wet snow, is to exceed for a fraction of the year [dB].

    The user's measured percentiles where there are two or more, which hold any wet snow themselves: between
    them the logarithm of the attenuation is linear in that of the time, beyond them P.530's law of rain goes
    on, scaled to join.
    """
    measured = measured_points(design.hop.rain_exceedance_db)
    if measured is None:
        return design.rain.precipitation.attenuation_db(probability)
    at, value = measured
    standard = rain_attenuation.attenuation_db(design.rain.law, probability)
    factor = np.log(value / rain_attenuation.attenuation_db(design.rain.law, at))
    order = np.argsort(at)
    bend = np.interp(np.log(probability), np.log(at[order]), factor[order])
    return np.asarray(standard * np.exp(bend))
