"""How much time plain blocks take for what a run with replications knows sooner: shared by the benchmarks."""

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.statistics import Interval
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.rare.service_figures import UNAVAILABLE, ServiceFigures
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.textbook.predict import predict_services

LEAST_SAVING, WANTED = 10.0, 0.1
"""Times less processor time, and relative half-width of the 95 % interval, that a benchmark must reach."""

SEED, PLAIN_SEED = 1, 2


@dataclass(frozen=True)
class Comparison:
    """A network whose first service is looked at, and the runs to compare.

    ``surer`` are the options of the short run, of ``years``; ``plain`` those of the one of ``plain_years``.
    """

    source: NetworkSource
    surer: ModelOptions
    plain: ModelOptions
    years: int
    plain_years: int


def compare(case: Comparison) -> int:
    """Run both, print both; 1 if the saving, the precision or the agreement is missed, else 0."""
    prepared = prepare(case.source.network, case.surer)
    textbook = float(predict_services(prepared)["total_min_per_year"].iloc[0])
    with tempfile.TemporaryDirectory() as folder:
        found, few_s = _run(case.source, Path(folder) / "few", case.years, SEED, case.surer)
        plain, many_s = _run(case.source, Path(folder) / "many", case.plain_years, PLAIN_SEED, case.plain)
    # The spread between plain blocks is known too badly for its interval to be the measure of many more.
    needed_s = years_needed(plain.half_width, plain.best, many_s)
    error = np.hypot(plain.half_width, found.half_width) / 2.0
    got, apart = found.half_width / found.best, (found.best - plain.best) / error
    print(f"textbook sum {textbook:7.2f} min/year")
    for name, each, years, spent_s in (
        ("plain", plain, case.plain_years, many_s),
        ("replicated", found, case.years, few_s),
    ):
        width = each.half_width / each.best
        print(f"{name:12} {each.best / 60:7.2f} min/year +-{width:.1%} in {years} years, {spent_s:.0f} s")
    print(f"+-{WANTED:.0%} takes {needed_s:.0f} s plain: {needed_s / few_s:.1f} times the short run")
    print(f"means {apart:+.1f} standard errors apart")
    return int(needed_s / few_s < LEAST_SAVING or got > WANTED or abs(apart) > 4.0)


def years_needed(half_width: float, mean: float, years: float) -> float:
    """Years (or time) for a half-width of a tenth of the mean, from the half-width after some."""
    return years * (half_width / (WANTED * mean)) ** 2


def _run(
    source: NetworkSource, folder: Path, years: int, seed: int, options: ModelOptions
) -> tuple[Interval, float]:
    """Unavailable seconds a year of the first service, and the processor time that it took [s]."""
    started = time.process_time()
    request = RunRequest(years=years, seed=seed, block_years=10, workers=1, options=options)
    stored = simulate(source, request, folder)
    spent_s = time.process_time() - started
    return ServiceFigures.read(prepare(source.network, options), stored).interval(0, UNAVAILABLE), spent_s
