"""How many years a plain run takes for what a run with a control knows from few: shared by the benchmarks."""

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.inputs.network_file import NetworkSource
from hopyears.sim.rare.control import ControlBlocks, controlled, rain_control
from hopyears.sim.runs.simulate import RunRequest, simulate
from hopyears.sim.storage.run_folder import RunFolder
from hopyears.sim.textbook.predict import predict_services

LEAST_SAVING, WANTED = 10.0, 0.1
"""Times fewer years, and relative half-width of the 95 % interval, that a benchmark must reach."""

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
    rain = rain_control(prepared)
    with tempfile.TemporaryDirectory() as folder:
        few, few_s = _run(case.source, Path(folder) / "few", case.years, SEED, case.surer)
        many, many_s = _run(case.source, Path(folder) / "many", case.plain_years, PLAIN_SEED, case.plain)
        found = controlled(ControlBlocks.read(prepared, rain, few), rain, 0)
        assert found is not None  # the run has enough blocks
        blocks = ControlBlocks.read(prepared, rain, many).unavailable_s[:, 0]
    plain, error = float(blocks.mean()), float(blocks.std(ddof=1) / np.sqrt(blocks.size))
    width = 1.96 * error / plain
    needed = years_needed(1.96 * error, plain, case.plain_years)
    got = found.interval.half_width / found.interval.best
    apart = (found.interval.best - plain) / np.hypot(error, found.interval.half_width / 2.0)
    print(f"textbook sum {textbook:7.2f} min/year")
    print(
        f"plain        {plain / 60:7.2f} min/year +-{width:.1%} in {case.plain_years} years ({many_s:.0f} s)"
    )
    best = found.interval.best / 60
    print(f"controlled   {best:7.2f} min/year +-{got:.1%} in {case.years} years ({few_s:.0f} s)")
    mean, chance = rain.mean_s[0] / 60, rain.error_s[0] / 60
    print(f"rain alone, hop by hop {mean:7.2f} +- {chance:.2f} min/year, from snapshots")
    print(f"+-{WANTED:.0%} takes {needed:.0f} years plain: {needed / case.years:.1f} times the short run")
    print(f"means {apart:+.1f} standard errors apart")
    return int(needed / case.years < LEAST_SAVING or got > WANTED or abs(apart) > 4.0)


def years_needed(half_width: float, mean: float, years: float) -> float:
    """Years for a half-width of a tenth of the mean, from the half-width after some years."""
    return years * (half_width / (WANTED * mean)) ** 2


def _run(
    source: NetworkSource, folder: Path, years: int, seed: int, options: ModelOptions
) -> tuple[RunFolder, float]:
    """A run and the seconds that it took."""
    started = time.perf_counter()
    request = RunRequest(years=years, seed=seed, block_years=10, workers=2, options=options)
    return simulate(source, request, folder), time.perf_counter() - started
