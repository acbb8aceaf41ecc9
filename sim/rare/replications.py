"""Replications: what failures take from services, from many more histories than a block has of weather.

Weather is seen well within a block and failures badly. So each block asks besides what its services would
lose to failures with no fading at all (fade-free): to its own, to those of more histories in the same storms,
and to rare failures put in one at a time (``sim.rare.forced``).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.intervals import Intervals, followed
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.blocks.block import BlockHistory, BlockSimulator
from hopyears.sim.counting.keyed_table import Columns, KeyedTable
from hopyears.sim.counting.month_figures import YEAR_FIGURES, month_figures
from hopyears.sim.counting.tally_rows import BOTH, CAUSE, cause_rows, three_ways
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.equipment.put_in import NOTHING_PUT_IN, PutIn
from hopyears.sim.rare.alone import on_equipment_alone
from hopyears.sim.rare.forced import RareParts
from hopyears.sim.services.service_data import BACKWARD, FORWARD
from hopyears.sim.streams import Streams

FIGURES = ("unavailable_s", "severely_errored_s", "outages")
"""Figures of a service that replications are drawn for, a year."""

MONTH_FIGURES = YEAR_FIGURES[:-1]
"""Figures of a service by calendar month: what is undelivered of the peak, weather decides."""

WAYS = (FORWARD, BACKWARD, BOTH)
"""Directions of a service for which there are figures, by their numbers."""

REPLICATIONS = Columns(("entity", "direction", "stratum", "draw"), FIGURES)
"""What failures alone take from a service a year, in one draw of a stratum; nothing lost has no row."""

MONTHS = Columns(("entity", "stratum", "draw", "side", "year", "month"), (*MONTH_FIGURES, "weight"))
"""The same by calendar month, both ways together, not for a year but as it came; months without have no row.
Of a rare failure put in, ``side`` 0 is the history without it and 1 that with it, in years in which they
differ. ``weight`` is what a year counts for in the figure of its draw, a year."""

CAUSES = Columns(("entity", "direction", "causes", "stratum"), CAUSE.sums)
"""The same by exact set of causes, both ways together, summed over the draws of a stratum."""

WITHOUT, WITH = 0, 1
"""Sides of a rare failure put in."""

OWN, HISTORIES, FORCED = 0, 1, 2
"""Strata: the block's own failures; histories of failures without the rare
ones, of a block's length; rare failures, one at a time, each with its weight."""

FORCED_YEARS = 2
"""Years of a history into which a failure is put, in the first of them."""

FIRST_BLOCKS, FIRST_TIMES = 5, 2
"""The first so many blocks have so many times the draws: a short run has few blocks, and needs them most."""

HISTORIES_OF_A_DRAW = 4
"""Histories for each rare failure put in by hand: its weight makes a draw tell so much more."""

_FORCED_STREAMS = 1 << 20
"""Number of the streams of the first forced draw; those of histories come before."""


def n_draws(asked: int, block: int) -> tuple[int, int]:
    """Histories, and failures put in by hand, beside a block, for so many histories asked of later blocks."""
    histories = asked * (FIRST_TIMES if block < FIRST_BLOCKS else 1)
    return histories, -(-histories // HISTORIES_OF_A_DRAW)


@dataclass(frozen=True)
class Losses:
    """What services lose in a history, or in the difference of two.

    Attributes
    ----------
    figures : float array, shape (n_services, n_ways, n_figures)
    causes : KeyedTable
        Of columns ``CAUSE``, both ways together.
    months : float array, shape (n_sides, n_services, n_years, 12, n_month_figures)
        Figures by calendar month, both ways together: of the history, or of both (``WITHOUT``, ``WITH``).
    """

    figures: NDArray[np.float64]
    causes: KeyedTable
    months: NDArray[np.float64]

    def scaled(self, factor: float) -> "Losses":
        """So many times as much, months as they are."""
        return Losses(self.figures * factor, self.causes.scaled(factor), self.months)

    def less(self, other: "Losses") -> "Losses":
        """What these are more than others; months of both, of years in which they differ."""
        months = np.concatenate([other.months, self.months])
        same = (other.months == self.months).all(axis=(0, 1, 3, 4))
        months[:, :, same] = 0.0
        return Losses(self.figures - other.figures, self.causes + other.causes.scaled(-1.0), months)


def replication_tables(
    simulator: BlockSimulator, rare: RareParts, seed: int, block: int, history: BlockHistory
) -> tuple[KeyedTable, KeyedTable, KeyedTable]:
    """Rows of ``REPLICATIONS``, ``CAUSES`` and ``MONTHS`` of one block; none where no failures are drawn."""
    asked = simulator.prepared.options.replications
    if not asked or history.log is None:
        return KeyedTable.empty(REPLICATIONS), KeyedTable.empty(CAUSES), KeyedTable.empty(MONTHS)
    keys, values, causes, months = [], [], [], []
    draws = _losses(simulator, rare, Streams(seed, block), n_draws(asked, block), history)
    for stratum, draw, lost, weight in draws:
        for entity, way in np.argwhere(lost.figures.any(axis=2)).tolist():
            keys.append((entity, way, stratum, draw))
            values.append(lost.figures[entity, way])
        of_stratum = np.column_stack([lost.causes.keys, np.full(len(lost.causes.keys), stratum)])
        causes.append(KeyedTable.collect(CAUSES, of_stratum, lost.causes.values))
        months.append(_month_rows(lost.months, stratum, draw, weight))
    drawn = KeyedTable.collect(
        REPLICATIONS, np.reshape(keys, (-1, 4)), np.reshape(values, (-1, len(FIGURES)))
    )
    return drawn, KeyedTable.joined(CAUSES, causes), KeyedTable.joined(MONTHS, months)


def _month_rows(months: NDArray[np.float64], stratum: int, draw: int, weight: float) -> KeyedTable:
    """Rows of ``MONTHS`` of one draw."""
    side, entity, year, month = (place.astype(np.int64) for place in np.nonzero(months.any(axis=4)))
    one = np.ones_like(entity)
    keys = np.column_stack([entity, stratum * one, draw * one, side, year, month])
    values = np.column_stack([months[side, entity, year, month], np.full(entity.size, weight)])
    return KeyedTable.collect(MONTHS, keys, values)


def _losses(
    simulator: BlockSimulator,
    rare: RareParts,
    streams: Streams,
    numbers: tuple[int, int],
    history: BlockHistory,
) -> Iterator[tuple[int, int, Losses, float]]:
    """(stratum, draw, losses a year, weight of what it lost in them) of every draw."""
    assert history.log is not None  # replication_tables has looked
    plant, near = simulator.prepared.built.plant, history.storms_near
    years = history.duration_s / SECONDS_PER_YEAR
    yield OWN, 0, fade_free(simulator, history.log).scaled(1.0 / years), 1.0 / years
    never = NOTHING_PUT_IN
    if rare.parts.size:
        never = PutIn(rare=rare.mask(len(plant.parts)), only_before_s=-np.inf)
    histories, forced = numbers
    for draw in range(histories):
        log = simulator.failures(plant, streams.beside(1 + draw), history.duration_s, near, put_in=never)
        yield HISTORIES, draw, fade_free(simulator, log).scaled(1.0 / years), 1.0 / years
    if rare.parts.size:
        for draw, chosen in enumerate(rare.drawn(plant, streams, forced).tolist()):
            storms = None if near is None else storms_of_draw(near, draw, round(years))
            added = added_loss(simulator, rare, int(rare.parts[chosen]), streams, draw, storms)
            weight = float(rare.weight_per_year[chosen])
            yield FORCED, draw, added.scaled(weight), weight


def fade_free(simulator: BlockSimulator, log: FailureLog) -> Losses:
    """What services lose had nothing but these failures happened."""
    services, n_years = (
        on_equipment_alone(simulator, log, by_month=True),
        round(log.duration_s / SECONDS_PER_YEAR),
    )
    found = [three_ways(service, log.duration_s) for service in services]
    figures = [
        [[lost.unavailable_s, lost.severely_errored_s, lost.n_outages] for lost in ways] for ways in found
    ]
    rows = [cause_rows(entity, BOTH, ways[BOTH]) for entity, ways in enumerate(found)]
    keys, values = (np.concatenate(part) for part in zip(*rows, strict=True)) if rows else ((), ())
    return Losses(
        np.array(figures, dtype=np.float64).reshape(-1, len(WAYS), len(FIGURES)),
        KeyedTable.collect(CAUSE, keys, values),
        np.array(
            [month_figures(each, ways[BOTH], n_years) for each, ways in zip(services, found, strict=True)]
        )[None, ..., : len(MONTH_FIGURES)],
    )


def added_loss(
    simulator: BlockSimulator,
    rare: RareParts,
    part: int,
    streams: Streams,
    draw: int,
    storms: Intervals | None,
) -> Losses:
    """What one failure of a rare part adds to a history.

    Parameters
    ----------
    simulator : BlockSimulator
    rare : RareParts
    part : int
        Number in the plant.
    streams : Streams
        Of the block; draw number ``draw`` has its own.
    draw : int
    storms : Intervals or None
        Over each site in the years of the history.
    """
    time_s = float(streams.generator("forced", draw).random()) * SECONDS_PER_YEAR
    plant, own = simulator.prepared.built.plant, streams.beside(_FORCED_STREAMS + draw)
    held = rare.mask(len(plant.parts))
    without, with_it = (
        fade_free(
            simulator,
            simulator.failures(
                plant, own, FORCED_YEARS * SECONDS_PER_YEAR, storms, put_in=PutIn(times_s, held, time_s)
            ),
        )
        for times_s in ({}, {part: (time_s,)})
    )
    return with_it.less(without)


def storms_of_draw(storms: Intervals, draw: int, n_years: int) -> Intervals:
    """Storms of a history for a draw: years of the block, which begin with each of them by turns."""
    return years_of(storms, [(draw + place) % n_years for place in range(FORCED_YEARS)])


def years_of(storms: Intervals, years: Sequence[int]) -> Intervals:
    """Storms of some years of a block, one year after the other from time 0 on."""
    found = None
    for place, year in enumerate(years):
        part = storms.clipped(year * SECONDS_PER_YEAR, (year + 1) * SECONDS_PER_YEAR)
        shift_s = (place - year) * SECONDS_PER_YEAR
        moved = Intervals(part.offset, part.start_s + shift_s, part.end_s + shift_s)
        found = moved if found is None else followed(found, moved)
    assert found is not None  # years is never empty
    return found
