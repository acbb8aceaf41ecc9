"""Studies of blocks that take no time, for tests of the processes that work on them."""

import os
import signal
import time
from pathlib import Path


class Squares:
    """Gives the square of a block's number."""

    def block(self, number):
        return number * number


class KilledOnce(Squares):
    """Its process is killed at block 2, unless a file tells that it has been before."""

    def __init__(self, folder):
        self._mark = Path(folder) / "was-killed"

    def block(self, number):
        if number == 2 and not self._mark.exists():
            self._mark.touch()
            os.kill(os.getpid(), signal.SIGKILL)
        return super().block(number)


class KilledAlways(Squares):
    """Its process is killed at every block from 1 on."""

    def block(self, number):
        if number:
            os.kill(os.getpid(), signal.SIGKILL)
        return super().block(number)


class Sleeping(Squares):
    """Writes down the process that works on it, and sleeps."""

    def __init__(self, folder):
        self._folder = Path(folder)

    def block(self, number):
        (self._folder / str(os.getpid())).touch()
        time.sleep(600.0)


class Failing(Squares):
    """Fails."""

    def block(self, number):
        raise ValueError(f"block {number}")
