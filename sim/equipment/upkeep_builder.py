"""From the network file to what keeps a plant up: power, planned work, crews, depots."""

from hopyears.models.basics.units import HOURS_PER_YEAR
from hopyears.models.equipment import plant
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.power import Generator, PowerSupply, fair_weather_rate
from hopyears.models.equipment.solar import Solar
from hopyears.models.equipment.working_time import Shift
from hopyears.models.network.network import Maintenance, Network, Power, Site, Switching


def plant_site(site: Site, network: Network, storm_share: float, has_standbys: bool) -> plant.Site:
    """A site with its power and its planned work, the visits to test its standbys among it."""
    windows = [_maintenance(window) for window in network.maintenance if window.site == site.id]
    if has_standbys and network.switching.standby_test_visit:
        windows.append(_standby_test(network.switching))
    return plant.Site(
        id=site.id,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        power=_supply(network.power_of(site), storm_share),
        maintenance=tuple(windows),
        alarms=network.indoor_unit_of(site).alarm_board,
    )


def _maintenance(window: Maintenance) -> plant.Maintenance:
    per_year = HOURS_PER_YEAR / 24.0 / window.every_days
    return plant.Maintenance(
        per_year=per_year,
        window=Law.fixed(window.duration_h),
        start_h=window.start_h,
        visit=window.visit,
        climbs=window.climbs,
    )


def _standby_test(switching: Switching) -> plant.Maintenance:
    """Routine tests of the standbys of a site by a crew that comes, at ten in the morning."""
    return plant.Maintenance(
        per_year=HOURS_PER_YEAR / 24.0 / switching.standby_test_days,
        window=Law.fixed(switching.standby_test_h),
        start_h=10.0,
        outage_share=0.0,
        tests=True,
    )


def _supply(power: Power, storm_share: float) -> PowerSupply:
    law = (
        Law.lognormal_of_median(power.outage_median_min / 60.0, power.outage_ln_sd)
        if power.outage_ln_sd > 0
        else Law.fixed(power.outage_median_min / 60.0)
    )
    return PowerSupply(
        mains_outages_per_year=fair_weather_rate(
            power.mains_outages_per_year, power.storm_factor, storm_share
        ),
        mains_outage=law,
        storm_factor=power.storm_factor,
        battery_h=power.battery_h,
        recharge_h=power.recharge_h,
        solar=None if power.solar_harvest_h is None else Solar(tuple(power.solar_harvest_h)),
        rectifiers_needed=power.rectifiers_needed,
        generator=Generator(start_failure=power.generator_start_failure) if power.generator else None,
    )


def plant_crews(network: Network) -> tuple[plant.Crews, ...]:
    """The network's crews; without any, one team stands ready at the first site."""
    entries = network.crews
    if not entries:
        first = network.sites[0]
        return (plant.Crews("crew", first.latitude_deg, first.longitude_deg),)
    crews = []
    for crew in entries:
        base = network.site(crew.base)
        days = tuple(day < crew.working_days_per_week for day in range(7))
        shift = Shift(
            start_h=crew.shift_start_h,
            end_h=crew.shift_end_h,
            working_days=days,
            utc_offset_h=base.longitude_deg / 15.0,
            on_call=crew.on_call,
        )
        crews.append(
            plant.Crews(crew.id, base.latitude_deg, base.longitude_deg, crew.teams, crew.speed_km_h, shift)
        )
    return tuple(crews)


def plant_depots(network: Network) -> tuple[plant.Depot, ...]:
    """The network's depots of spares."""
    return tuple(
        plant.Depot(
            depot.id,
            network.site(depot.base).latitude_deg,
            network.site(depot.base).longitude_deg,
            dict(depot.stock),
            Law.exponential(depot.lead_time_days * 24.0),
        )
        for depot in network.depots
    )
