"""From the network's entries to what keeps a plant up: power, planned work, crews, spares."""

from hopyears.models.basics.units import HOURS_PER_YEAR
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.plant import PlantSite
from hopyears.models.equipment.power import Generator, PowerSupply, fair_weather_rate
from hopyears.models.equipment.solar import Solar
from hopyears.models.equipment.upkeep import CrewBase, PlannedWork, SpareStore
from hopyears.models.equipment.working_time import Shift
from hopyears.models.network.network import Crew, Depot, Maintenance, Network, Power, Site, Switching


def plant_site(site: Site, network: Network, storm_share: float, has_standbys: bool) -> PlantSite:
    """A site with its power and its planned work, the visits to test its standbys among it."""
    planned = [planned_work(window) for window in network.maintenance if window.site == site.id]
    if has_standbys and network.switching.standby_test_visit:
        planned.append(_standby_test(network.switching))
    return PlantSite(
        id=site.id,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        power=power_supply(network.power_of(site), storm_share),
        planned=tuple(planned),
        access_h=site.access_h,
        alarms=network.indoor_unit_of(site).alarm_board,
    )


def planned_work(window: Maintenance) -> PlannedWork:
    """Planned work that stops its site from beginning to end."""
    return PlannedWork(
        per_year=HOURS_PER_YEAR / 24.0 / window.every_days,
        duration=Law.fixed(window.duration_h),
        start_h=window.start_h,
        outage_share=1.0,
        visit=window.visit,
        climbs=window.climbs,
        tests=False,
    )


def _standby_test(switching: Switching) -> PlannedWork:
    """Routine tests of the standbys of a site by a crew that comes."""
    return PlannedWork(
        per_year=HOURS_PER_YEAR / 24.0 / switching.standby_test_days,
        duration=Law.fixed(switching.standby_test_h),
        start_h=switching.standby_test_start_h,
        outage_share=0.0,
        visit=True,
        climbs=False,
        tests=True,
    )


def power_supply(power: Power, storm_share: float) -> PowerSupply:
    """Supply of a site where a storm stands for a share of time, 0 to 1."""
    generator = Generator(
        start_failure=power.generator_start_failure,
        start_s=power.generator_start_s,
        fuel_h=power.generator_fuel_h,
    )
    return PowerSupply(
        mains_outages_per_year=fair_weather_rate(
            power.mains_outages_per_year, power.storm_factor, storm_share
        ),
        mains_outage=Law.lognormal_of_median(power.outage_median_min / 60.0, power.outage_ln_sd),
        storm_factor=power.storm_factor,
        battery_h=power.battery_h,
        battery_life_years=power.battery_life_years,
        battery_end_share=power.battery_end_share,
        recharge_h=power.recharge_h,
        generator=generator if power.generator else None,
        rectifiers_needed=power.rectifiers_needed,
        solar=_solar(power),
    )


def _solar(power: Power) -> Solar | None:
    if power.solar_harvest_h is None:
        return None
    return Solar(
        tuple(power.solar_harvest_h),
        ln_sd=power.solar_ln_sd,
        day_correlation=power.solar_day_correlation,
        reconnect_share=power.solar_reconnect_share,
    )


def crews_in_force(network: Network) -> tuple[Crew, ...]:
    """The network's crews; without any, one with every default stands ready at the first site."""
    return network.crews or (Crew(id="crew", base=network.sites[0].id),)


def plant_crews(network: Network) -> tuple[CrewBase, ...]:
    """The network's crews at their bases."""
    return tuple(crew_base(crew, network.site(crew.base)) for crew in crews_in_force(network))


def crew_base(crew: Crew, base: Site) -> CrewBase:
    """Crews at a site, their hours by its solar time."""
    shift = Shift(
        start_h=crew.shift_start_h,
        end_h=crew.shift_end_h,
        working_days=tuple(day < crew.working_days_per_week for day in range(7)),
        utc_offset_h=base.longitude_deg / 15.0,
        on_call=crew.on_call,
    )
    return CrewBase(
        id=crew.id,
        latitude_deg=base.latitude_deg,
        longitude_deg=base.longitude_deg,
        number=crew.teams,
        speed_km_h=crew.speed_km_h,
        shift=shift,
    )


def plant_depots(network: Network) -> tuple[SpareStore, ...]:
    """The network's depots of spares."""
    return tuple(spare_store(depot, network.site(depot.base)) for depot in network.depots)


def spare_store(depot: Depot, base: Site) -> SpareStore:
    """Spares at a site; lead times are exponential (by Palm's theorem only their mean counts)."""
    return SpareStore(
        id=depot.id,
        latitude_deg=base.latitude_deg,
        longitude_deg=base.longitude_deg,
        stock=dict(depot.stock),
        lead_time=Law.exponential(depot.lead_time_days * 24.0),
        express_h=None if depot.express_days is None else depot.express_days * 24.0,
        ships_h=depot.shipping_h,
    )
