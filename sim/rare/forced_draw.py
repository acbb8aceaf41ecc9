"""One draw of a failure or strike put in by hand: a history with it and without, and its weight."""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from hopyears.models.basics.intervals import Intervals, empty_intervals, followed
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.models.equipment.plant import Plant
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.equipment.put_in import PutIn
from hopyears.sim.equipment.weather import Weather
from hopyears.sim.rare import earlier
from hopyears.sim.rare.earlier import Earlier
from hopyears.sim.rare.forced import ByHand
from hopyears.sim.rare.strikes import strike_in
from hopyears.sim.streams import Streams

FORCED_YEARS = 3
"""Years of a history into which a failure is put, in the second of them."""

_FORCED_STREAMS = 1 << 20
"""Number of the streams of the first forced draw; those of histories come before."""


class PutInHistory(NamedTuple):
    """A history without what is put in and with it, and how often a year what it adds counts."""

    weight: float
    without: FailureLog
    with_it: FailureLog


@dataclass(frozen=True)
class ForcedDraw:
    """What one draw puts in, and where.

    Attributes
    ----------
    simulator : BlockSimulator
    per_year : float
        Weight of what is added [1/year], but for that of what failed earlier.
    ways : tuple of Earlier
    time_s : float
        When the failure comes [s].
    streams : Streams
        Of the history.
    weather : Weather or None
        Of its years.
    put_in : (PutIn, PutIn)
        Without the failure and with it.
    """

    simulator: BlockSimulator
    per_year: float
    ways: tuple[Earlier, ...]
    time_s: float
    streams: Streams
    weather: Weather | None
    put_in: tuple[PutIn, PutIn]

    @classmethod
    def of(
        cls,
        simulator: BlockSimulator,
        hand: ByHand,
        place: int,
        streams: Streams,
        draw: int,
        weather: Weather | None,
    ) -> "ForcedDraw":
        """Draw number ``draw`` of a block, which puts in what stands at a place of ``hand.events``.

        Parameters
        ----------
        simulator : BlockSimulator
        hand : ByHand
        place : int
        streams : Streams
            Of the block; the draw has its own.
        draw : int
        weather : Weather or None
            ``weather_of_draw``.
        """
        random, plant = streams.generator("forced", draw), simulator.prepared.built.plant
        event, per_year = int(hand.events[place]), float(hand.weight_per_year[place])
        time_s = (1.0 + float(random.random())) * SECONDS_PER_YEAR
        fails: dict[int, tuple[float, ...]] = {event: (time_s,)}
        struck: dict[int, tuple[float, ...]] = {}
        if event >= hand.n_parts:
            assert weather is not None  # no strike without storms
            span_s, site = (SECONDS_PER_YEAR, 2.0 * SECONDS_PER_YEAR), event - hand.n_parts
            time_s, struck, expected = strike_in(plant, site, weather.storms, span_s, random)
            fails, per_year = {}, expected / float(hand.chance[place])
        ways = hand.earlier[place]
        way = earlier.chosen(ways, random)
        before = {} if way is None else way.drawn(random, time_s)
        both = {part: (*before.get(part, ()), *fails.get(part, ())) for part in before | fails}
        held = kept_back(plant, hand, time_s)
        put_in = (replace(held, times_s=before), replace(held, times_s=both, struck_s=struck))
        own = streams.beside(_FORCED_STREAMS + draw)
        return cls(simulator, per_year, ways, time_s, own, weather, put_in)

    def logs(self, plant: Plant) -> tuple[FailureLog, FailureLog]:
        """Failures without what is put in and with it, of the network's plant or one of which parts never
        fail: these do not fail by hand either.
        """
        never = plant.never_fails
        exposed = set(plant.outdoor_parts.tolist()) if plant.lightning is not None else set()
        one, other = self.simulator.failures_each(
            plant,
            self.streams,
            FORCED_YEARS * SECONDS_PER_YEAR,
            self.weather,
            warm_up_s=0.0,
            put_in=[
                replace(
                    put_in,
                    times_s={part: times for part, times in put_in.times_s.items() if not never[part]},
                    struck_s={part: times for part, times in put_in.struck_s.items() if part in exposed},
                )
                for put_in in self.put_in
            ],
        )
        return one, other

    def history(self) -> PutInHistory:
        """Failures of the network's plant, and their weight."""
        plant = self.simulator.prepared.built.plant
        without, with_it = self.logs(plant)
        return PutInHistory(self.weight(plant, without), without, with_it)

    def weight(self, plant: Plant, without: FailureLog) -> float:
        """What the draw adds counts so many times a year, with the history of such a plant without it."""
        return self.per_year * earlier.weight(self.ways, without, self.time_s, plant.never_fails)


def kept_back(plant: Plant, hand: ByHand, only_before_s: float) -> PutIn:
    """What is put in by hand comes by itself only before some time."""
    struck = np.isin(plant.part_site, hand.struck_sites)
    return PutIn(rare=hand.held, rarely_struck=struck, only_before_s=only_before_s)


def weather_of_draw(weather: Weather, draw: int) -> Weather:
    """Weather of a history for a draw: years of the block, which begin with each of them by turns.

    Parameters
    ----------
    weather : Weather
        Of the block, whole years.
    draw : int
    """
    found, n_years = empty_intervals(weather.storms.n_rows), round(weather.span_s[1] / SECONDS_PER_YEAR)
    for place in range(FORCED_YEARS):
        year = (draw + place) % n_years
        shift_s = (place - year) * SECONDS_PER_YEAR
        part = weather.storms.clipped(year * SECONDS_PER_YEAR, (year + 1) * SECONDS_PER_YEAR)
        found = followed(found, Intervals(part.offset, part.start_s + shift_s, part.end_s + shift_s))
    return Weather.of(found, FORCED_YEARS * SECONDS_PER_YEAR, 0.0)
