"""Work on the blocks of a run, each by itself: in this process, in several, or on a cluster.

Blocks are independent, so that the number of processes changes nothing but the time taken.
"""

import gc
import logging
import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Any, Protocol, TypeVar

from hopyears.sim.climate import maps_let_go
from hopyears.sim.runs.cluster import as_they_end, cluster_pool
from hopyears.sim.runs.processes import serve_parent_only, start_server, worker_context
from hopyears.sim.storage.whole_file import RunError

LOG = logging.getLogger("hopyears")

Workers = int | str
"""Who works on blocks: so many processes of this machine, or the cluster whose scheduler has this address."""

MOST_LOSSES = 3
"""Times in a row that workers may be killed without a block ended between."""

Result_co = TypeVar("Result_co", covariant=True)


class BlockStudy(Protocol[Result_co]):
    """Whatever looks into one block at a time and keeps nothing random between blocks."""

    def block(self, number: int) -> Result_co:
        """What the study finds in a block."""
        ...


_STUDY: BlockStudy[Any] | None = None
"""What a worker process keeps between blocks; set once, when the process starts."""


def _start(make: Callable[..., BlockStudy[Any]], arguments: tuple[Any, ...]) -> None:
    global _STUDY
    serve_parent_only()
    _STUDY = make(*arguments)
    gc.freeze()  # libraries and the network made ready stay: never looked through again


def _work(number: int) -> Any:
    assert _STUDY is not None  # _start has run in this process
    return _STUDY.block(number)


@contextmanager
def block_pool(
    make: Callable[..., BlockStudy[Result_co]], arguments: tuple[Any, ...], workers: Workers, most: int
) -> Iterator[Callable[[Sequence[int]], Iterator[tuple[int, Result_co]]]]:
    """Give a function that takes numbers of blocks and gives each with its result, in the order they end.

    Parameters
    ----------
    make, arguments
        ``make(*arguments)`` gives the study; it is made anew in each worker process.
    workers : int or str
        Processes; with fewer than 2 all is done in this one. They end at once when the context is left by
        an exception. Or the address of a cluster's scheduler (``sim.runs.cluster``).
    most : int
        Blocks there will be at most: more processes are not started.
    """
    maps_let_go()  # once all networks of a study are ready, as each that has new places reads them
    if isinstance(workers, str):
        with cluster_pool(workers, make, arguments) as studied:
            yield studied
        return
    if min(workers, most) < 2:
        study = make(*arguments)
        gc.freeze()
        try:
            yield lambda blocks: ((block, study.block(block)) for block in blocks)
        finally:
            gc.unfreeze()  # a caller's own objects are none of ours to keep
        return
    start_server()
    pool = _Pool(make, arguments, min(workers, most))
    try:
        yield pool.studied
    except BaseException:
        pool.kill()
        raise
    finally:
        pool.close()


class _Pool:
    """Worker processes; all are replaced when one is killed."""

    def __init__(
        self, make: Callable[..., BlockStudy[Any]], arguments: tuple[Any, ...], workers: int
    ) -> None:
        self._make, self._arguments, self._workers = make, arguments, workers
        self._others = {*multiprocessing.active_children()}
        self._executor = self._new_executor()

    def _new_executor(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(
            self._workers,
            mp_context=worker_context(),
            initializer=_start,
            initargs=(self._make, self._arguments),
        )

    def studied(self, blocks: Sequence[int]) -> Iterator[tuple[int, Any]]:
        """Each block with its result, in the order they end.

        Raises
        ------
        RunError
            If workers are killed again and again.
        """
        lacking, losses = [*blocks], 0
        while lacking:
            try:
                for block, result in as_they_end(lambda block: self._executor.submit(_work, block), lacking):
                    lacking.remove(block)
                    losses = 0
                    yield block, result
            except BrokenProcessPool:
                losses += 1
                if losses == MOST_LOSSES:
                    raise RunError(
                        f"workers were killed {losses} times before a block ended, perhaps for lack of "
                        "memory (fewer --workers need less); finished blocks are kept, --resume goes on"
                    ) from None
                LOG.warning("warning: a worker was killed; the blocks at work are simulated again")
                self.close()
                self._executor = self._new_executor()

    def kill(self) -> None:
        """End the workers at once, whatever they are at."""
        for process in multiprocessing.active_children():
            if process not in self._others:
                process.kill()

    def close(self) -> None:
        """Wait until the workers are gone; what has not begun is not done."""
        self._executor.shutdown(wait=True, cancel_futures=True)


def over_blocks(
    make: Callable[..., BlockStudy[Result_co]],
    arguments: tuple[Any, ...],
    blocks: Sequence[int],
    *,
    workers: Workers = 1,
    progress: Callable[[int, int], None] = lambda done, of_all: None,
) -> list[Result_co]:
    """Results of a study of each block, in the order of ``blocks``, for any number of workers.

    Parameters
    ----------
    make, arguments, workers
        As for ``block_pool``.
    blocks : sequence of int
    progress : callable
        Called with (blocks done, blocks in all).
    """
    progress(0, len(blocks))
    results: dict[int, Result_co] = {}
    with block_pool(make, arguments, workers, len(blocks)) as studied:
        for number, result in studied(blocks):
            results[number] = result
            progress(len(results), len(blocks))
    return [results[number] for number in blocks]
