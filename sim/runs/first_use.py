"""The first run after an installation: all loops are compiled at once, in two processes.

Each works on a small network, one on its rain, the other on all the rest, so that no list of loops need be
kept; they take about as long. What differs in another network is compiled when it is met.
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
from hopyears.sim.blocks.block import BlockSimulator
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.inputs.network_file import read_network
from hopyears.sim.runs.runner import BlockCounter, BlockPlan
from hopyears.sim.services.service_run import enlarge_tables

SMALL = Path(__file__).parents[1] / "guide" / "start.toml"
SHARES = ("rain", "rest")


@cache
def compile_together() -> None:
    """From now on the first loop without machine code has all of them compiled."""
    FIRST_MISSING.insert(0, _in_two_processes)


def _in_two_processes() -> None:
    """Compile; they end with this process, and what they fail to do is done here."""
    with ExitStack() as held:
        environment = {**os.environ, "HOPYEARS_CACHE": held.enter_context(TemporaryDirectory())}
        both = [held.enter_context(_process(share, environment)) for share in SHARES]
        for each in both:
            each.wait()


def _process(share: str, environment: dict[str, str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", __name__, share],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=environment,
    )


def compile_share(share: str) -> None:
    """Call all loops of the rain, or of the rest, of a small network."""
    network = read_network(SMALL).network
    if share == "rest":
        prepared = prepare(network, ModelOptions(rain=False, replications=1))
        BlockCounter(prepared, BlockPlan("", 1, 1, 1)).block(0)
        enlarge_tables()  # which so small a network need not
        return
    simulator = BlockSimulator(prepare(network, ModelOptions(failures=False)))
    draws = simulator.draw(1, 0, 1)
    for hop in range(len(draws.segments)):
        simulator.hop(draws, hop)


def _end_with_parent() -> None:
    sys.stdin.read()
    os._exit(1)


if __name__ == "__main__":
    threading.Thread(target=_end_with_parent, daemon=True).start()
    compile_share(sys.argv[1])
