"""What is drawn beside blocks: figures and their tables, strata, and how many draws of each.

A reader of a run needs this and nothing that simulates.
"""

from collections.abc import Sequence

import numpy as np

from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.counting.keyed_table import Columns
from hopyears.sim.counting.month_figures import YEAR_FIGURES
from hopyears.sim.counting.tally_rows import BOTH, CAUSE
from hopyears.sim.services.service_data import BACKWARD, FORWARD

FIGURES = ("unavailable_s", "severely_errored_s", "outages")
"""Figures of a service that replications are drawn for, a year."""

MOST_A_YEAR = (SECONDS_PER_YEAR, SECONDS_PER_YEAR, np.inf)
"""What a year holds of each: a limit of an interval lies no higher."""

MONTH_FIGURES = YEAR_FIGURES[:-1]
"""Figures of a service by calendar month: what is undelivered of the peak, weather decides."""

WAYS = (FORWARD, BACKWARD, BOTH)
"""Directions of a service for which there are figures, by their numbers."""

REPLICATIONS = Columns(("entity", "direction", "stratum", "draw"), (*FIGURES, "weight"))
"""What a service loses a year, in one draw of a stratum, and the weight of what it lost
(``FORCED``: times a year; else one over the years); nothing lost has no row."""

CAUSES = Columns(("entity", "direction", "causes", "stratum"), CAUSE.sums)
"""The same by exact set of causes, both ways together, summed over the draws of a stratum."""

MOMENTS = ("sum", "square", "seen")
"""What is kept of a figure over draws."""

HOPS = Columns(
    ("entity", "stratum"),
    tuple(f"{figure}_{moment}" for figure in FIGURES for moment in MOMENTS),
    tuple(f"{figure}_largest" for figure in FIGURES),
)
"""Figures of a hop or bundle by itself, a year, both ways together, over the draws of a stratum (of the first
set of rare failures): sum, sum of squares, how many are not 0, and the largest."""

OWN, HISTORIES, FORCED, NIGHTS, RAINS, OWN_RAIN = range(6)
"""Strata: the block's own failures and own multipath, apart; histories of failures, of a block's length,
without those put in by hand for the service; these, one at a time, each with its weight; histories of
multipath; histories of rain; the block's own rain."""

DRAWN = (HISTORIES, FORCED, NIGHTS, RAINS)
"""Strata that are drawn beside the blocks, in the order of ``n_draws``."""

TOGETHER = 6
"""Added to a stratum of months: of all services in the same draws, where some have draws of their own."""

WITHOUT, WITH = 0, 1
"""Sides of a failure put in by hand."""

OF_FAILURES, OF_NIGHTS = 0, 1
"""Draws of the stratum ``OWN``."""

FIRST_BLOCKS, FIRST_TIMES = 5, 2
"""The first so many blocks have so many times the draws: a short run has few blocks, and needs them most."""

HISTORIES_OF_A_DRAW = 3
"""Histories for each rare failure put in by hand: its weight makes a draw tell so much more."""

HISTORIES_OF_NIGHTS = 8
"""Histories of failures for each of multipath, which costs up to ten times as much; but most severely errored
seconds are fades."""

HISTORIES_OF_RAIN = 24
"""Histories of failures asked for to each of rain, which costs up to a hundred times as much; but on many
networks most outages are of rain. The first blocks have no more of them."""

MANY_BLOCKS = 20
"""After so many a block has half as many histories of failures, and every other one half as many of rain: a
long run knows its services well, and most of its time would be theirs."""


def n_draws(asked: int, block: int) -> tuple[int, int, int, int]:
    """Histories of failures, failures put in by hand, histories of multipath and of rain beside a block.

    So many histories of failures are asked of blocks that are neither among the first nor late.
    """
    usual, late = asked * (FIRST_TIMES if block < FIRST_BLOCKS else 1), block >= MANY_BLOCKS
    nights, rains = -(-usual // HISTORIES_OF_NIGHTS), -(-asked // HISTORIES_OF_RAIN)
    histories = -(-usual // 2) if late else usual
    if late and block % 2:
        rains = -(-rains // 2)
    return histories, -(-histories // HISTORIES_OF_A_DRAW), nights, rains


def draws_beside(asked: int, blocks: Sequence[int]) -> dict[int, int]:
    """How many draws of each stratum of ``DRAWN`` stand beside these blocks."""
    return dict(
        zip(DRAWN, map(sum, zip(*(n_draws(asked, block) for block in blocks), strict=True)), strict=True)
    )


def rain_share(rains: int, blocks: int) -> float:
    """How much of the figures of own rain gives way to that of histories: as many parts as these are of all.

    The variance is then least where rain makes all that is unsure.
    """
    return rains / (rains + blocks)
