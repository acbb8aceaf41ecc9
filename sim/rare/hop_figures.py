"""Figures of hops and bundles by themselves, each with its interval, from blocks and replications."""

from collections.abc import Sequence

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.counting.figures import (
    UNSEEN_OUTAGE_S,
    UNSEEN_OUTAGES,
    UNSEEN_SEVERELY_ERRORED_S,
    block_figures,
)
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.statistics import Interval, Stratum, mean_interval, strata_interval
from hopyears.sim.counting.tallies import Tally
from hopyears.sim.rare.alone import alone, largest_of
from hopyears.sim.rare.forced import by_hand
from hopyears.sim.rare.service_figures import UNSEEN_WEATHER_S
from hopyears.sim.rare.strata import (
    DRAWN,
    FIGURES,
    HOPS,
    MOST_A_YEAR,
    OWN,
    OWN_RAIN,
    RAINS,
    draws_beside,
    rain_share,
)
from hopyears.sim.storage.run_folder import RunFolder


def hop_intervals(prepared: Prepared, folder: RunFolder, blocks: Sequence[Tally]) -> list[list[Interval]]:
    """Intervals of ``FIGURES`` of each hop, and after them of each bundle, a year, both ways together.

    Replications take part as for services (``sim.rare.service_figures``), by the first set of rare failures.

    Parameters
    ----------
    prepared : Prepared
    folder : RunFolder
        Of a run with at least one finished block.
    blocks : sequence of Tally
        Of each of these.
    """
    n, years, figures = len(prepared.designs) + len(prepared.bundles), blocks[0].years, range(len(FIGURES))
    seen = np.stack(block_figures(blocks, "hop", n), axis=-1)
    if prepared.options.replications:
        terms = _strata(prepared, folder, seen, years)
        found = [[strata_interval(terms[hop, figure]) for figure in figures] for hop in range(n)]
    else:
        unseen = (UNSEEN_OUTAGE_S / years, UNSEEN_SEVERELY_ERRORED_S / years, UNSEEN_OUTAGES / years)
        found = [
            [mean_interval(seen[:, hop, figure], largest_unseen=unseen[figure]) for figure in figures]
            for hop in range(n)
        ]
    return [[each.within(0.0, most) for each, most in zip(row, MOST_A_YEAR, strict=True)] for row in found]


def _strata(
    prepared: Prepared, folder: RunFolder, seen: Floats, years: int
) -> dict[tuple[int, int], list[Stratum]]:
    """Terms of each hop's figures: its blocks, shape (n_blocks, n, n_figures), and the draws beside them."""
    numbers, n = folder.finished_blocks(), seen.shape[1]
    tables = [KeyedTable.from_arrow(HOPS, folder.read_table(block, "hop_replications")) for block in numbers]
    sizes = draws_beside(prepared.options.replications, numbers)
    share = rain_share(sizes[RAINS], len(numbers))
    own = np.array([_spread(table, "sum", n) for table in tables])
    rest = seen - own[:, :, OWN] - share * own[:, :, OWN_RAIN]
    total, square, hit, largest = (
        _spread(KeyedTable.joined(HOPS, tables), moment, n) for moment in ("sum", "square", "seen", "largest")
    )
    bounds = _bounds(prepared, n) / np.array([years, years, 1.0])[:, None, None]
    found: dict[tuple[int, int], list[Stratum]] = {}
    for hop, figure in np.ndindex(n, len(FIGURES)):
        weather, common, rare = bounds[:, hop, figure].tolist()
        strata = found[hop, figure] = [Stratum.of(rest[:, hop, figure], largest_unseen=weather)]
        for stratum, unseen in zip(DRAWN, (common, rare, weather, weather), strict=True):
            at = hop, stratum, figure
            term = Stratum.of_moments(
                sizes[stratum], total[at], square[at], int(hit[at]), largest[at], largest_unseen=unseen
            )
            strata.append(term.scaled(share) if stratum == RAINS else term)
    return found


def _spread(table: KeyedTable, moment: str, n: int) -> Floats:
    """One moment of the figures of hops, shape (n, n_strata, n_figures)."""
    strata = (n, len(DRAWN) + 2)
    return np.stack([table.spread(f"{figure}_{moment}", strata) for figure in FIGURES], axis=-1)


def _bounds(prepared: Prepared, n: int) -> Floats:
    """Most of one outage that was not seen, by weather, by common failures and by those put in by hand (times
    its weight), shape (3, n, n_figures)."""
    single, options = alone(BlockSimulator(prepared)), prepared.options
    found = np.tile(np.array([0.0, UNSEEN_SEVERELY_ERRORED_S, UNSEEN_OUTAGES]), (3, n, 1))
    hand = by_hand(prepared, single)[0]
    parts = hand.events < hand.n_parts
    stops = single.stops_hop[hand.events[parts]]
    weight = hand.weight_per_year[parts]
    found[0, :, 0] = UNSEEN_WEATHER_S
    found[1, :, 0] = single.longest_of_hops_s(~hand.held)
    found[2] *= largest_of(stops, weight)[:, None]
    found[2, :, 0] = largest_of(stops, weight * single.restore_s[hand.events[parts]])
    fades = options.rain or options.multipath or not options.failures
    scale = np.array([fades, options.failures, options.failures], dtype=np.float64)
    return np.asarray(found * scale[:, None, None])
