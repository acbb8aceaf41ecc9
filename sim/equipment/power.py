"""Mains outages and batteries of one block: arrays, all sites at once."""

import math
from collections.abc import Callable

import numpy as np
from scipy.special import ndtri

from hopyears.models.air.storm_rate import event_times_s
from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.calendar import month_of
from hopyears.models.basics.intervals import Intervals, empty_intervals, joined, merged, without
from hopyears.models.basics.units import SECONDS_PER_DAY, SECONDS_PER_YEAR
from hopyears.models.equipment.lifetimes import quantiles_h
from hopyears.models.equipment.plant import Plant
from hopyears.models.equipment.power import PowerSupply, battery_capacity_s, battery_down
from hopyears.models.equipment.solar import daily_harvest_h, solar_down
from hopyears.models.equipment.working_time import HOUR_S
from hopyears.sim.equipment.draws import Draws, Purpose
from hopyears.sim.equipment.weather import Weather


def all_events(most: float, of: Callable[[int], tuple[Floats, ...]]) -> tuple[Floats, ...]:
    """What the first so many events of every thing are, enough to pass the end of the time.

    Few are tried first: most of those that are surely enough would lie beyond the end.

    Parameters
    ----------
    most : float
        Expected number of events of the thing that has most.
    of : function of a number of events
        Times first, shape (n_things, n_events), infinite after the end.

    Notes
    -----
    The most that are drawn leave a chance below 1e-12 of falling short.
    """
    found = of(math.ceil(most + 3.0 * math.sqrt(most) + 3.0))
    if np.isfinite(found[0][:, -1]).any():
        found = of(math.ceil(most + 8.0 * math.sqrt(most) + 20.0))
    return found


def mains_outages(plant: Plant, draws: Draws, weather: Weather) -> tuple[Intervals, Intervals]:
    """When each site is without mains, and when its generator runs instead (one row a site)."""
    supplies = [(i, site.power) for i, site in enumerate(plant.sites) if site.power and not site.power.solar]
    n_sites = len(plant.sites)
    if not supplies:
        return empty_intervals(n_sites), empty_intervals(n_sites)
    rate = _column(n_sites, supplies, "mains_outages_per_year") / SECONDS_PER_YEAR
    factor = _column(n_sites, supplies, "storm_factor")
    span_s = weather.span_s
    most = float(np.max(rate * (span_s[1] - span_s[0] + np.maximum(factor - 1.0, 0.0) * weather.within_s)))

    def begun(n_events: int) -> tuple[Floats, Floats]:
        gaps = -np.log(draws.matrix(Purpose.START, n_events))
        lasts_s = _durations_s(n_sites, supplies, draws.matrix(Purpose.DURATION, n_events))
        begins_s = event_times_s(
            gaps, weather.storms, span_s=span_s, rate_outside=rate, rate_inside=rate * factor, pause_s=lasts_s
        )
        return begins_s, lasts_s

    start_s, duration_s = all_events(most, begun)
    row, column = np.nonzero(np.isfinite(start_s))
    start = start_s[row, column]
    end = start + duration_s[row, column]
    running = _generators(
        plant, draws.matrix(Purpose.GENERATOR, start_s.shape[1])[row, column], row, start, end
    )
    return merged(row, start, np.minimum(end, span_s[1]), n_rows=n_sites), running


def _durations_s(n_sites: int, supplies: list[tuple[int, PowerSupply]], draw: Floats) -> Floats:
    """Durations of mains failures [s], shape (n_sites, n), 0 where there is no mains."""
    kind, mean_h, spread = np.zeros((n_sites, 1), np.int64), np.zeros((n_sites, 1)), np.ones((n_sites, 1))
    for i, supply in supplies:
        law = supply.mains_outage
        kind[i], mean_h[i], spread[i] = law.kind, law.mean_h, law.spread
    return quantiles_h(kind, mean_h, spread, draw) * HOUR_S


def _generators(plant: Plant, draw: Floats, row: Ints, start_s: Floats, end_s: Floats) -> Intervals:
    n_sites = len(plant.sites)
    machines = [site.power.generator if site.power else None for site in plant.sites]
    failure = np.array([machine.start_failure if machine else 1.0 for machine in machines])[row]
    delay_s = np.array([machine.start_s if machine else 0.0 for machine in machines])[row]
    fuel_s = np.array([machine.fuel_h * HOUR_S if machine else 0.0 for machine in machines])[row]
    on_s = np.where(draw >= failure, start_s + delay_s, np.inf)
    return merged(row, on_s, np.minimum(end_s, on_s + fuel_s), n_rows=n_sites)


def dark_sites(
    plant: Plant, draws: Draws, mains_lost: Intervals, generator: Intervals, rectifier_lost: Intervals
) -> Intervals:
    """When each site is without power, its battery spent (one row a site)."""
    n_sites = len(plant.sites)
    lost = joined(without(mains_lost, generator), rectifier_lost)
    supplies = [(i, site.power) for i, site in enumerate(plant.sites) if site.power]
    battery_h, recharge_h = _column(n_sites, supplies, "battery_h"), _column(n_sites, supplies, "recharge_h")
    end_share = _column(n_sites, supplies, "battery_end_share")
    life_s = _column(n_sites, supplies, "battery_life_years") * SECONDS_PER_YEAR
    replaced_s = -(1.0 + draws.first(Purpose.PHASE)) * life_s
    row = lost.row
    capacity_s = battery_capacity_s(
        lost.start_s, battery_h[row], life_s[row], replaced_s[row], end_share[row]
    )
    return battery_down(lost, capacity_s, recharge_h * HOUR_S)


def dark_solar_sites(plant: Plant, draws: Draws, span_s: tuple[float, float]) -> Intervals:
    """When each solar site is dark (one row a site); their batteries are of middle age."""
    rows, starts, ends = [np.zeros(0, np.int64)], [np.zeros(0)], [np.zeros(0)]
    for i, site in enumerate(plant.sites):
        if site.power is None or site.power.solar is None:
            continue
        sun, place = site.power.solar, np.array([i])
        noon_shift_s = site.longitude_deg / 360.0 * SECONDS_PER_DAY
        midnight_s = math.floor((span_s[0] + noon_shift_s) / SECONDS_PER_DAY) * SECONDS_PER_DAY - noon_shift_s
        n_days = math.ceil((span_s[1] - midnight_s) / SECONDS_PER_DAY)
        month = month_of(midnight_s + (np.arange(n_days) + 0.5) * SECONDS_PER_DAY)
        normal = ndtri(draws.matrix(Purpose.SUN, n_days, place)[0])
        harvest_h = daily_harvest_h(
            np.array(sun.harvest_h)[month], normal, ln_sd=sun.ln_sd, day_correlation=sun.day_correlation
        )
        worn = 0.5 * (1.0 + site.power.battery_end_share)
        dark = solar_down(
            harvest_h,
            battery_s=site.power.battery_h * worn * HOUR_S,
            reconnect_share=sun.reconnect_share,
            first_midnight_s=midnight_s,
        )
        rows.append(np.full(len(dark.start_s), i))
        starts.append(dark.start_s)
        ends.append(dark.end_s)
    return merged(np.concatenate(rows), np.concatenate(starts), np.concatenate(ends), n_rows=len(plant.sites))


def lost_with_more_than(spare: Ints, row: Ints, start_s: Floats, end_s: Floats) -> Intervals:
    """When more than ``spare[i]`` of the things of row i are down at once.

    Parameters
    ----------
    spare : int array, shape (n_rows,)
        How many may be down without harm.
    row, start_s, end_s : arrays, shape (n,)
        Row and time down of each thing [s].
    """
    rows = np.concatenate([row, row])
    time_s = np.concatenate([start_s, end_s])
    step = np.concatenate([np.ones(len(row), np.int64), -np.ones(len(row), np.int64)])
    order = np.lexsort((time_s, rows))
    rows, time_s, step = rows[order], time_s[order], step[order]
    short = np.cumsum(step) > spare[rows]
    held = np.nonzero(short[:-1])[0] if len(short) else np.zeros(0, np.int64)
    return merged(rows[held], time_s[held], time_s[held + 1], n_rows=len(spare))


def _column(n_sites: int, supplies: list[tuple[int, PowerSupply]], name: str) -> Floats:
    column = np.zeros(n_sites)
    for i, supply in supplies:
        column[i] = getattr(supply, name)
    return column
