"""How many processes this machine carries: its processors, and the memory that each process needs."""

import math
import os
from pathlib import Path

MIB_ALONE, MIB_A_HOP, MIB_A_SERVICE = 450.0, 0.75, 0.55
"""Memory of one process [MiB], and what each hop and service adds in blocks of ten years: what runs of 20 to
2,000 hops and 15 to 1,500 services took at most, and a tenth more (experiments/benchmarks, growth)."""

SPARED = 0.1
"""Share of the free memory that is left to others."""

MOST_PROCESSES = 256
_CONTAINER = Path("/sys/fs/cgroup")


def processors() -> int:
    """Processors that this process may use."""
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(usable, MOST_PROCESSES)


def free_mib() -> float:
    """Memory that new processes can have [MiB]: of the machine, or of the container where that has less."""
    import psutil

    return min(psutil.virtual_memory().available / 2.0**20, _left_in_container_mib(_CONTAINER))


def _left_in_container_mib(folder: Path) -> float:
    """What the limit of a control group (version 2) leaves [MiB]; infinite without one."""
    try:
        limit = int((folder / "memory.max").read_text())
        stated = dict(line.split() for line in (folder / "memory.stat").read_text().splitlines())
        return (limit - int(stated["anon"])) / 2.0**20
    except (OSError, ValueError, KeyError):
        return math.inf


def process_mib(n_hops: int, n_services: int, block_years: int) -> float:
    """Memory that a process needs at most for blocks of a network [MiB], about."""
    own = MIB_A_HOP * n_hops + MIB_A_SERVICE * n_services
    return MIB_ALONE + own * max(block_years / 10.0, 1.0)


def processes_that_fit(n_hops: int, n_services: int, block_years: int) -> tuple[int, str]:
    """One process for each processor, but no more than free memory carries; why there are fewer, or ""."""
    each_mib, free, most = process_mib(n_hops, n_services, block_years), free_mib(), processors()
    number = int(min(max(free * (1.0 - SPARED) / each_mib, 1.0), most))
    if number == most:
        return most, ""
    return number, (
        f"{number} of {most} processors at work: a process needs some {each_mib / 1024.0:.1f} GiB, and "
        f"{free / 1024.0:.1f} GiB of memory are free; --workers N takes N all the same"
    )
