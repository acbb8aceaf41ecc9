"""Runs blocks on worker processes, shows progress, stores each block as it ends, stops without loss.

The same seed gives the same bytes for any number of workers: blocks are independent, and what they leave
is put together in the order of their numbers.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass

import pyarrow as pa

from sim.blocks.block import BlockSimulator
from sim.blocks.prepared import Prepared
from sim.counting.block_tally import block_tally, failure_tables, run_of
from sim.counting.series_tally import series_rows, twin_rows
from sim.runs.processes import worker_context
from sim.runs.stopping import looks
from sim.runs.store import RunFolder

BLOCK_YEARS = 10
"""Years of one block: the unit of work, of seeding, of storing and of the confidence interval."""

BlockTables = dict[str, pa.Table]


@dataclass(frozen=True)
class BlockPlan:
    """Which blocks a run has: ``n_blocks`` of ``block_years`` years each, from ``seed``; whose they are."""

    identity: str
    seed: int
    n_blocks: int
    block_years: int = BLOCK_YEARS


_WORKER: tuple[BlockSimulator, BlockPlan] | None = None
"""What a worker process keeps between blocks; set once, when the process starts."""


def _start_worker(prepared: Prepared, plan: BlockPlan) -> None:
    global _WORKER
    _WORKER = (BlockSimulator(prepared), plan)


def _work(block: int) -> BlockTables:
    assert _WORKER is not None  # _start_worker has run in this process
    return block_tables(*_WORKER, block)


def block_tables(simulator: BlockSimulator, plan: BlockPlan, block: int) -> BlockTables:
    """Simulate one block and count what happened."""
    history = simulator.simulate(plan.seed, block, plan.block_years)
    run = run_of(simulator.prepared, plan.identity, plan.block_years)
    tally = block_tally(simulator.prepared, run, block, history)
    return {
        **tally.to_arrow(),
        "hop_fading": history.fading.to_arrow(),
        "service_series": series_rows(simulator, history).to_arrow(),
        "service_twins": twin_rows(simulator, plan.seed, block, history).to_arrow(),
        **failure_tables(simulator.prepared, history),
    }


def run_blocks(
    prepared: Prepared,
    plan: BlockPlan,
    folder: RunFolder,
    *,
    workers: int,
    progress: Callable[[int, int], None],
    enough: Callable[[RunFolder], bool] | None = None,
) -> None:
    """Simulate the blocks that a run folder lacks and store each as it ends.

    Parameters
    ----------
    prepared : Prepared
    plan : BlockPlan
    folder : RunFolder
        Finished blocks in it are kept.
    workers : int
        Processes, at least 1.
    progress : callable
        Called with (blocks done, blocks of the run) at the start and after each block.
    enough : callable, optional
        Asked after set numbers of blocks (``stopping.looks``) whether the run may stop before its last.
    """
    done = set(folder.finished_blocks())
    progress(len(done), plan.n_blocks)
    ends = [plan.n_blocks] if enough is None else looks(plan.n_blocks, max(done, default=-1) + 1)
    lacking = plan.n_blocks - len(done)
    with _simulators(prepared, plan, min(workers, lacking)) as simulated:
        for end in ends:
            for block, tables in simulated([block for block in range(end) if block not in done]):
                folder.write_block(block, tables)
                done.add(block)
                progress(len(done), plan.n_blocks)
            if enough is not None and enough(folder):
                return


_Simulated = Callable[[Sequence[int]], Iterator[tuple[int, BlockTables]]]


@contextmanager
def _simulators(prepared: Prepared, plan: BlockPlan, workers: int) -> Iterator[_Simulated]:
    """What gives blocks with their tables, in the order in which they end."""
    if workers < 2:
        simulator = BlockSimulator(prepared)
        yield lambda blocks: ((block, block_tables(simulator, plan, block)) for block in blocks)
        return
    pool = ProcessPoolExecutor(
        workers,
        mp_context=worker_context(),
        initializer=_start_worker,
        initargs=(prepared, plan),
    )
    try:
        yield lambda blocks: _as_they_end(pool, blocks)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _as_they_end(pool: ProcessPoolExecutor, blocks: Sequence[int]) -> Iterator[tuple[int, BlockTables]]:
    waiting: dict[Future[BlockTables], int] = {pool.submit(_work, block): block for block in blocks}
    while waiting:
        ended, _ = wait(waiting, return_when=FIRST_COMPLETED)
        for future in ended:
            yield waiting.pop(future), future.result()
