"""Failures of one block: every part, crew, spare and power supply on one SimPy clock."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import simpy

from hopyears.models.air.storm_rate import event_times_s
from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.intervals import Intervals, empty_intervals, joined
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.equipment.lifetimes import residual_quantiles_h
from hopyears.models.equipment.part_kind import Repair
from hopyears.models.equipment.plant import Plant
from hopyears.models.equipment.working_time import HOUR_S
from hopyears.sim.equipment.changeover import Changeover
from hopyears.sim.equipment.channel_switch import switch_changes
from hopyears.sim.equipment.dispatch import Dispatcher, Episode
from hopyears.sim.equipment.draws import Draws, Purpose
from hopyears.sim.equipment.failure_log import (
    FailureLog,
    SiteOutages,
    TransmitterChanges,
    failures_of,
    offsets,
)
from hopyears.sim.equipment.planned import Appointments, Planner, appointments, planned_outages, visits_of
from hopyears.sim.equipment.power import (
    all_events,
    dark_sites,
    dark_solar_sites,
    lost_with_more_than,
    mains_outages,
)
from hopyears.sim.equipment.put_in import NOTHING_PUT_IN, PutIn
from hopyears.sim.equipment.repair import Workshop, begin, part_life
from hopyears.sim.equipment.stores import Stores
from hopyears.sim.equipment.weather import Weather
from hopyears.sim.streams import Streams


def simulate_failures(
    plant: Plant,
    streams: Streams,
    duration_s: float,
    *,
    storms: Intervals | Weather | None = None,
    warm_up_s: float = SECONDS_PER_YEAR,
    unlimited: bool = False,
    put_in: PutIn = NOTHING_PUT_IN,
) -> FailureLog:
    """Everything that fails in one block, and how it is mended.

    Parameters
    ----------
    plant : Plant
        Sites, parts, groups, crews and depots.
    streams : Streams
        Streams of the block.
    duration_s : float
        Length of the block [s], above 0; whole years keep the seasons of the warm-up right.
    storms : Intervals, Weather or None
        Storms over each site within the block [s], one row a site, or the weather made of them; None for fair
        weather throughout.
    warm_up_s : float
        Time simulated before the block and thrown away [s], 0 to ``duration_s``.
    unlimited : bool
        Nobody waits for crews or spares; all draws stay the same.
    put_in : PutIn
        Failures and strikes put in by hand, and parts that fail by themselves only before some time.

    Raises
    ------
    ValueError
        If the storms do not have one row a site, or a part needs a visit and there is no crew.

    Notes
    -----
    Start: each part begins the warm-up working, with the remaining life of a part met at a random moment
    (stationary for any life law; exponential lives have no memory). Batteries are full and stocks
    complete then. The warm-up brings queues, orders, latent failures and broken parts to their long-run
    state; its weather is that of the block's end, moved before its beginning.
    A part's failures do not depend on power or on other parts, save for lightning. Planned work that needs
    a visit takes a crew (``sim.equipment.planned``); in a plant without crews it keeps to its dates.
    """
    (log,) = failures_each(
        plant, streams, duration_s, storms=storms, warm_up_s=warm_up_s, unlimited=unlimited, put_in=[put_in]
    )
    return log


def failures_each(
    plant: Plant,
    streams: Streams,
    duration_s: float,
    *,
    storms: Intervals | Weather | None = None,
    warm_up_s: float = SECONDS_PER_YEAR,
    unlimited: bool = False,
    put_in: Sequence[PutIn],
) -> list[FailureLog]:
    """The same block with each of several things put in; parameters as of ``simulate_failures``."""
    _check(plant, storms, duration_s, warm_up_s)
    weather = storms or empty_intervals(len(plant.sites))
    if isinstance(weather, Intervals):
        weather = Weather.of(weather, duration_s, warm_up_s)
    draws = _AllDraws.of(plant, streams)
    outside = _outside(plant, draws, weather)
    return [_log(plant, draws, weather, outside, duration_s, unlimited, each) for each in put_in]


@dataclass(frozen=True)
class _AllDraws:
    """Draws of everything that a block has, by kind of thing."""

    sites: Draws
    parts: Draws
    groups: Draws
    switches: Draws

    @classmethod
    def of(cls, plant: Plant, streams: Streams) -> "_AllDraws":
        """Of one block."""
        return cls(
            Draws(streams, [("site", site.id) for site in plant.sites]),
            Draws(streams, plant.part_names),
            Draws(streams, [("group", group.id) for group in plant.groups]),
            Draws(streams, [("group", switch.id) for switch in plant.switches]),
        )


@dataclass(frozen=True)
class _Outside:
    """What befalls a plant whatever is put into it by hand: power, lightning, dates of planned work."""

    mains: Intervals
    generator: Intervals
    no_sun: Intervals
    hits: dict[int, list[float]]
    planned: list[Appointments]


def _outside(plant: Plant, draws: _AllDraws, weather: Weather) -> _Outside:
    mains, generator = mains_outages(plant, draws.sites, weather)
    no_sun = dark_solar_sites(plant, draws.sites, weather.span_s)
    hits = _lightning_hits(plant, draws.sites, draws.parts, weather)
    return _Outside(mains, generator, no_sun, hits, appointments(plant, draws.sites, weather.span_s))


def _log(
    plant: Plant,
    draws: _AllDraws,
    weather: Weather,
    outside: _Outside,
    duration_s: float,
    unlimited: bool,
    put_in: PutIn,
) -> FailureLog:
    shop = _workshop(plant, draws, weather, unlimited, put_in)
    shop.hits.update(put_in.hits_s(outside.hits))
    planner = Planner(shop.env, plant, shop.dispatcher, shop.storms, shop.changeovers, shop.visited)
    visited, remote = list[Appointments](), list[Appointments]()
    for plan in outside.planned:
        (visited if plan.work.visit and plant.crews else remote).append(plan)
    planner.begin(visited)
    _run_parts(shop, weather.span_s)
    lost = _rectifiers_lost(plant, shop.episodes, duration_s)
    dark = dark_sites(plant, draws.sites, outside.mains, outside.generator, lost)
    visits = visits_of(planner.rows)
    planned = planned_outages(visits, remote, len(plant.sites))
    failures = failures_of(shop.episodes, len(plant.parts), duration_s)
    sites = (joined(dark, outside.no_sun), outside.mains, planned)
    transmitters = _transmitter_changes(shop.changeovers, len(plant.groups), duration_s)
    shop.close()
    return FailureLog(
        duration_s,
        failures,
        transmitters,
        SiteOutages(*(each.clipped(0.0, duration_s) for each in sites)),
        visits,
        switch_changes(plant, draws.switches, failures, duration_s),
    )


def _check(plant: Plant, storms: Intervals | Weather | None, duration_s: float, warm_up_s: float) -> None:
    if not duration_s > 0.0:
        raise ValueError(f"duration_s is {duration_s}; must be above 0")
    if not 0.0 <= warm_up_s <= duration_s:
        raise ValueError(f"warm_up_s is {warm_up_s}; must be 0 to duration_s ({duration_s})")
    if isinstance(storms, Weather):
        if storms.span_s != (-warm_up_s, duration_s):
            raise ValueError(f"storms span {storms.span_s} s; must span {(-warm_up_s, duration_s)} s")
        storms = storms.storms
    if storms is not None and storms.n_rows != len(plant.sites):
        raise ValueError(f"storms has {storms.n_rows} rows; must be one a site ({len(plant.sites)})")
    visits = any(plant.kinds[part.kind].repair is not Repair.REMOTE for part in plant.parts)
    if visits and not plant.crews:
        raise ValueError("crews is empty; must have at least one base, since some parts need a visit")


def _workshop(plant: Plant, draws: _AllDraws, weather: Weather, unlimited: bool, put_in: PutIn) -> Workshop:
    env = simpy.Environment(initial_time=weather.span_s[0])
    dispatcher = Dispatcher(env, plant, unlimited)
    return Workshop(
        env=env,
        plant=plant,
        draws=draws.parts,
        group_draws=draws.groups,
        dispatcher=dispatcher,
        stores=Stores(env, plant, dispatcher, unlimited),
        horizon_s=weather.span_s[1],
        storms=weather.by_site,
        chains_of=plant.chains_of,
        stops=plant.stops,
        put_in=put_in,
    )


def _run_parts(shop: Workshop, span_s: tuple[float, float]) -> None:
    """Start the lives of those parts that fail at all before the horizon, and run the clock to it."""
    first_s = residual_quantiles_h(*shop.plant.lives, shop.draws.first(Purpose.LIFE)) * HOUR_S + span_s[0]
    first_s = shop.put_in.worn_s(first_s)
    failing = set(np.nonzero(first_s < span_s[1])[0].tolist()) | set(shop.hits) | set(shop.put_in.times_s)
    shop.draws.keep(sorted(failing))
    for part in sorted(failing):
        begin(part_life(shop, part, float(first_s[part])))
    shop.env.run(until=span_s[1])


def _lightning_hits(
    plant: Plant, site_draws: Draws, part_draws: Draws, weather: Weather
) -> dict[int, list[float]]:
    """Times [s] at which lightning kills each part that it hits."""
    lightning = plant.lightning
    if lightning is None or not len(weather.storms.start_s):
        return {}
    n_sites = len(plant.sites)
    expected = lightning.strikes_per_storm_h / HOUR_S * weather.total_s
    first_gap = -np.log(site_draws.first(Purpose.STRIKE))
    # A site that cannot be struck before its storms are over is spared the search through them.
    struck = first_gap <= expected * (1.0 + 1e-6)
    rate = np.where(struck, lightning.strikes_per_storm_h / HOUR_S, 0.0)

    def struck_s(n_events: int) -> tuple[Floats]:
        gaps = -np.log(site_draws.matrix(Purpose.STRIKE, n_events))
        fair = np.zeros(n_sites)
        span_s = weather.span_s
        return (event_times_s(gaps, weather.storms, span_s=span_s, rate_outside=fair, rate_inside=rate),)

    (strike_s,) = all_events(float(np.max(expected)), struck_s)
    exposed = plant.outdoor_parts
    exposed = exposed[np.isfinite(strike_s[plant.part_site[exposed], 0])]
    times = strike_s[plant.part_site[exposed]]
    harm = part_draws.matrix(Purpose.DAMAGE, times.shape[1], exposed) < lightning.damage_chance
    hits: dict[int, list[float]] = {}
    for row, column in zip(*(axis.tolist() for axis in np.nonzero(harm & np.isfinite(times))), strict=True):
        hits.setdefault(int(exposed[row]), []).append(float(times[row, column]))
    return hits


def _rectifiers_lost(plant: Plant, episodes: list[Episode], end_s: float) -> Intervals:
    """When too few rectifier modules work at each site."""
    spare = np.zeros(len(plant.sites), dtype=np.int64)
    supply = plant.supply_parts
    np.add.at(spare, plant.part_site[supply], 1)
    for i, site in enumerate(plant.sites):
        spare[i] -= site.power.rectifiers_needed if site.power else 0
    failed = [each for each in episodes if supply[each.part]]
    row = np.array([each.site for each in failed], dtype=np.int64)
    start = np.array([each.failed_s for each in failed], dtype=np.float64)
    end = np.minimum(np.array([each.mended_s for each in failed], dtype=np.float64), end_s)
    return lost_with_more_than(np.maximum(spare, 0), row, start, end)


def _transmitter_changes(
    changeovers: dict[int, Changeover], n_groups: int, end_s: float
) -> TransmitterChanges:
    """Transmitter changes within the block; what transmits as it begins stands at time 0 if not chain 0."""
    group_of: list[int] = []
    times: list[float] = []
    chains: list[int] = []
    for group in sorted(changeovers):
        before = [chain for time_s, chain in changeovers[group].log if time_s <= 0.0]
        rows = [(0.0, before[-1])] if before and before[-1] != 0 else []
        rows += [(time_s, chain) for time_s, chain in changeovers[group].log if 0.0 < time_s < end_s]
        group_of += [group] * len(rows)
        times += [time_s for time_s, _ in rows]
        chains += [chain for _, chain in rows]
    offset = offsets(np.array(group_of, dtype=np.int64), n_groups)
    return TransmitterChanges(offset, np.array(times, dtype=np.float64), np.array(chains, dtype=np.int64))
