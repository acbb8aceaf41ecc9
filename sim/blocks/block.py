"""One block of years, from random draws to what every hop and service got: the whole physics in one call."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.calendar import month_edges_s
from hopyears.models.basics.intervals import Intervals
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.equipment.plant import Plant
from hopyears.models.judging.cause import Cause
from hopyears.sim.blocks.felt import felt_modulations
from hopyears.sim.blocks.part_history import part_history
from hopyears.sim.blocks.prepared import Prepared, storm_reach
from hopyears.sim.counting.fading_tally import FADING, PLAIN, fading_rows
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.equipment.failures import failures_each
from hopyears.sim.equipment.put_in import NOTHING_PUT_IN, PutIn
from hopyears.sim.equipment.segments import Cutter, LinkStates, equipment_segments, nominal_segments
from hopyears.sim.equipment.weather import Weather
from hopyears.sim.hops.hop import EquipmentSegments, FadeFree, hop_history
from hopyears.sim.hops.hop_design import HopDesign
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.hops.hop_thresholds import HopThresholds, fade_duration_s
from hopyears.sim.multipath.fades import FadeEvents, draw_fades
from hopyears.sim.multipath.nights import HopActivity, draw_activity, wet_hours
from hopyears.sim.multipath.still_air import LEAST_RAIN_MM_H, RAIN_NEAR_KM
from hopyears.sim.rain.rain_kernel import HopLine, RainKnots, rain_knots
from hopyears.sim.rain.storm_intervals import storm_intervals
from hopyears.sim.rain.storms import RainField, draw_storms
from hopyears.sim.services.service import Sweeper, sweep_services
from hopyears.sim.services.service_data import ServiceDemand, ServiceHistory
from hopyears.sim.services.service_frame import Frame, frame_of, frame_of_outages
from hopyears.sim.services.service_run import Outages
from hopyears.sim.streams import Streams

WetHours = tuple[NDArray[np.uint8] | None, ...]


@dataclass(frozen=True)
class BlockHistory:
    """Everything that happened in one block, before it is counted.

    Attributes
    ----------
    duration_s : float
    weather : Weather or None
        When a storm is near each site.
    wet : tuple of uint8 array or None
        Hours of each hop's nights with rain near (``nights.wet_hours``).
    log : FailureLog or None
    hops : tuple of HopHistory
    services : tuple of ServiceHistory
    fading : KeyedTable
        Rows of ``fading_tally.FADING`` of every hop.
    rained : tuple of HopHistory
        What its rain alone makes of every hop; none without rain or replications.
    """

    duration_s: float
    weather: Weather | None
    wet: WetHours
    log: FailureLog | None
    hops: tuple[HopHistory, ...]
    services: tuple[ServiceHistory, ...]
    fading: KeyedTable
    rained: tuple[HopHistory, ...]


@dataclass(frozen=True)
class BlockDraws:
    """What chance decides in one block, before hops and services are judged.

    Attributes
    ----------
    streams : Streams
        Of the block; asking for the same draws again gives the same.
    n_years : int
    field : RainField or None
        The storms and their cells.
    weather : Weather or None
        When a storm is near each site.
    wet : tuple of uint8 array or None
        Hours of each hop's nights with rain near (``nights.wet_hours``).
    log : FailureLog or None
    segments : tuple of EquipmentSegments
        Equipment of each hop.
    activity : tuple of HopActivity or None
        Multipath activity of each hop.
    fades : tuple of FadeEvents or None
        Fades of each hop that reach its highest threshold.
    """

    streams: Streams
    n_years: int
    field: RainField | None
    weather: Weather | None
    wet: WetHours
    log: FailureLog | None
    segments: tuple[EquipmentSegments, ...]
    activity: tuple[HopActivity | None, ...]
    fades: tuple[FadeEvents | None, ...]

    @property
    def duration_s(self) -> float:
        """Length of the block [s]."""
        return self.n_years * SECONDS_PER_YEAR


class BlockSimulator:
    """Simulates blocks of one prepared network; keeps what repeats between blocks (thresholds, states).

    Nothing random is kept: any block can be made alone, in any order, with the same result.
    """

    def __init__(self, prepared: Prepared) -> None:
        self.prepared = prepared
        self.thresholds = [
            HopThresholds(design, anchor, nights)
            for design, anchor, nights in zip(
                prepared.designs, prepared.anchors, prepared.nights, strict=True
            )
        ]
        self.plain = [HopThresholds(each.design, each.anchor, each.nights, PLAIN) for each in self.thresholds]
        capacity = [design.steps.capacity_mbit_s for design in prepared.designs]
        felt = felt_modulations(prepared.demands, prepared.links, capacity)
        self.felt = [
            HopThresholds(each.design.felt_as(number), each.anchor, each.nights)
            for each, number in zip(self.thresholds, felt, strict=True)
        ]
        self.states = [LinkStates(design) for design in prepared.designs]
        self.fade_free = [FadeFree(each) for each in self.thresholds]
        self._sweeper: Sweeper | None = None
        self._site_row = {site.id: row for row, site in enumerate(prepared.network.sites)}

    def __reduce__(self) -> tuple[type["BlockSimulator"], tuple[Prepared]]:
        """Another process makes its own of the same network: it keeps nothing but what repeats."""
        return BlockSimulator, (self.prepared,)

    def simulate(self, seed: int, block: int, n_years: int) -> BlockHistory:
        """History of one block.

        Parameters
        ----------
        seed, block : int
            At least 0; together they name every draw.
        n_years : int
            At least 1.
        """
        draws = self.draw(seed, block, n_years)
        judged = [self.hop(draws, index) for index in range(len(draws.segments))]
        # Judged, storms, nights and fades are let go before services are swept.
        hops, draws = [each for each, _, _ in judged], replace(draws, field=None, activity=(), fades=())
        services = self.services(hops, draws.log, draws.duration_s, by_month=True)
        return BlockHistory(
            duration_s=draws.duration_s,
            weather=draws.weather,
            wet=draws.wet,
            log=draws.log,
            hops=tuple(hops),
            services=services,
            fading=KeyedTable.joined(FADING, [rows for _, rows, _ in judged]),
            rained=tuple(alone for _, _, alone in judged if alone is not None),
        )

    def hop(self, draws: BlockDraws, index: int) -> tuple[HopHistory, KeyedTable, HopHistory | None]:
        """History of a hop, its rows of ``FADING``, and what its rain alone makes of it (where asked for)."""
        level_db = self.thresholds[index].lowest_rain_db(draws.segments[index].states)
        rain, fades = self.rain(draws, index, level_db), draws.fades[index]
        history = hop_history(self.thresholds[index], draws.segments[index], rain, fades, draws.duration_s)
        deep = self._deep(draws, index, rain, level_db)
        alone = None
        if draws.field is not None and self.prepared.options.replications:
            alone = self._rained(draws.field, index, draws.duration_s, rain, level_db)
        return history, fading_rows(index, self.plain[index], *deep, draws.n_years), alone

    def bent(self, draws: BlockDraws, index: int) -> HopHistory:
        """History of a hop on which no rain falls, by the equipment and multipath activity of the draws, as
        services feel it (``blocks.felt``)."""
        segments, fades = draws.segments[index], self.fades(draws, index, *self._tops(draws, index))
        if fades is None:
            return self.fade_free[index].history(segments)
        return hop_history(self.felt[index], segments, None, fades, draws.duration_s)

    def rained(
        self, streams: Streams, n_years: int, among: Collection[int] | None = None
    ) -> tuple[HopHistory, ...]:
        """Histories of all hops, or of ``among`` some, on which storms of these streams rain and nothing else
        goes wrong, as services feel it."""
        wanted = [i for i in range(len(self.states)) if among is None or i in among]
        if not wanted:
            return ()
        field, duration_s = self.storms(streams, n_years), n_years * SECONDS_PER_YEAR
        return tuple(self._rained(field, index, duration_s) for index in wanted)

    def _rained(
        self,
        field: RainField,
        index: int,
        duration_s: float,
        knots: RainKnots | None = None,
        level_db: float = np.inf,
    ) -> HopHistory:
        """History of a hop on which only rain falls; its course above a level may be at hand."""
        thresholds, segments = self.felt[index], nominal_segments(self.states[index])
        lowest_db = thresholds.lowest_rain_db(segments.states)
        if knots is None or level_db > lowest_db:
            knots = rain_knots(field, hop_line(thresholds.design), lowest_threshold_db=lowest_db)
        return hop_history(thresholds, segments, knots, None, duration_s)

    def draw(self, seed: int, block: int, n_years: int) -> BlockDraws:
        """What chance decides in one block: storms, failures, fades. Parameters as for ``simulate``."""
        prepared, options = self.prepared, self.prepared.options
        streams = Streams(seed, block)
        duration_s = n_years * SECONDS_PER_YEAR
        field = self.storms(streams, n_years) if options.rain else None
        weather = None if field is None else self.storms_near_sites(field, n_years)
        log = None
        if options.failures:
            log = self.failures(prepared.built.plant, streams, duration_s, weather)
        wet = self.wet_hours(field, n_years)
        draws = BlockDraws(
            streams=streams,
            n_years=n_years,
            field=field,
            weather=weather,
            wet=wet,
            log=log,
            segments=self.all_segments(log),
            activity=self.activity(streams, n_years, wet),
            fades=(),
        )
        return self.with_fades(draws)

    def with_fades(self, draws: BlockDraws) -> BlockDraws:
        """The same with the fades of every hop that its equipment and multipath activity make."""
        fades = tuple(
            self.fades(draws, index, *self._tops(draws, index)) for index in range(len(draws.segments))
        )
        return replace(draws, fades=fades)

    def rain(self, draws: BlockDraws, index: int, lowest_db: float | None = None) -> RainKnots | None:
        """Rain attenuation of a hop where it passes a raw threshold [dB]; None where rain is left out.

        The threshold is the lowest of interest in the hop's equipment states unless stated.
        """
        if draws.field is None:
            return None
        design = self.prepared.designs[index]
        if lowest_db is None:
            lowest_db = self.thresholds[index].lowest_rain_db(draws.segments[index].states)
        return rain_knots(draws.field, hop_line(design), lowest_threshold_db=lowest_db)

    def fades(
        self, draws: BlockDraws, index: int, flat_top: float, dispersive_top: float
    ) -> FadeEvents | None:
        """Fades of a hop that reach the tops (raw relative power); None where it has no multipath."""
        active, lines = draws.activity[index], self.prepared.line_sets[index]
        if active is None or lines is None:
            return None
        design = self.prepared.designs[index]
        return draw_fades(
            draws.streams,
            design.hop.id,
            active,
            lines,
            duration_s=fade_duration_s(design),
            flat_top=flat_top,
            dispersive_top=dispersive_top,
        )

    def _tops(self, draws: BlockDraws, index: int) -> tuple[float, float]:
        """What fades of a hop must reach: its highest thresholds in the block, beside it those that services
        feel, as histories of multipath have streams of their own."""
        reached = self.felt if draws.streams.are_beside else self.thresholds
        return reached[index].highest_power(draws.segments[index].states)

    def fades_reaching(
        self, draws: BlockDraws, index: int, flat_top: float, dispersive_top: float
    ) -> FadeEvents | None:
        """Fades of a hop that reach these tops or its own: those of the block where they do."""
        own = self.thresholds[index].highest_power(draws.segments[index].states)
        flat, dispersive = max(own[0], flat_top), max(own[1], dispersive_top)
        if (flat, dispersive) == own:
            return draws.fades[index]
        return self.fades(draws, index, flat, dispersive)

    def _deep(
        self, draws: BlockDraws, index: int, rain: RainKnots | None, level_db: float
    ) -> tuple[RainKnots | None, FadeEvents | None]:
        """Rain (known above a level) and fades of a hop to where plain thresholds end: a guard may keep a
        modulation from use."""
        plain = self.plain[index].nominal
        if plain.lowest_rain_db < level_db:
            rain = self.rain(draws, index, plain.lowest_rain_db)
        return rain, self.fades_reaching(draws, index, *plain.highest_power)

    def failures(
        self,
        plant: Plant,
        streams: Streams,
        duration_s: float,
        storms: Intervals | Weather | None,
        *,
        warm_up_s: float = SECONDS_PER_YEAR,
        put_in: PutIn = NOTHING_PUT_IN,
    ) -> FailureLog:
        """Failures of a plant, the network's own or one changed for a study; parameters as there."""
        (log,) = self.failures_each(plant, streams, duration_s, storms, warm_up_s=warm_up_s, put_in=[put_in])
        return log

    def failures_each(
        self,
        plant: Plant,
        streams: Streams,
        duration_s: float,
        storms: Intervals | Weather | None,
        *,
        warm_up_s: float,
        put_in: Sequence[PutIn],
    ) -> list[FailureLog]:
        """The same with each of several things put in by hand."""
        free = not self.prepared.options.queues
        return failures_each(
            plant, streams, duration_s, storms=storms, warm_up_s=warm_up_s, unlimited=free, put_in=put_in
        )

    def all_segments(self, log: FailureLog | None) -> tuple[EquipmentSegments, ...]:
        """Equipment of every hop over a block in which these failures happen."""
        if log is None:
            return tuple(map(nominal_segments, self.states))
        return self.cutter.segments(log)

    @cached_property
    def cutter(self) -> Cutter:
        """Cuts the time of all hops into segments."""
        return Cutter(self.prepared.built.hops, self.states)

    def segments(self, index: int, log: FailureLog | None) -> EquipmentSegments:
        """Equipment of a hop over a block in which these failures happen."""
        states = self.states[index]
        if log is None:
            return nominal_segments(states)
        return equipment_segments(self.prepared.built.hops[index], states, log)

    def links(self, hops: Sequence[HopHistory], log: FailureLog | None) -> list[HopHistory]:
        """Histories of all links that the services' routes are made of: hops, then line cards."""
        cards = [part_history(part, log, int(Cause.LINE_CARD)) for part in self.prepared.line_cards]
        return [*hops, *cards]

    def services(
        self,
        hops: Sequence[HopHistory],
        log: FailureLog | None,
        duration_s: float,
        *,
        record_rates: bool = False,
        by_month: bool = False,
        only: Sequence[int] | None = None,
        full_demand: bool = False,
    ) -> tuple[ServiceHistory, ...]:
        """Histories of the services, or of ``only`` some, on these histories of the hops and failures.

        Services left out must share no link that may ever be short with those wanted. ``by_month`` asks for
        their spans by calendar month; the length is then whole years. ``full_demand`` has them ask for all of
        their rates whatever the hour.
        """
        links = self.links(hops, log)
        demands = self._at_full_demand if full_demand else self.prepared.demands
        frame = self._frame if only is None and demands == self.prepared.demands else None
        return tuple(
            sweep_services(
                links,
                demands if only is None else [demands[i] for i in only],
                duration_s,
                links=self.prepared.links,
                record_rates=record_rates,
                span_edges_s=month_edges_s(round(duration_s / SECONDS_PER_YEAR)) if by_month else (),
                frame=frame,
            )
        )

    def outages_each(
        self,
        hops: Sequence[Sequence[HopHistory]],
        logs: Sequence[FailureLog | None],
        duration_s: float,
        *,
        by_month: bool = False,
    ) -> Iterator[Outages]:
        """What takes services down on each of several histories of the hops, with their failures.

        A hop's states have the same numbers in all histories. ``by_month`` is as for ``services``.
        """
        links = [self.links(*each) for each in zip(hops, logs, strict=True)]
        edges_s = month_edges_s(round(duration_s / SECONDS_PER_YEAR)) if by_month else ()
        sweeper = Sweeper(links[0], self._outage_frame, duration_s, span_edges_s=edges_s, after=self._sweeper)
        self._sweeper = sweeper
        return map(sweeper.outages, links)

    def outages_at_full_demand(self, hops: Sequence[HopHistory], log: FailureLog) -> Outages:
        """What takes services down on these hops, if they ask for all of their rates at any hour."""
        links = self.links(hops, log)
        frame = frame_of_outages(self._at_full_demand, self.prepared.links, len(links))
        return Sweeper(links, frame, log.duration_s).outages(links)

    @property
    def _at_full_demand(self) -> tuple[ServiceDemand, ...]:
        demands = self.prepared.demands
        return tuple(each if each.clock is None else replace(each, clock=None) for each in demands)

    @cached_property
    def _frame(self) -> Frame:
        return frame_of(self.prepared.demands, self.prepared.links, self._n_link_hops)

    @cached_property
    def _outage_frame(self) -> Frame:
        return frame_of_outages(self.prepared.demands, self.prepared.links, self._n_link_hops)

    @property
    def _n_link_hops(self) -> int:
        """Hops and line cards, as of ``links``."""
        return len(self.prepared.designs) + len(self.prepared.line_cards)

    def storms(self, streams: Streams, n_years: int) -> RainField:
        """Storms of a block and their cells."""
        prepared = self.prepared
        return draw_storms(
            streams, prepared.weather, prepared.region, n_years=n_years, storms=prepared.storms
        )

    def storms_near_sites(self, field: RainField, n_years: int) -> Weather:
        """When a storm is near each site, as failures meet it."""
        near = storm_intervals(field, self.prepared.site_km, **storm_reach(self.prepared.network))
        return Weather.of(near, n_years * SECONDS_PER_YEAR, SECONDS_PER_YEAR)

    def activity(
        self, streams: Streams, n_years: int, wet: WetHours, among: Collection[int] | None = None
    ) -> tuple[HopActivity | None, ...]:
        """When each hop, or each ``among`` some, may fade: not in hours with rain near."""
        prepared = self.prepared
        faded = [(i, nights) for i, nights in enumerate(prepared.nights) if nights is not None]
        wanted = [place for place, (i, _) in enumerate(faded) if among is None or i in among]
        hops, laws = [faded[place][0] for place in wanted], [faded[place][1] for place in wanted]
        hours = [wet[i] for i in hops]
        drawn = draw_activity(streams, prepared.night_places.some(wanted), laws, n_years, hours)
        known = dict(zip(hops, drawn, strict=True))
        return tuple(known.get(i) for i in range(len(prepared.designs)))

    def wet_hours(
        self, field: RainField | None, n_years: int, among: Collection[int] | None = None
    ) -> WetHours:
        """Hours of the nights of each hop, or each ``among`` some, with any rain near an end.

        None where it has no multipath, or no rain falls.
        """
        nights = self.prepared.nights
        hops = {i for i, law in enumerate(nights) if law is not None and (among is None or i in among)}
        if field is None or not hops:
            return (None,) * len(nights)
        near, designs = self.rain_near_sites(field), self.prepared.designs
        return tuple(
            wet_hours([near.of(self._site_row[site]) for site in (hop.site_a, hop.site_b)], law, n_years)
            if law is not None and i in hops
            else None
            for i, (law, hop) in enumerate(zip(nights, (each.hop for each in designs), strict=True))
        )

    def rain_near_sites(self, field: RainField) -> Intervals:
        """When any rain is near each site."""
        reach = {"distance_km": RAIN_NEAR_KM, "least_peak_mm_h": LEAST_RAIN_MM_H}
        return storm_intervals(field, self.prepared.site_km, **reach)


def hop_line(design: HopDesign) -> HopLine:
    """A hop as the rain field sees it."""
    return HopLine(
        design.path.x_km[0],
        design.path.y_km[0],
        design.path.x_km[1],
        design.path.y_km[1],
        design.rain.k,
        design.rain.alpha,
    )
