"""Simulates the blocks that a run folder lacks and stores each as it ends; stops without loss.

The same seed gives the same bytes for any number of workers: blocks are independent, and what they leave
is put together in the order of their numbers.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pyarrow as pa

from hopyears.models.basics.memory import arrays_given_back, holes_given_back
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.block_tally import block_tally, failure_tables, run_of, service_losses
from hopyears.sim.blocks.prepared import Prepared
from hopyears.sim.blocks.series_tally import series_rows
from hopyears.sim.rare.alone import alone
from hopyears.sim.rare.forced import by_hand
from hopyears.sim.rare.replications import replication_tables
from hopyears.sim.runs.block_pool import BlockStudy, Workers, block_pool
from hopyears.sim.runs.stopping import looks
from hopyears.sim.storage.run_folder import RunFolder

BLOCK_YEARS = 10
"""Years of one block: the unit of work, of seeding, of storing and of the confidence interval."""

BlockTables = dict[str, pa.Table | bytes]
"""Tables of a block by name; the largest is Parquet already."""


@dataclass(frozen=True)
class BlockPlan:
    """Which blocks a run has: ``n_blocks`` of ``block_years`` years each, from ``seed``; whose they are."""

    identity: str
    seed: int
    n_blocks: int
    block_years: int = BLOCK_YEARS


class BlockCounter:
    """Simulates blocks of a run and counts what happened; ``simulator`` is its own unless given."""

    def __init__(self, prepared: Prepared, plan: BlockPlan, simulator: BlockSimulator | None = None) -> None:
        _give_back()
        self._simulator, self._plan = simulator or BlockSimulator(prepared), plan
        self._by_hand = by_hand(prepared, alone(self._simulator))

    def block(self, number: int) -> BlockTables:
        """Tables of one block."""
        simulator, plan = self._simulator, self._plan
        history = simulator.simulate(plan.seed, number, plan.block_years)
        run = run_of(simulator.prepared, plan.identity, plan.block_years)
        lost = service_losses(history)
        counted = block_tally(simulator.prepared, run, number, history, lost).to_arrow()
        fading, series = history.fading.to_arrow(), series_rows(simulator, history).to_arrow()
        failures = failure_tables(simulator.prepared, history, lost)
        # Counted, the histories of hops and services are let go before others come beside them.
        lost, history = [], replace(history, hops=(), services=())
        holes_given_back()
        drawn, causes, months, hops = replication_tables(simulator, self._by_hand, plan.seed, number, history)
        return {
            **counted,
            "hop_fading": fading,
            "service_series": series,
            "service_replications": drawn,
            "service_cause_replications": causes,
            "service_month_replications": months,
            "hop_replications": hops,
            **failures,
        }


def fill_folder(
    folder: RunFolder,
    n_blocks: int,
    make: Callable[..., BlockStudy[BlockTables]],
    arguments: tuple[Any, ...],
    *,
    workers: Workers,
    progress: Callable[[int, int], None],
    enough: Callable[[RunFolder], bool] | None = None,
) -> None:
    """Work on the blocks that a run folder lacks and store each as it ends.

    Parameters
    ----------
    folder : RunFolder
        Finished blocks in it are kept.
    n_blocks : int
        Blocks of the run.
    make, arguments
        As for ``block_pool``; for a run ``BlockCounter``.
    workers : int or str
        As for ``block_pool``.
    progress : callable
        Called with (blocks done, blocks of the run) at the start and after each block.
    enough : callable, optional
        Asked after set numbers of blocks (``stopping.looks``) whether the run may stop before its last.
    """
    _give_back()
    done = set(folder.finished_blocks())
    progress(len(done), n_blocks)
    ends = [n_blocks] if enough is None else looks(n_blocks, max(done, default=-1) + 1)
    lacking = n_blocks - len(done)
    with block_pool(make, arguments, workers, lacking) as studied:
        for end in ends:
            for block, tables in studied([block for block in range(end) if block not in done]):
                folder.write_block(block, tables)
                done.add(block)
                progress(len(done), n_blocks)
            if enough is not None and enough(folder):
                return


def _give_back() -> None:
    """Have what is freed given back to the system, by Arrow too: its own store keeps what tables took."""
    arrays_given_back()
    pa.set_memory_pool(pa.system_memory_pool())
