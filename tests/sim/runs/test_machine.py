"""As many processes as processors, and no more than memory carries."""

import argparse
import math
import os
import re
from pathlib import Path

import pytest
from small_networks import triangle

from hopyears.sim.commands.run_options import add_run_arguments, workers_of
from hopyears.sim.runs import machine


def test_processors_are_those_that_this_process_may_use() -> None:
    if hasattr(os, "sched_getaffinity"):
        assert machine.processors() == min(len(os.sched_getaffinity(0)), 256)
    assert 1 <= machine.processors() <= (os.cpu_count() or 1)


def test_free_memory_is_what_the_system_tells() -> None:
    """MemAvailable of proc(5), where there is one."""
    stated = Path("/proc/meminfo")
    if not stated.exists():
        pytest.skip("no /proc/meminfo here")
    available = int(re.search(r"MemAvailable:\s+(\d+) kB", stated.read_text()).group(1)) / 1024.0
    assert machine.free_mib() < 1.2 * available + 500.0


def test_a_container_leaves_its_limit_less_what_is_in_use(tmp_path: Path) -> None:
    """Files of control groups, version 2: Linux documentation, admin-guide/cgroup-v2, memory files."""
    left = machine._left_in_container_mib
    assert left(tmp_path) == math.inf
    (tmp_path / "memory.stat").write_text("anon 1073741824\nfile 5368709120\n")
    (tmp_path / "memory.max").write_text("4294967296\n")
    assert left(tmp_path) == 3072.0
    (tmp_path / "memory.max").write_text("max\n")
    assert left(tmp_path) == math.inf


def test_memory_of_a_process_is_no_less_than_what_runs_took() -> None:
    """Against the table of whole runs beside the benchmarks, temperate, ten years."""
    readme = Path(__file__).parents[3] / "experiments" / "benchmarks" / "README.md"
    rows = re.findall(
        r"^\| ([\d,]+) \| ([\d,]+) \| 10 \| temperate \|.*\| ([\d.]+) GiB \|", readme.read_text(), re.M
    )
    assert len(rows) >= 8
    for hops, services, gib in rows:
        told = machine.process_mib(int(hops.replace(",", "")), int(services.replace(",", "")), 10) / 1024.0
        assert float(gib) <= 1.02 * told <= 1.6 * float(gib)


@pytest.mark.parametrize(("free_mib", "number"), [(100.0, 1), (1300.0, 2), (3000.0, 5), (1e6, 8)])
def test_as_many_processes_as_memory_carries(free_mib, number, monkeypatch) -> None:
    monkeypatch.setattr(machine, "processors", lambda: 8)
    monkeypatch.setattr(machine, "free_mib", lambda: free_mib)
    found, why_fewer = machine.processes_that_fit(20, 15, 10)
    assert found == number
    assert (why_fewer == "") == (number == 8)
    if why_fewer:
        assert why_fewer.startswith(f"{number} of 8 processors at work: a process needs some 0.5 GiB, and ")


@pytest.mark.parametrize(
    ("words", "free_mib", "number", "told"),
    [
        ("", 1e6, 8, False),
        ("", 1000.0, 1, True),
        ("--workers 3", 1000.0, 3, False),
        ("--years 10", 1000.0, 1, False),
    ],
)
def test_a_verb_takes_so_many_unless_told(words, free_mib, number, told, monkeypatch, caplog) -> None:
    monkeypatch.setattr(machine, "processors", lambda: 8)
    monkeypatch.setattr(machine, "free_mib", lambda: free_mib)
    parser = argparse.ArgumentParser()
    add_run_arguments(parser)
    assert workers_of(parser.parse_args(words.split()), triangle("1+0")) == number
    assert [record.message.startswith("note: 1 of 8 processors") for record in caplog.records] == [
        True
    ] * told
