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
from hopyears.sim.counting.tally_rows import BOTH, CAUSE, cause_rows, three_ways
from hopyears.sim.equipment.failure_log import FailureLog
from hopyears.sim.equipment.put_in import NOTHING_PUT_IN, PutIn
from hopyears.sim.rare.alone import on_equipment_alone
from hopyears.sim.rare.forced import RareParts
from hopyears.sim.services.service_data import BACKWARD, FORWARD
from hopyears.sim.streams import Streams

FIGURES = ("unavailable_s", "severely_errored_s", "outages")
"""Figures of a service that replications are drawn for, a year."""

WAYS = (FORWARD, BACKWARD, BOTH)
"""Directions of a service for which there are figures, by their numbers."""

REPLICATIONS = Columns(("entity", "direction", "stratum", "draw"), FIGURES)
"""What failures alone take from a service a year, in one draw of a stratum; nothing lost has no row."""

CAUSES = Columns(("entity", "direction", "causes", "stratum"), CAUSE.sums)
"""The same by exact set of causes, both ways together, summed over the draws of a stratum."""

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
    """

    figures: NDArray[np.float64]
    causes: KeyedTable

    def scaled(self, factor: float) -> "Losses":
        """So many times as much."""
        return Losses(self.figures * factor, self.causes.scaled(factor))

    def less(self, other: "Losses") -> "Losses":
        """What these are more than others."""
        return Losses(self.figures - other.figures, self.causes + other.causes.scaled(-1.0))


def replication_tables(
    simulator: BlockSimulator, rare: RareParts, seed: int, block: int, history: BlockHistory
) -> tuple[KeyedTable, KeyedTable]:
    """Rows of ``REPLICATIONS`` and of ``CAUSES`` of one block; none without replications and failures."""
    asked = simulator.prepared.options.replications
    if not asked or history.log is None:
        return KeyedTable.empty(REPLICATIONS), KeyedTable.empty(CAUSES)
    keys, values, causes = [], [], []
    for stratum, draw, lost in _losses(simulator, rare, Streams(seed, block), n_draws(asked, block), history):
        for entity, way in np.argwhere(lost.figures.any(axis=2)).tolist():
            keys.append((entity, way, stratum, draw))
            values.append(lost.figures[entity, way])
        of_stratum = np.column_stack([lost.causes.keys, np.full(len(lost.causes.keys), stratum)])
        causes.append(KeyedTable.collect(CAUSES, of_stratum, lost.causes.values))
    drawn = KeyedTable.collect(
        REPLICATIONS, np.reshape(keys, (-1, 4)), np.reshape(values, (-1, len(FIGURES)))
    )
    return drawn, KeyedTable.joined(CAUSES, causes)


def _losses(
    simulator: BlockSimulator,
    rare: RareParts,
    streams: Streams,
    numbers: tuple[int, int],
    history: BlockHistory,
) -> Iterator[tuple[int, int, Losses]]:
    """(stratum, draw, losses a year) of every draw."""
    assert history.log is not None  # replication_tables has looked
    plant, near = simulator.prepared.built.plant, history.storms_near
    years = history.duration_s / SECONDS_PER_YEAR
    yield OWN, 0, fade_free(simulator, history.log).scaled(1.0 / years)
    never = NOTHING_PUT_IN
    if rare.parts.size:
        never = PutIn(rare=rare.mask(len(plant.parts)), only_before_s=-np.inf)
    histories, forced = numbers
    for draw in range(histories):
        log = simulator.failures(plant, streams.beside(1 + draw), history.duration_s, near, put_in=never)
        yield HISTORIES, draw, fade_free(simulator, log).scaled(1.0 / years)
    if rare.parts.size:
        for draw, chosen in enumerate(rare.drawn(plant, streams, forced).tolist()):
            storms = None if near is None else storms_of_draw(near, draw, round(years))
            added = added_loss(simulator, rare, int(rare.parts[chosen]), streams, draw, storms)
            yield FORCED, draw, added.scaled(float(rare.weight_per_year[chosen]))


def fade_free(simulator: BlockSimulator, log: FailureLog) -> Losses:
    """What services lose had nothing but these failures happened."""
    found = [three_ways(service, log.duration_s) for service in on_equipment_alone(simulator, log)]
    figures = [
        [[lost.unavailable_s, lost.severely_errored_s, lost.n_outages] for lost in ways] for ways in found
    ]
    rows = [cause_rows(entity, BOTH, ways[BOTH]) for entity, ways in enumerate(found)]
    keys, values = (np.concatenate(part) for part in zip(*rows, strict=True)) if rows else ((), ())
    return Losses(
        np.array(figures, dtype=np.float64).reshape(-1, len(WAYS), len(FIGURES)),
        KeyedTable.collect(CAUSE, keys, values),
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
