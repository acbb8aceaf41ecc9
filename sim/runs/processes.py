"""How worker processes are started, and how they end when the user stops the program.

Ctrl-C goes to every process of a terminal. The server from which workers are forked ignores it; a worker dies
of it without a word, and this process alone tells that it has stopped.
"""

import multiprocessing
import signal
import threading
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
    _run_server()
    return context


def begin_early() -> None:
    """Let the server import what workers need while this process itself imports, reads and prepares."""
    worker_context()


def _run_server() -> None:
    """Start the server if it does not run yet; that Ctrl-C is ignored passes on to it."""
    if threading.current_thread() is not threading.main_thread():
        forkserver.ensure_running()
        return
    usual = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        forkserver.ensure_running()
    finally:
        signal.signal(signal.SIGINT, usual)


def die_when_stopped() -> None:
    """Of a worker: let Ctrl-C end it at once, silently."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
