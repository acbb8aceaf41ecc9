"""The same study of several blocks of a run, on one process or several, in the order of their numbers."""

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import Any, Protocol, TypeVar

from sim.runs.processes import worker_context

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
    _STUDY = make(*arguments)


def _work(number: int) -> Any:
    assert _STUDY is not None  # _start has run in this process
    return _STUDY.block(number)


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
    make, arguments
        ``make(*arguments)`` gives the study; it is made anew in each worker process.
    blocks : sequence of int
    workers : int
        Processes, at least 1.
    progress : callable
        Called with (blocks done, blocks in all).
    """
    progress(0, len(blocks))
    results: list[Result_co] = []
    if workers == 1 or len(blocks) < 2:
        study = make(*arguments)
        for number in blocks:
            results.append(study.block(number))
            progress(len(results), len(blocks))
        return results
    pool = ProcessPoolExecutor(
        min(workers, len(blocks)),
        mp_context=worker_context(),
        initializer=_start,
        initargs=(make, arguments),
    )
    try:
        for result in pool.map(_work, blocks):
            results.append(result)
            progress(len(results), len(blocks))
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
    return results
