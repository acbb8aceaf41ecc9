"""One block of years, from random draws to what every hop and service got: the whole physics in one call."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from models.cause import Cause
from models.intervals import intervals_of_rows
from models.units import SECONDS_PER_YEAR
from sim.equipment import LinkStates, equipment_segments, nominal_segments
from sim.fades import FadeEvents, draw_fades
from sim.fading_tally import FADING, PLAIN, fading_rows
from sim.failure_log import FailureLog
from sim.failures import simulate_failures
from sim.hop import EquipmentSegments, HopTimeline, hop_timeline
from sim.hop_thresholds import HopThresholds, fade_duration_s
from sim.keyed_table import KeyedTable
from sim.nights import draw_activity
from sim.part_history import part_history
from sim.prepared import STORM_DISTANCE_KM, Prepared
from sim.rain_kernel import HopLine, RainKnots, rain_knots
from sim.service import sweep_services
from sim.service_data import HopHistory, ServiceHistory
from sim.storms import RainField, draw_storms, storm_intervals
from sim.streams import Streams


@dataclass(frozen=True)
class BlockHistory:
    """Everything that happened in one block, before it is counted.

    Attributes
    ----------
    duration_s : float
    field : RainField or None
        The storms and their cells.
    log : FailureLog or None
    hops : tuple of HopTimeline
    services : tuple of ServiceHistory
    fading : KeyedTable
        Rows of ``fading_tally.FADING`` of every hop.
    """

    duration_s: float
    field: RainField | None
    log: FailureLog | None
    hops: tuple[HopTimeline, ...]
    services: tuple[ServiceHistory, ...]
    fading: KeyedTable


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
        self.states = [LinkStates(design) for design in prepared.designs]

    def simulate(self, seed: int, block: int, n_years: int) -> BlockHistory:
        """History of one block.

        Parameters
        ----------
        seed, block : int
            At least 0; together they name every draw.
        n_years : int
            At least 1.
        """
        streams = Streams(seed, block)
        duration_s = n_years * SECONDS_PER_YEAR
        options = self.prepared.options
        field = self._storms(streams, n_years) if options.rain else None
        log = self._failures(streams, duration_s, field) if options.failures else None
        segments = [self._segments(index, log) for index in range(len(self.prepared.designs))]
        fades = self._fades(streams, n_years, segments)
        hops, fading = [], KeyedTable.empty(FADING)
        for index, segment in enumerate(segments):
            rain = None if field is None else self._rain(index, field, segment)
            hops.append(hop_timeline(self.thresholds[index], segment, rain, fades[index], duration_s))
            fading = fading + fading_rows(index, self.plain[index], rain, fades[index], n_years)
        histories = [hop_history(hop) for hop in hops]
        histories += [part_history(part, log, int(Cause.LINE_CARD)) for part in self.prepared.line_cards]
        services = tuple(sweep_services(histories, self.prepared.demands, duration_s))
        return BlockHistory(duration_s, field, log, tuple(hops), services, fading)

    def _storms(self, streams: Streams, n_years: int) -> RainField:
        prepared = self.prepared
        return draw_storms(
            streams, prepared.rain_law, prepared.region, n_years=n_years, storms=prepared.storms
        )

    def _failures(self, streams: Streams, duration_s: float, field: RainField | None) -> FailureLog:
        storms = None
        if field is not None:
            near = [
                storm_intervals(field, x_km, y_km, distance_km=STORM_DISTANCE_KM)
                for x_km, y_km in self.prepared.site_km
            ]
            storms = intervals_of_rows([[(float(a), float(b)) for a, b in row] for row in near])
        return simulate_failures(
            self.prepared.built.plant,
            streams,
            duration_s,
            storms=storms,
            unlimited=not self.prepared.options.queues,
        )

    def _fades(
        self, streams: Streams, n_years: int, segments: Sequence[EquipmentSegments]
    ) -> list[FadeEvents | None]:
        prepared = self.prepared
        faded = [i for i, nights in enumerate(prepared.nights) if nights is not None]
        result: list[FadeEvents | None] = [None] * len(prepared.designs)
        laws = [nights for nights in prepared.nights if nights is not None]
        activity = draw_activity(streams, prepared.night_region, laws, n_years)
        for i, active in zip(faded, activity, strict=True):
            lines = prepared.line_sets[i]
            assert lines is not None  # a hop with nights has lines
            flat_top, dispersive_top = self.thresholds[i].highest_power(segments[i].states)
            result[i] = draw_fades(
                streams,
                prepared.designs[i].hop.id,
                active,
                lines,
                duration_s=fade_duration_s(prepared.designs[i]),
                flat_top=flat_top,
                dispersive_top=dispersive_top,
            )
        return result

    def _segments(self, index: int, log: FailureLog | None) -> EquipmentSegments:
        states = self.states[index]
        if log is None:
            return nominal_segments(states)
        return equipment_segments(self.prepared.built.hops[index], states, log)

    def _rain(self, index: int, field: RainField, segments: EquipmentSegments) -> RainKnots:
        design = self.prepared.designs[index]
        line = HopLine(design.x_km[0], design.y_km[0], design.x_km[1], design.y_km[1], design.k, design.alpha)
        lowest_db = self.thresholds[index].lowest_rain_db(segments.states)
        return rain_knots(field, line, lowest_threshold_db=lowest_db)


def hop_history(hop: HopTimeline) -> HopHistory:
    """What the services need of a hop's timeline."""
    return HopHistory(
        hop.time_s,
        hop.state,
        np.ascontiguousarray(hop.capacity_mbit_s[:, 0]),
        np.ascontiguousarray(hop.capacity_mbit_s[:, 1]),
        hop.causes,
    )
