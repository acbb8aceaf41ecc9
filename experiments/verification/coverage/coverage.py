"""How often a 95 % interval holds the truth, and how wide it is: chain, ring and demo after 50 to 1,000
years.

    python -m experiments.verification.coverage.coverage chain|ring|demo POOL [YEARS [TRIALS]]

A run of YEARS with replications, in the folder POOL (made, or gone on with, if it lacks blocks), is the pool.
Every trial draws blocks from it with replacement, and apart from them as many histories and failures put in
by hand as a run of 50, 200 or 1,000 years has, and takes the intervals of all services. The truth of that
resampled world is the mean of the pool: thousands of history-years of failures, but of weather only what the
blocks hold. Drawing blocks and histories apart loses what they have in common, their storms.

Beside it stand the intervals from blocks alone, in the same world: weather of a block, failures of a history,
and rare failures at their rate. Prints one line for each figure and length: share of the trials that hold the
truth (mean and least over services) and mean half width over truth (median over services), both ways.
"""

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from experiments.benchmarks.rare_chain import chain
from experiments.benchmarks.rare_ring import ring
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.figures import UNSEEN_OUTAGE_S
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.statistics import mean_interval
from hopyears.sim.counting.tally_rows import BOTH
from hopyears.sim.inputs.network_file import NetworkSource, read_network
from hopyears.sim.rare.replications import FORCED, REPLICATIONS, WAYS, n_draws
from hopyears.sim.rare.service_figures import FIGURES, Seen, ServiceFigures
from hopyears.sim.rare.weather_controls import RainControl, rain_control
from hopyears.sim.runs.simulate import DEFAULT_REPLICATIONS, RunRequest, simulate
from hopyears.sim.storage.run_folder import RunFolder

DEMO = Path(__file__).parents[2] / "demo" / "network.toml"
NETWORKS: dict[str, Callable[[], NetworkSource]] = {
    "chain": chain,
    "ring": ring,
    "demo": lambda: read_network(str(DEMO)),
}
POOLED = ModelOptions(replications=32)
"""Options of the pool; a run of the trials has the default number of replications."""

BLOCK_YEARS = 10
LENGTHS = (50, 200, 1000)
SEED = 1
UNSEEN = (UNSEEN_OUTAGE_S, 10.0, 1.0)
"""What blocks alone assume where nothing was seen: seconds, severely errored seconds, outages."""


def main(arguments: list[str]) -> int:
    """Make the pool, draw from it, print."""
    name, folder, years, trials = (*arguments, "1000", "400")[:4]
    source, pool = NETWORKS[name](), Path(folder)
    if int(years) > BLOCK_YEARS * len(RunFolder(pool).finished_blocks() if pool.exists() else []):
        request = RunRequest(years=int(years), seed=SEED, block_years=BLOCK_YEARS, options=POOLED)
        simulate(source, request, pool, resume=pool.exists())
    prepared = prepare(source.network, POOLED)
    rain = rain_control(prepared)
    seen = Seen.read(prepared, rain, RunFolder(pool))
    # Rain of the resampled world has the mean of the pool.
    rain = RainControl(rain.rows, seen.rain.mean(axis=0), rain.error_s)
    figures = ServiceFigures(prepared, seen, BLOCK_YEARS, rain)
    drawn = [seen.histories, seen.forced, seen.nights]
    truth = sum((part.mean(axis=0) for part in drawn if len(part)), (seen.blocks - seen.own).mean(axis=0))
    weights = weights_of_draws(RunFolder(pool), len(prepared.demands))
    names = ("histories", "failures put in by hand", "histories of multipath")
    sizes = ", ".join(f"{len(part)} {each}" for part, each in zip(drawn, names, strict=True))
    print(f"{name}: pool of {len(seen.blocks)} blocks, {sizes}")
    rng = np.random.default_rng(SEED)
    for length in LENGTHS:
        n_blocks = length // BLOCK_YEARS
        told = [
            [replicated(figures, seen, n_blocks, rng), plain(seen, weights, n_blocks, rng)]
            for _ in range(int(trials))
        ]
        report(np.array(told), truth[:, BOTH], length)
    return 0


def weights_of_draws(pool: RunFolder, n_services: int) -> NDArray[np.float64]:
    """Weight of each failure put in by hand of the pool [a year]; 0 where nobody loses by it."""
    found = []
    for block in pool.finished_blocks():
        table = KeyedTable.from_arrow(REPLICATIONS, pool.read_table(block, "service_replications"))
        shape = (n_services, len(WAYS), n_draws(POOLED.replications, block)[1])
        found.append(table.spread("weight", shape, stratum=FORCED).max(axis=(0, 1)))
    return np.concatenate(found)


def replicated(
    figures: ServiceFigures, seen: Seen, n_blocks: int, rng: np.random.Generator
) -> list[list[tuple[float, float]]]:
    """Low and high of every figure of a resampled run, (n_services, n_figures, 2)."""
    blocks = rng.integers(len(seen.blocks), size=n_blocks)
    numbers = np.array([n_draws(DEFAULT_REPLICATIONS, block) for block in range(n_blocks)]).sum(axis=0)
    drawn = (
        part[rng.integers(len(part), size=number)]
        for part, number in zip((seen.histories, seen.forced, seen.nights), numbers, strict=True)
    )
    of_blocks = (part[blocks] for part in (seen.blocks, seen.own))
    found = figures.of(Seen(*of_blocks, *drawn, seen.storms[blocks], seen.rain[blocks]))
    services = range(seen.blocks.shape[1])
    return [[(each.low, each.high) for each in found.intervals(service)] for service in services]


def plain(
    seen: Seen, weights: NDArray[np.float64], n_blocks: int, rng: np.random.Generator
) -> list[list[tuple[float, float]]]:
    """The same from blocks alone."""
    blocks = rng.integers(len(seen.blocks), size=n_blocks)
    values = (seen.blocks - seen.own)[blocks]
    for part in (seen.histories, seen.nights):
        values += part[rng.integers(len(part), size=n_blocks)]
    rate_per_block = BLOCK_YEARS * float(weights.mean())
    chance = weights / max(weights.sum(), 1e-300)
    for block, number in enumerate(rng.poisson(rate_per_block, n_blocks).tolist()):
        for draw in rng.choice(len(weights), size=number, p=chance).tolist():
            values[block] += seen.forced[draw] / weights[draw] / BLOCK_YEARS
    told = []
    for service in range(values.shape[1]):
        found = [
            mean_interval(np.maximum(column, 0.0), largest_unseen=most / BLOCK_YEARS)
            for column, most in zip(values[:, service, BOTH].T, UNSEEN, strict=True)
        ]
        told.append([(each.low, each.high) for each in found])
    return told


def report(told: NDArray[np.float64], truth: NDArray[np.float64], length: int) -> None:
    """Print what the trials (n_trials, 2, n_services, n_figures, 2) of one length found."""
    low, high = told[..., 0], told[..., 1]
    held = ((low <= truth) & (truth <= high)).mean(axis=0)
    half = (0.5 * (high - low)).mean(axis=0)
    for figure, name in enumerate(FIGURES):
        some = truth[:, figure] > 0.0
        if some.any():
            words = [
                f"{way} {held[i, some, figure].mean():.1%} (least {held[i, some, figure].min():.1%}) "
                f"+-{np.median(half[i, some, figure] / truth[some, figure]):.1%}"
                for i, way in enumerate(("replicated", "blocks alone"))
            ]
            print(f"{length:5d} years {name:20} {'; '.join(words)}", flush=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
