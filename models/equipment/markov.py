"""Closed forms that series-parallel arithmetic cannot give: battery on mains, spares, periodic tests."""

import math

import numpy as np
from scipy.special import gammainc

from hopyears.models.equipment.lifetimes import Law, LawKind, mean_excess_h
from hopyears.models.equipment.power import PowerSupply, fair_weather_rate


def battery_backed_unavailability(
    outage_every_h: float, outage_h: float, *, battery_h: float, recharge_h: float
) -> float:
    """Long-run share of time that a load on mains and battery is dark.

    Parameters
    ----------
    outage_every_h, outage_h : float
        Mean time with mains between outages, and mean outage, both exponential [h], above 0.
    battery_h : float
        Autonomy of a full battery [h], at least 0; 0 gives the mains' own unavailability.
    recharge_h : float
        Time to recharge an empty battery [h], above 0.

    Notes
    -----
    Fluid queue with two states. With l, m the rates of failing and returning and r = battery_h /
    recharge_h the speed of recharging, the depth of discharge x has density C exp(k x) while the mains is
    lost and C exp(k x) / r while it is there, k = l/r - m, mass C/l at x = 0 (full) and
    C exp(k battery_h)/m at the bottom (dark).

    References
    ----------
    Fluid queue with on-off source and finite buffer, textbook (D. Anick, D. Mitra, M. M. Sondhi, Bell
    Syst. Tech. J. 61, 1982, for one source); derived here and checked by simulation.
    """
    for name, value in (
        ("outage_every_h", outage_every_h),
        ("outage_h", outage_h),
        ("recharge_h", recharge_h),
    ):
        if not value > 0.0:
            raise ValueError(f"{name} is {value}; must be above 0")
    if not battery_h >= 0.0:
        raise ValueError(f"battery_h is {battery_h}; must be at least 0")
    lose, back = 1.0 / outage_every_h, 1.0 / outage_h
    if battery_h == 0.0:
        return lose / (lose + back)
    speed = battery_h / recharge_h
    k = lose / speed - back
    spread = math.expm1(k * battery_h) / k if k != 0.0 else battery_h
    empty = math.exp(k * battery_h) / back
    return empty / (1.0 / lose + empty + (1.0 + 1.0 / speed) * spread)


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


def spare_wait(demands_per_h: float, lead_time_h: float, stock: int) -> tuple[float, float]:
    """Chance that a demand waits for a spare, and the mean wait over all demands [h], base stock.

    Parameters
    ----------
    demands_per_h : float
        Poisson rate of demands [1/h], at least 0.
    lead_time_h : float
        Mean resupply time, of any law [h], at least 0.
    stock : int
        Base stock, at least 0.

    References
    ----------
    Palm's theorem: the orders under way are Poisson of mean rate times lead time (C. Palm 1938; any text
    on spares, for instance C. C. Sherbrooke, Optimal Inventory Modeling of Systems). A demand waits if
    ``stock`` or more are under way; mean wait is mean backorders over the rate (Little).
    """
    if stock < 0:
        raise ValueError(f"stock is {stock}; must be at least 0")
    load = demands_per_h * lead_time_h
    if load == 0.0:
        return (1.0 if stock == 0 else 0.0), (lead_time_h if stock == 0 else 0.0)
    under_way = np.arange(stock + 1)
    at_least = np.append(1.0, gammainc(under_way[1:], load))  # P(N >= n), N Poisson
    # E[(N - s)+] = E[N] less P(N >= 1) ... P(N >= s)
    backorders = load - float(np.sum(at_least[1:]))
    return float(at_least[stock]), max(backorders, 0.0) / demands_per_h


def periodic_test_unavailability(life: Law, test_every_h: float) -> float:
    """Share of time that a silent part is failed, if only a periodic test finds it and renews it at once.

    Parameters
    ----------
    life : Law
        Exponential law [h].
    test_every_h : float
        Interval between tests [h], above 0.

    References
    ----------
    1 - (1 - exp(-a)) / a with a = interval / mean life: IEC 61508-6, annex B (for small a: a / 2).
    """
    if life.kind is not LawKind.EXPONENTIAL:
        raise ValueError(f"life kind is {life.kind.name}; must be EXPONENTIAL")
    a = test_every_h / life.mean_h
    return 1.0 + math.expm1(-a) / a
