"""How worker processes are started."""

import multiprocessing
from multiprocessing import forkserver
from multiprocessing.context import BaseContext

PRELOADED = ["hopyears.sim.runs.runner", "hopyears.sim.runs.first_kernel"]
"""Imported once, by the server from which workers are forked; it holds no thread and no open file."""


def worker_context() -> BaseContext:
    """Context in which workers start: forked from a clean server where there is one, else afresh."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(PRELOADED)
    return context


def begin_early() -> None:
    """Let the server import what workers need while this process itself imports, reads and prepares."""
    if "forkserver" in multiprocessing.get_all_start_methods():
        worker_context()
        forkserver.ensure_running()
