"""Work on the blocks of a run, each by itself, in this process or in several.

Blocks are independent, so that the number of processes changes nothing but the time taken.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from typing import Any, Protocol, TypeVar

from hopyears.sim.runs.processes import die_when_stopped, worker_context

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
    die_when_stopped()
    _STUDY = make(*arguments)


def _work(number: int) -> Any:
    assert _STUDY is not None  # _start has run in this process
    return _STUDY.block(number)


@contextmanager
def block_pool(
    make: Callable[..., BlockStudy[Result_co]], arguments: tuple[Any, ...], workers: int
) -> Iterator[Callable[[Sequence[int]], Iterator[tuple[int, Result_co]]]]:
    """Give a function that takes numbers of blocks and gives each with its result, in the order they end.

    Parameters
    ----------
    make, arguments
        ``make(*arguments)`` gives the study; it is made anew in each worker process.
    workers : int
        Processes; with fewer than 2 all is done in this one.
    """
    if workers < 2:
        study = make(*arguments)
        yield lambda blocks: ((block, study.block(block)) for block in blocks)
        return
    pool = ProcessPoolExecutor(
        workers, mp_context=worker_context(), initializer=_start, initargs=(make, arguments)
    )
    try:
        yield lambda blocks: _as_they_end(pool, blocks)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _as_they_end(pool: ProcessPoolExecutor, blocks: Sequence[int]) -> Iterator[tuple[int, Any]]:
    waiting: dict[Future[Any], int] = {pool.submit(_work, block): block for block in blocks}
    while waiting:
        ended, _ = wait(waiting, return_when=FIRST_COMPLETED)
        for future in ended:
            yield waiting.pop(future), future.result()


def over_blocks(
    make: Callable[..., BlockStudy[Result_co]],
    arguments: tuple[Any, ...],
    blocks: Sequence[int],
    *,
    workers: int = 1,
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
    with block_pool(make, arguments, min(workers, len(blocks))) as studied:
        for number, result in studied(blocks):
            results[number] = result
            progress(len(results), len(blocks))
    return [results[number] for number in blocks]
