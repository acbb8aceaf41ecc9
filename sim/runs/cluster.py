"""Blocks on the workers of a cluster, by the executor of dask.distributed.

A worker that is lost costs the blocks it was at: the scheduler gives them to another. Draws belong to names,
so that the bytes are those of one machine, with the same versions on processors of the same kind.
"""

import logging
import pickle
import re
import socket
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.storage.run_folder import versions
from hopyears.sim.storage.whole_file import RunError, digest_of

if TYPE_CHECKING:
    from distributed import Client


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


ADDRESS = re.compile(r"(tcp|tls)://[^/\s]+:\d{1,5}")
CONNECT_S = 10.0
"""Time in which a scheduler must answer."""

_TALKERS = ("distributed", "tornado", "asyncio")
_AT_WORK = threading.Lock()
_STUDIES: dict[str, Any] = {}
"""What a process of the cluster keeps between blocks: the study that it was last asked for, by its digest."""


@contextmanager
def cluster_pool(
    address: str, make: Callable[..., Any], arguments: tuple[Any, ...]
) -> Iterator[Callable[[Sequence[int]], Iterator[tuple[int, Any]]]]:
    """Give a function that takes numbers of blocks, as ``block_pool``, with the workers of a cluster.

    Parameters
    ----------
    address : str
        Of the scheduler, for instance tcp://10.0.0.1:8786.
    make, arguments
        ``make(*arguments)`` gives the study; it is made in each worker.

    Raises
    ------
    InputError
        If dask.distributed is not installed, or no scheduler answers there.
    RunError
        Later, if the scheduler is lost, a block is lost with one worker after another, or a worker has other
        versions of what decides the numbers.
    """
    with _connected(address) as client:
        from distributed import KilledWorker

        content = pickle.dumps((versions(), make, arguments))
        executor = client.get_executor(pure=False)
        # As the result of a task it is made again where the worker that held it is lost.
        shared = client.submit(bytes, content, pure=False)

        def studied(blocks: Sequence[int]) -> Iterator[tuple[int, Any]]:
            try:
                yield from as_they_end(
                    lambda block: executor.submit(_work, digest_of(content), shared, block), blocks
                )
            except KilledWorker as error:
                raise _lost(f"{address}: block was lost with {error.allowed_failures + 1} workers") from None
            except (CancelledError, OSError) as error:
                reason = f" ({error})" if str(error) else ""
                raise _lost(f"{address}: scheduler is lost{reason}") from None

        try:
            yield studied
        finally:
            executor.shutdown(wait=False)


def _lost(sentence: str) -> RunError:
    return RunError(f"{sentence}; finished blocks are kept, --resume goes on from there")


@contextmanager
def _connected(address: str) -> Iterator["Client"]:
    if not ADDRESS.fullmatch(address):
        raise InputError(f'--cluster is "{address}"; must be tcp://HOST:PORT of a scheduler')
    try:
        from distributed import Client
    except ImportError:
        raise InputError(
            "--cluster needs the package distributed; must be installed, for instance by "
            "pip install 'hopyears[cluster]'"
        ) from None
    levels = _hushed()
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise InputError(
            f"--cluster is {address}; must be the address of a scheduler that answers ({error})"
        ) from None
    try:
        yield client
    finally:
        client.close(timeout=1.0)
    for talk, level in levels.items():  # not after a loss, of which threads go on to talk
        talk.setLevel(level)


def _hushed() -> dict[logging.Logger, int]:
    """Keep the libraries silent, since what concerns the user is told in our words; the levels they had."""
    names = [name for name in logging.root.manager.loggerDict if name.split(".")[0] in _TALKERS]
    levels = {talk: talk.level for talk in map(logging.getLogger, names)}
    for talk in levels:
        talk.setLevel(logging.CRITICAL + 1)
    return levels


def _work(name: str, content: bytes, number: int) -> Any:
    """In a worker: one block of a study; blocks that come to several threads at once wait for each other."""
    with _AT_WORK:
        if name not in _STUDIES:
            there, make, arguments = pickle.loads(content)
            _refuse_other(there)
            _STUDIES.clear()
            _STUDIES[name] = make(*arguments)
        return _STUDIES[name].block(number)


def _refuse_other(there: Mapping[str, str]) -> None:
    here = versions()
    for name, wanted in there.items():
        if here[name] != wanted:
            raise RunError(
                f"worker on {socket.gethostname()}: {name} is {here[name]}; must be {wanted}, as in the run"
            )
