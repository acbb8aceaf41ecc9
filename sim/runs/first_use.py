"""The first run after an installation: all loops are compiled at once, in two to four processes.

Each takes the next module of the list of loops until none is left. What differs in another network is
compiled when it is met.
"""

import os
import subprocess
import sys
import threading
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from hopyears.models.basics.kernel import FIRST_MISSING
from hopyears.sim.runs.loop_types import compile_loops, listed
from hopyears.sim.runs.machine import processors

N_PROCESSES = min(max(processors(), 2), 4)
"""One module takes a fourth of the work: more have nothing to do."""


@cache
def compile_together() -> None:
    """From now on the first loop without machine code has all of them compiled."""
    FIRST_MISSING.insert(0, _in_processes)


def _in_processes() -> None:
    """Compile; they end with this process, and what they fail to do is done here."""
    with ExitStack() as held:
        taken = held.enter_context(TemporaryDirectory())
        for each in [held.enter_context(_process(taken)) for _ in range(N_PROCESSES)]:
            each.wait()


def _process(taken: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", __name__, taken],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def compile_share(taken: Path) -> None:
    """Compile the loops of each module that no other process has taken.

    Imported here is what changes numba, for these processes alone.
    """
    from hopyears.models.basics.compile_only import compile_only

    modules = listed()
    compile_only({f"{module}.{loop[0]}" for module, loops in modules.items() for loop in loops})
    for module, loops in modules.items():
        if _is_ours(taken / module):
            compile_loops(module, loops)


def _is_ours(mark: Path) -> bool:
    """Whether nobody had taken it yet."""
    try:
        mark.touch(exist_ok=False)
    except FileExistsError:
        return False
    return True


def _end_with_parent() -> None:
    sys.stdin.read()
    os._exit(1)


if __name__ == "__main__":
    threading.Thread(target=_end_with_parent, daemon=True).start()
    compile_share(Path(sys.argv[1]))
