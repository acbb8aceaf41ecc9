"""Blocks on a cluster: a real scheduler and two workers of dask.distributed on this machine."""

import json
import os
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest
from small_networks import source_of, triangle
from stand_in_studies import Failing, Sleeping, Squares

from hopyears.sim.blocks.prepared import ModelOptions
from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.runs import cluster
from hopyears.sim.runs.block_pool import over_blocks
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.storage.whole_file import RunError

SUPPORT = Path(__file__).parents[2] / "support"
QUIET = ModelOptions(rain=False, multipath=False)
REQUEST = RunRequest(years=4, seed=5, block_years=1, options=QUIET)


def wait_for(ready, within_s=600.0):
    end = time.monotonic() + within_s
    while not ready() and time.monotonic() < end:
        time.sleep(0.1)
    assert ready()


class Cluster:
    """A scheduler and its workers, each a process of its own."""

    def __init__(self, folder):
        self._file = folder / "scheduler.json"
        self._log = (folder / "log").open("w")
        self.scheduler = self._started("scheduler", "--port", "0", "--no-dashboard")
        wait_for(self._file.exists)
        self.address = json.loads(self._file.read_text())["address"]
        self.workers = [self.more(), self.more()]

    def _started(self, *words):
        path = os.pathsep.join([str(SUPPORT), os.environ.get("PYTHONPATH", "")])
        return subprocess.Popen(
            [sys.executable, "-m", "dask", *words, "--host", "127.0.0.1", "--scheduler-file", self._file],
            env={**os.environ, "PYTHONPATH": path},
            stdout=self._log,
            stderr=self._log,
            cwd=self._file.parent,
        )

    def more(self):
        return self._started("worker", "--nthreads", "1", "--no-nanny", "--no-dashboard")

    def close(self):
        for process in [*self.workers, self.scheduler]:
            process.kill()
            process.wait()
        self._log.close()


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    made = Cluster(tmp_path_factory.mktemp("cluster"))
    yield made
    made.close()


def content(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.slow
def test_a_run_leaves_the_same_bytes_though_a_worker_is_lost(running, tmp_path):
    def kill_one(done, of_all):
        if done == 1:
            running.workers[0].kill()

    request = replace(REQUEST, workers=running.address)
    simulate(source_of(triangle()), request, tmp_path / "cluster", progress=kill_one)
    running.workers.append(running.more())
    simulate(source_of(triangle()), REQUEST, tmp_path / "one")
    assert content(tmp_path / "cluster") == content(tmp_path / "one")


@pytest.mark.slow
def test_results_come_in_the_order_asked_for(running):
    assert over_blocks(Squares, (), [3, 0, 2], workers=running.address) == [9, 0, 4]


@pytest.mark.slow
def test_a_fault_in_a_block_is_the_fault_of_all(running):
    with pytest.raises(ValueError, match="block 1"):
        over_blocks(Failing, (), [1], workers=running.address)


@pytest.mark.slow
def test_a_worker_with_other_versions_is_refused(running, monkeypatch):
    monkeypatch.setattr(cluster, "versions", lambda: {"numpy": "1.0"})
    with pytest.raises(RunError, match=r"^worker on \S+: numpy is 2\S+; must be 1\.0, as in the run$"):
        over_blocks(Squares, (), [1], workers=running.address)


@pytest.mark.slow
def test_a_lost_scheduler_ends_in_one_line(tmp_path, caplog, capfd):
    own, at_work = Cluster(tmp_path), tmp_path / "at-work"
    at_work.mkdir()

    def kill_scheduler():
        wait_for(lambda: any(at_work.iterdir()))
        own.scheduler.kill()

    threading.Thread(target=kill_scheduler, daemon=True).start()
    try:
        with pytest.raises(RunError, match=r"^tcp://127\S+: scheduler is lost.*; finished blocks are kept"):
            over_blocks(Sleeping, (str(at_work),), range(3), workers=own.address)
        assert caplog.records == []
        assert capfd.readouterr().err == ""
    finally:
        own.close()


@pytest.mark.slow
def test_a_scheduler_that_does_not_answer_is_refused(monkeypatch):
    monkeypatch.setattr(cluster, "CONNECT_S", 0.2)
    with pytest.raises(
        InputError, match=r"^--cluster is tcp://127.0.0.1:9; must be the address of a scheduler"
    ):
        over_blocks(Squares, (), [1], workers="tcp://127.0.0.1:9")


@pytest.mark.parametrize("address", ["", "here", "tcp://host", "http://host:1", "tcp://host:1/x"])
def test_what_is_no_address_is_refused(address):
    with pytest.raises(InputError, match=r'^--cluster is ".*"; must be tcp://HOST:PORT of a scheduler$'):
        over_blocks(Squares, (), [1], workers=address)


def test_without_the_package_it_is_told_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(
        InputError, match=r"^--cluster needs the package distributed; .*'hopyears\[cluster\]'$"
    ):
        over_blocks(Squares, (), [1], workers="tcp://127.0.0.1:8786")
