"""How fast is the main job? The demo network, 200 years, against a clock that steps through every 10 s.

    python experiments/benchmarks/demo.py

Limits (two cores): 200 plain years, without histories beside them, in under 30 s and with those that a run
has by default in under 60, all processes together under 1.5 GiB, ``hopyears --help`` in under 0.15 s. The
baseline is the rain of one hop alone as a log-normal first-order autoregressive series in 10 s steps (the
synthesiser of ITU-R P.1853), with numpy by whole days: no multipath, equipment, network or services. It is
timed for one hop-year.

Three runs: the first compiles, fills the caches and has its memory watched ten times a second, which costs it
some seconds; the others are timed and left alone.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from scipy.signal import lfilter

DEMO = Path(__file__).resolve().parents[1] / "demo" / "network.toml"
PROGRAM = Path(sys.executable).with_name("hopyears")
YEARS = 200
LONGEST_S, LONGEST_PLAIN_S, MOST_MIB, SLOWEST_HELP_S = 60.0, 30.0, 1536.0, 0.15


def memory_of_tree_mib(root: int) -> float:
    """Memory of a process and all its descendants [MiB]; a page shared by n of them counts 1/n in each."""
    total, waiting = 0.0, [root]
    while waiting:
        pid = waiting.pop()
        try:
            rollup = Path(f"/proc/{pid}/smaps_rollup").read_text()
            total += float(rollup.split("Pss:")[1].split()[0]) / 1024.0
            waiting += map(int, Path(f"/proc/{pid}/task/{pid}/children").read_text().split())
        except (OSError, IndexError):
            continue
    return total


def begin_demo(out: Path, *more: str) -> subprocess.Popen[bytes]:
    """Start a run."""
    command = [PROGRAM, "simulate", DEMO, "--years", str(YEARS), "--out", out, *more]
    return subprocess.Popen([*map(str, command)], stdout=subprocess.DEVNULL)


def most_memory_mib(out: Path) -> float:
    """Peak memory of a run [MiB]."""
    process, peak = begin_demo(out), 0.0
    while process.poll() is None:
        peak = max(peak, memory_of_tree_mib(process.pid))
        time.sleep(0.1)
    if process.returncode != 0:
        raise SystemExit("the demo run failed")
    return peak


def wall_time_s(out: Path, *more: str) -> float:
    """Wall time of a run [s]."""
    start = time.perf_counter()
    if begin_demo(out, *more).wait() != 0:
        raise SystemExit("the demo run failed")
    return time.perf_counter() - start


def help_time() -> float:
    """Best of five of ``hopyears --help`` [s]."""
    times = []
    for _ in range(5):
        start = time.perf_counter()
        subprocess.run([str(PROGRAM), "--help"], stdout=subprocess.DEVNULL, check=True)
        times.append(time.perf_counter() - start)
    return min(times)


def stepped_hop_year() -> float:
    """Time for one hop-year of the stepping baseline [s]."""
    random = np.random.default_rng(1)
    start = time.perf_counter()
    step_s, beta = 10.0, 2e-4
    rho = np.exp(-beta * step_s)
    state, beyond = np.zeros(1), 0
    for _ in range(365):
        noise = np.sqrt(1 - rho**2) * random.standard_normal(int(86400 / step_s))
        series, state = lfilter([1.0], [1.0, -rho], noise, zi=rho * state[-1:])
        beyond += int((np.exp(-3.0 + 1.5 * series) > 20.0).sum())
        state = series
    assert beyond >= 0
    return time.perf_counter() - start


def main() -> int:
    """Print the figures; 1 if a limit is missed."""
    with tempfile.TemporaryDirectory() as folder:
        peak_mib = most_memory_mib(Path(folder) / "first")
        took_s = wall_time_s(Path(folder) / "second")
        plain_s = wall_time_s(Path(folder) / "third", "--replications", "0")
    hops = DEMO.read_text().count("[[hops]]")
    stepped_s = min(stepped_hop_year() for _ in range(3))
    help_s = help_time()
    print(f"demo, {YEARS} years, {hops} hops: {took_s:.1f} s wall, {peak_mib:.0f} MiB in all processes")
    print(f"  whole network: {took_s / (YEARS * hops) * 1e3:.2f} ms a hop-year")
    print(f"  plain years: {plain_s:.1f} s wall, {plain_s / (YEARS * hops) * 1e3:.2f} ms a hop-year")
    print(f"  stepping baseline, rain of one hop only, one core: {stepped_s * 1e3:.1f} ms a hop-year")
    print(f"hopyears --help: {help_s:.3f} s")
    missed = took_s > LONGEST_S or plain_s > LONGEST_PLAIN_S or peak_mib > MOST_MIB or help_s > SLOWEST_HELP_S
    print("a limit is missed" if missed else "all limits met")
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
