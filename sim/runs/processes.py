"""How worker processes are started, and that none stays behind."""

import multiprocessing
import os
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
    return context


def start_server() -> None:
    """Start the server from which workers are forked, if it does not run yet.

    Started early it imports what workers need while this process itself imports, reads and prepares. A
    Ctrl-C is meant for this process and ignored in the server and in its workers.
    """
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return
    worker_context()
    if threading.current_thread() is not threading.main_thread():
        forkserver.ensure_running()
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        forkserver.ensure_running()
    finally:
        signal.signal(signal.SIGINT, before)


def serve_parent_only() -> None:
    """In a worker: leave stopping to the process that started this one, and end when that ends in any way."""
    for each in (signal.SIGINT, signal.SIGTERM):
        signal.signal(each, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
