"""Supply of a site: mains, battery, generator, rectifiers, sun. Frozen data and the battery's arithmetic."""

from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.intervals import Intervals
from hopyears.models.basics.kernel import kernel
from hopyears.models.equipment.lifetimes import Law, mean_excess_h
from hopyears.models.equipment.solar import Solar


@dataclass(frozen=True, kw_only=True)
class Generator:
    """Standby generator: chance of not starting, time to take the load [s], hours of fuel."""

    start_failure: float
    start_s: float
    fuel_h: float


@dataclass(frozen=True, kw_only=True)
class PowerSupply:
    """Supply of a site, made from the network's entry ``power``, which alone has defaults.

    Parameters
    ----------
    mains_outages_per_year : float
        Mains failures a year outside storms (see ``fair_weather_rate``).
    mains_outage : Law
        Duration of a mains failure [h].
    storm_factor : float
        Factor on the rate while a storm stands over the site, at least 0.
    battery_h : float
        Autonomy of a full, new battery [h].
    battery_life_years : float
        Age at which the battery is replaced, above 0.
    battery_end_share : float
        Autonomy at replacement over that when new, 0 to 1; 1 for a battery that does not age.
    recharge_h : float
        Time to recharge an empty battery [h].
    generator : Generator or None
        Standby generator.
    rectifiers_needed : int
        Rectifier modules (parts of kind "rectifier" at the site) that must work; the battery bridges
        their failure as it bridges a mains failure.
    solar : Solar or None
        If given, the site has no mains, generator or rectifier.
    """

    mains_outages_per_year: float
    mains_outage: Law
    storm_factor: float
    battery_h: float
    battery_life_years: float
    battery_end_share: float
    recharge_h: float
    generator: Generator | None
    rectifiers_needed: int
    solar: Solar | None

    def __post_init__(self) -> None:
        for name in ("mains_outages_per_year", "storm_factor", "battery_h", "recharge_h"):
            value = getattr(self, name)
            if not value >= 0.0:
                raise ValueError(f"{name} is {value}; must be at least 0")

    def battery_at_age_h(self, age: float) -> float:
        """Autonomy of a full battery [h] when ``age`` of its life has passed, 0 to 1."""
        return self.battery_h * (1.0 - (1.0 - self.battery_end_share) * age)


def fair_weather_rate(mean_rate: float, storm_factor: float, storm_share: float) -> float:
    """Rate outside storms such that the long-run mean is ``mean_rate``.

    ``storm_share`` is the share of time with a storm over the site, 0 to 1; storms multiply the rate by
    ``storm_factor``.
    """
    return mean_rate / (1.0 - storm_share + storm_factor * storm_share)


def battery_capacity_s(
    time_s: Floats, battery_h: Floats, replacement_s: Floats, last_replaced_s: Floats, end_share: Floats
) -> Floats:
    """Autonomy of a full battery at a time [s]: a saw from new to ``end_share`` of it; shapes broadcast.

    ``replacement_s`` is the time between replacements [s], infinite where there is no battery;
    ``last_replaced_s`` is then no later than ``time_s``.
    """
    age = np.mod(time_s - last_replaced_s, replacement_s) / replacement_s
    return battery_h * 3600.0 * (1.0 - (1.0 - end_share) * age)


def battery_down(supply_lost: Intervals, capacity_s: Floats, recharge_s: Floats) -> Intervals:
    """When sites are dark: the battery runs while the supply is lost and recharges between.

    Parameters
    ----------
    supply_lost : Intervals
        When the battery carries each site. Full before the first of them.
    capacity_s : float array, shape (n_intervals,)
        Autonomy of a full battery at each interval [s].
    recharge_s : float array, shape (n_rows,)
        Time to recharge an empty battery [s]; 0 recharges at once.
    """
    row, start, end = _discharge(
        supply_lost.offset, supply_lost.start_s, supply_lost.end_s, capacity_s, recharge_s
    )
    offset = np.zeros(supply_lost.n_rows + 1, dtype=np.int64)
    np.cumsum(np.bincount(row, minlength=supply_lost.n_rows), out=offset[1:])
    return Intervals(offset, start, end)


@kernel
def _discharge(
    offset: Ints, start_s: Floats, end_s: Floats, capacity_s: Floats, recharge_s: Floats
) -> tuple[Ints, Floats, Floats]:
    row, start, end = np.empty(len(start_s), np.int64), np.empty(len(start_s)), np.empty(len(start_s))
    count = 0
    for i in range(len(offset) - 1):
        charge = 1.0  # share of a full battery when the supply was last back
        last_end = -np.inf
        for k in range(offset[i], offset[i + 1]):
            gap = start_s[k] - last_end
            charge = 1.0 if gap >= recharge_s[i] else min(1.0, charge + gap / recharge_s[i])
            empty_at = start_s[k] + charge * capacity_s[k]
            if empty_at < end_s[k]:
                row[count], start[count], end[count] = i, empty_at, end_s[k]
                count += 1
                charge = 0.0
            else:
                charge -= (end_s[k] - start_s[k]) / capacity_s[k]
            last_end = end_s[k]
    return row[:count].copy(), start[:count].copy(), end[:count].copy()


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
