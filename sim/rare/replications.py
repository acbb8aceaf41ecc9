"""Replications: what failures, multipath and rain each take from services alone, from more histories.

Each block asks besides what its services would lose to failures with no fading at all (fade-free): to its
own, to those of more histories in the same storms, and to rare failures put in one at a time
(``sim.rare.forced``); what to multipath with nothing else wrong, and what to rain: to its own, and to that of
more histories.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import chain

import numpy as np
import pyarrow as pa

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.memory import holes_given_back
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.blocks.block import BlockHistory, BlockSimulator
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.rare.alone import without_weather
from hopyears.sim.rare.forced import ByHand
from hopyears.sim.rare.forced_draw import ForcedDraw, PutInHistory, kept_back, weather_of_draw
from hopyears.sim.rare.losses import Losses, losses_each
from hopyears.sim.rare.month_rows import MonthRows
from hopyears.sim.rare.strata import (
    CAUSES,
    FIGURES,
    FORCED,
    HISTORIES,
    HOPS,
    MOMENTS,
    NIGHTS,
    OF_FAILURES,
    OF_NIGHTS,
    OWN,
    OWN_RAIN,
    RAINS,
    REPLICATIONS,
    TOGETHER,
    n_draws,
)
from hopyears.sim.rare.weather_alone import losses_to_multipath, losses_to_rain
from hopyears.sim.streams import Streams

AT_ONCE = 32
"""Histories that are judged together: what one teaches of joint states of the network serves the others."""

HOPS_OF_HISTORIES = 6_400
"""Hops of them that are held at once: on large networks fewer histories are judged together."""


def replication_tables(
    simulator: BlockSimulator, by_hand: Sequence[ByHand], seed: int, block: int, history: BlockHistory
) -> tuple[pa.Table, pa.Table, bytes, pa.Table]:
    """Rows of ``REPLICATIONS``, ``CAUSES``, ``MONTHS`` (as Parquet) and ``HOPS`` of one block; none without
    replications."""
    asked = simulator.prepared.options.replications
    keys, values = [np.zeros((0, 4), dtype=np.int64)], [np.zeros((0, len(REPLICATIONS.sums)))]
    causes, hops = list[KeyedTable](), list[KeyedTable]()
    streams, numbers, months = Streams(seed, block), n_draws(asked, block), MonthRows()
    draws = chain(
        _losses_to_weather(simulator, streams, numbers[2:], history),
        _losses_to_failures(simulator, by_hand, streams, numbers[:2], history),
    )
    for stratum, draw, lost, weight in draws if asked else ():
        entity, way = np.nonzero(lost.figures.any(axis=2))
        one = np.ones_like(entity)
        keys.append(np.column_stack([entity, way, stratum * one, draw * one]))
        values.append(np.column_stack([lost.figures[entity, way], weight * one]))
        of_stratum = np.column_stack([lost.causes.keys, np.full(len(lost.causes.keys), stratum)])
        causes.append(KeyedTable.collect(CAUSES, of_stratum, lost.causes.values))
        months.add(lost.months, stratum, draw, weight)
        hops.append(_hop_rows(lost.hops, stratum))
    holes_given_back()  # histories have left them
    drawn = KeyedTable.collect(REPLICATIONS, np.concatenate(keys), np.concatenate(values))
    by_cause, by_hop = KeyedTable.drained(CAUSES, causes), KeyedTable.drained(HOPS, hops)
    return drawn.to_arrow(), by_cause.to_arrow(), months.stored(), by_hop.to_arrow()


def _hop_rows(hops: Floats, stratum: int) -> KeyedTable:
    """Rows of ``HOPS`` of one draw."""
    hit = np.flatnonzero(hops.any(axis=1))
    found = hops[hit]
    moments = np.stack([found, found**2, found != 0.0], axis=2).reshape(hit.size, len(FIGURES) * len(MOMENTS))
    keys = np.column_stack([hit, np.full(hit.size, stratum)])
    return KeyedTable.collect(HOPS, keys, np.column_stack([moments, np.maximum(found, 0.0)]))


def _losses_to_weather(
    simulator: BlockSimulator, streams: Streams, numbers: tuple[int, int], history: BlockHistory
) -> Iterator[tuple[int, int, Losses, float]]:
    """(stratum, draw, losses a year, weight of what it lost in them) of multipath alone and of rain alone,
    without months."""
    years, options = round(history.duration_s / SECONDS_PER_YEAR), simulator.prepared.options

    def bent(draw: int) -> Losses:
        return losses_to_multipath(simulator, streams.beside(draw), years, history.wet)

    def rained(draw: int) -> Losses:
        hops = simulator.rained(streams.beside(draw), years) if draw else history.rained
        return losses_to_rain(simulator, hops, years)

    nights, rains = numbers
    kinds: list[tuple[bool, Callable[[int], Losses], tuple[int, int], int, int]] = [
        (options.multipath, bent, (OWN, OF_NIGHTS), NIGHTS, nights),
        (options.rain, rained, (OWN_RAIN, 0), RAINS, rains),
    ]
    for wanted, losses, own, stratum, number in kinds:
        holes_given_back()  # histories of the kind before have left them
        for draw in range(1 + number if wanted else 0):
            yield *((stratum, draw - 1) if draw else own), losses(draw).scaled(1.0 / years), 1.0 / years


def _losses_to_failures(
    simulator: BlockSimulator,
    by_hand: Sequence[ByHand],
    streams: Streams,
    numbers: tuple[int, int],
    history: BlockHistory,
) -> Iterator[tuple[int, int, Losses, float]]:
    """(stratum, draw, losses a year, weight of what it lost in them) of every draw, of its services.

    Where some services have draws of their own, months of the first draws come ``TOGETHER`` too, of all.
    """
    if history.log is None:
        return
    plant, weather = simulator.prepared.built.plant, history.weather
    n_hops = len(simulator.states)
    years = history.duration_s / SECONDS_PER_YEAR
    (own,) = fade_free(simulator, [history.log])
    yield OWN, OF_FAILURES, own.scaled(1.0 / years), 1.0 / years
    histories, forced = numbers
    for hand in by_hand:
        never, first = kept_back(plant, hand, -np.inf), hand is by_hand[0]
        together = first and len(by_hand) > 1
        for some in _few(range(histories), n_hops):
            logs = [
                simulator.failures(plant, streams.beside(1 + draw), history.duration_s, weather, put_in=never)
                for draw in some
            ]
            for draw, lost in zip(some, fade_free(simulator, logs), strict=True):
                yearly = lost.scaled(1.0 / years)
                yield HISTORIES, draw, yearly.of(hand.services, hops=first), 1.0 / years
                if together:
                    yield HISTORIES + TOGETHER, draw, yearly.months_alone(), 1.0 / years
        places = hand.drawn(plant, streams, forced).tolist() if hand.events.size else []
        for some in _few(range(len(places)), n_hops):
            drawn = dict[int, PutInHistory]()
            for year in range(round(years)):  # draws that begin alike one after the other, under one weather
                alike = [draw for draw in some if draw % round(years) == year]
                over = weather_of_draw(weather, year) if alike and weather is not None else None
                for draw in alike:
                    one = ForcedDraw.of(simulator, hand, places[draw], streams, draw, over)
                    drawn[draw] = one.history()
            each = zip(some, added_losses(simulator, map(drawn.pop, some)), strict=True)
            for draw, (weight, added) in each:
                yield FORCED, draw, added.scaled(weight).of(hand.services, hops=first), weight
                if together:
                    yield FORCED + TOGETHER, draw, added.months_alone(), weight


def _few(numbers: range, n_hops: int) -> Iterator[range]:
    """Some of the numbers after others, few enough for what is held of each."""
    at_once = min(AT_ONCE, max(HOPS_OF_HISTORIES // n_hops, 1))
    for first in range(0, len(numbers), at_once):
        yield numbers[first : first + at_once]


def fade_free(simulator: BlockSimulator, logs: Sequence[FailureLog]) -> Iterator[Losses]:
    """What is lost had nothing but the failures of each log happened; all are of one length, whole years."""
    hops = without_weather(simulator, logs)
    return losses_each(simulator, hops, logs, logs[0].duration_s, by_month=True)


def added_losses(
    simulator: BlockSimulator, histories: Iterable[PutInHistory]
) -> Iterator[tuple[float, Losses]]:
    """What each failure or strike put in by hand adds to its history: its weight [1/year], and that."""
    weights, *sides = zip(*histories, strict=True)
    lost = fade_free(simulator, list(chain(*zip(*sides, strict=True))))
    for weight in weights:
        without, with_it = next(lost), next(lost)
        yield weight, with_it.less(without)
