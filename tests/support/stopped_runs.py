"""Runs in a process of their own, to be stopped by tests at any moment."""

import os
import signal
import subprocess
import sys
import time
from multiprocessing import get_context
from pathlib import Path

from hopyears.sim.commands import main

MODEL = ("--seed", "5", "--block-years", "1")
CHEAP = ("--no-rain", "--no-multipath", "--replications", "0")
WHOLE = ("--replications", "1")


def words(network, out, years, workers=1, parts=CHEAP):
    """What to call for a run that goes on where it was stopped; cheap unless asked for the weather too."""
    asked = ["--years", str(years), "--workers", str(workers), "--out", str(out), "--resume"]
    return ["simulate", str(network), *asked, *MODEL, *parts]


def _called(called, ready, said):
    for each in (signal.SIGINT, signal.SIGTERM):
        signal.signal(each, signal.SIG_IGN)  # until the program listens
    with Path(said).open("w") as stream, Path(os.devnull).open("w") as nowhere:
        sys.stderr, sys.stdout = stream, nowhere
        Path(ready).touch()
        status = main(called)
        stream.flush()
    os._exit(status)


class StoppedRun:
    """One call of the program, forked from a server that has all imported.

    Parameters
    ----------
    called : list of str
        Words of the command line.
    folder : Path
        For its own files.
    """

    def __init__(self, called, folder):
        ready, self._said = folder / "ready", folder / "said"
        ready.unlink(missing_ok=True)
        self._process = get_context("forkserver").Process(target=_called, args=(called, ready, self._said))
        self._process.start()
        while not ready.exists() and self._process.is_alive():
            self._process.join(0.002)

    def stopped(self, number, after_s):
        """Send a signal after some seconds, unless it has ended; its exit status and what it said."""
        self._process.join(after_s)
        if self._process.is_alive():
            os.kill(self._process.pid, number)
        return self.ended()

    def ended(self):
        """Wait for the end; exit status and what it said."""
        self._process.join()
        return self._process.exitcode, self._said.read_text()


def program(called):
    """The program as users call it, with worker processes of its own."""
    call = "import sys; from hopyears.sim.commands import main; sys.exit(main(sys.argv[1:]))"
    return subprocess.Popen(
        [sys.executable, "-c", call, *called],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def left_behind(called, patience_s=20.0):
    """Whether any process of an ended program's session still lives after some patience."""
    end = time.monotonic() + patience_s
    while time.monotonic() < end:
        try:
            os.killpg(called.pid, 0)
        except ProcessLookupError:
            return False
        time.sleep(0.05)
    return True
