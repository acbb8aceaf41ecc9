"""Blocks in the order in which they end."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from typing import Any


def as_they_end(submit: Callable[[int], Future[Any]], blocks: Sequence[int]) -> Iterator[tuple[int, Any]]:
    """Each block with its result, in the order they end; what has ended is not kept.

    Parameters
    ----------
    submit : callable
        Takes the number of a block and gives its future.
    blocks : sequence of int
    """
    waiting = {submit(block): block for block in blocks}
    while waiting:
        ended, _ = wait(waiting, return_when=FIRST_COMPLETED)
        for future in ended:
            yield waiting.pop(future), future.result()
