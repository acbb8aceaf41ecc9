"""Time without power at a site with mains, battery and generator, in closed form."""

from hopyears.models.equipment.lifetimes import mean_excess_h
from hopyears.models.equipment.power import PowerSupply, fair_weather_rate


def dark_h_per_year(supply: PowerSupply, *, storm_share: float = 0.0) -> float:
    """Expected time a year without power at a site with mains [h], each outage meeting a full battery.

    Parameters
    ----------
    supply : PowerSupply
        Mains, battery (averaged over its life) and generator; rectifiers are left out.
    storm_share : float
        Share of time with a storm over the site, 0 to 1.

    Raises
    ------
    ValueError
        If the site is solar: it has no mains outages to count.
    """
    if supply.solar is not None:
        raise ValueError("solar is set; must be None for a site with mains")
    rate = supply.mains_outages_per_year / fair_weather_rate(1.0, supply.storm_factor, storm_share)
    ages = [(i + 0.5) / 16 for i in range(16)] if supply.battery_end_share < 1.0 else [0.0]
    engine = supply.generator
    dark_h = 0.0
    for age in ages:
        battery_h = supply.battery_at_age_h(age)
        alone_h = mean_excess_h(supply.mains_outage, battery_h)
        if engine is not None:
            start_h = engine.start_s / 3600.0
            started_h = mean_excess_h(supply.mains_outage, start_h)
            spent_h = start_h + engine.fuel_h + battery_h
            helped_h = max(alone_h - started_h, 0.0) + mean_excess_h(supply.mains_outage, spent_h)
            alone_h = engine.start_failure * alone_h + (1.0 - engine.start_failure) * helped_h
        dark_h += alone_h / len(ages)
    return rate * dark_h
