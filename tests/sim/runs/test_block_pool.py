"""Worker processes: replaced when killed, gone when their parent is, however it ended."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from stand_in_studies import Failing, KilledAlways, KilledOnce, Sleeping, Squares

from hopyears.sim.runs.block_pool import over_blocks
from hopyears.sim.storage.whole_file import RunError

SUPPORT = Path(__file__).parents[2] / "support"
SLEEPS = (
    "import sys; from stand_in_studies import Sleeping\n"
    "from hopyears.sim.runs.block_pool import over_blocks\n"
    "if __name__ == '__main__': over_blocks(Sleeping, (sys.argv[1],), range(4), workers=2)"
)


@pytest.mark.slow
def test_results_come_in_the_order_asked_for():
    assert over_blocks(Squares, (), [3, 0, 2], workers=2) == [9, 0, 4]


@pytest.mark.slow
def test_a_killed_worker_is_replaced_and_told(tmp_path, caplog):
    assert over_blocks(KilledOnce, (str(tmp_path),), range(5), workers=2) == [0, 1, 4, 9, 16]
    assert [record.getMessage() for record in caplog.records] == [
        "warning: a worker was killed; the blocks at work are simulated again"
    ]


@pytest.mark.slow
def test_workers_that_are_killed_again_and_again_end_the_run_in_one_line():
    with pytest.raises(
        RunError, match=r"^workers were killed 3 times before a block ended, .* --resume goes on$"
    ):
        over_blocks(KilledAlways, (), range(6), workers=2)


@pytest.mark.slow
def test_a_fault_in_a_block_is_the_fault_of_all():
    with pytest.raises(ValueError, match="block 0"):
        over_blocks(Failing, (), [0], workers=2)


def alive(process):
    """Whether a process runs still; one that ended and waits to be noticed does not."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def gone(processes, within_s=20.0):
    end = time.monotonic() + within_s
    while any(map(alive, processes)) and time.monotonic() < end:
        time.sleep(0.05)
    return not any(map(alive, processes))


@pytest.mark.slow
def test_a_stopped_run_does_not_wait_for_the_blocks_at_work(tmp_path):
    def stop_when_at_work():
        while len(list(tmp_path.iterdir())) < 2:
            time.sleep(0.05)
        os.kill(os.getpid(), signal.SIGINT)

    # Tests that run in the background of a shell are started with this signal ignored.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    threading.Thread(target=stop_when_at_work, daemon=True).start()
    try:
        with pytest.raises(KeyboardInterrupt):
            over_blocks(Sleeping, (str(tmp_path),), range(4), workers=2)
    finally:
        signal.signal(signal.SIGINT, before)
    assert gone([int(path.name) for path in tmp_path.iterdir()])


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc").is_dir(), reason="no list of processes")
def test_no_worker_outlives_a_parent_that_is_killed(tmp_path):
    path = {**os.environ, "PYTHONPATH": str(SUPPORT)}
    with subprocess.Popen([sys.executable, "-c", SLEEPS, tmp_path], env=path) as parent:
        end = time.monotonic() + 120.0
        while len(list(tmp_path.iterdir())) < 2 and time.monotonic() < end:
            time.sleep(0.1)
        workers = [int(each.name) for each in tmp_path.iterdir()]
        assert len(workers) == 2
        assert all(map(alive, workers))
        parent.kill()
    assert gone(workers)
