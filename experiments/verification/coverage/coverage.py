"""How often a 95 % interval holds the truth, and how wide it is: chain, rings, demo and a network grown at
random after 50 to 1,000 years.

    python -m experiments.verification.coverage.coverage chain|ring|pairs|demo|grown POOL [YEARS [TRIALS]]

A run of YEARS with replications, in the folder POOL (made, or gone on with, if it lacks blocks), is the pool.
Every trial draws blocks from it with replacement, and apart from them as many histories and failures put in
by hand as a run of 50, 200 or 1,000 years has, and takes the intervals of all services. The truth of that
resampled world is the mean of the pool: thousands of history-years of failures, but of weather only what the
blocks hold: histories of rain are drawn from the blocks' own rain. Drawing blocks and histories apart
loses what they have in common, their storms.

``pairs`` is the ring at rest: no rain falls, no beam bends, its ends never fail, so that only two failures at
once stop it. YEARS of 0 takes the pool as it is.

Beside it stand the intervals from blocks alone, in the same world: weather of a block, failures of a history,
and rare failures at their rate; and those with replications but without histories of rain. Prints one line
for each figure and length: share of the trials that hold the truth (mean and least over services) and mean
half width over truth (median over services), all ways.
"""

import sys
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from experiments.benchmarks.grown_network import grow, network_file
from experiments.benchmarks.rare_chain import chain
from experiments.verification.coverage.ring import ring
from hopyears.models.network.network import Network, PartChange, Power
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.figures import UNSEEN_OUTAGE_S
from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.counting.statistics import mean_interval
from hopyears.sim.counting.tally_rows import BOTH
from hopyears.sim.inputs.network_file import NetworkSource, as_source, read_network
from hopyears.sim.rare.service_figures import FIGURES, Seen, ServiceFigures
from hopyears.sim.rare.strata import FORCED, REPLICATIONS, WAYS, n_draws
from hopyears.sim.rare.weather_controls import RainControl, rain_control
from hopyears.sim.runs.simulate import DEFAULT_REPLICATIONS, RunRequest, simulate
from hopyears.sim.storage.run_folder import RunFolder

DEMO = Path(__file__).parents[2] / "demo" / "network.toml"
STRONG = ("chassis", "controller", "fan", "mast", "software", "power_distribution", "line_card")


def pairs() -> NetworkSource:
    """The ring of single radios whose sites never fail, but once in 100,000 years."""
    network = ring().network
    changed = Network(
        **{
            **dict(network),
            "title": "ring that only failures at once stop",
            "sites": tuple(site.model_copy(update={"power": "strong"}) for site in network.sites),
            "power": (Power(id="strong", battery_h=1000.0, mains_outages_per_year=0.0),),
            "hops": tuple(hop.model_copy(update={"scheme": "1+0"}) for hop in network.hops),
            "parts": tuple(PartChange(kind=kind, mtbf_h=1e9) for kind in STRONG),
        }
    )
    return NetworkSource(
        changed, "pairs", (), changed.model_dump(mode="json", by_alias=True, exclude_none=True)
    )


def grown() -> NetworkSource:
    """60 hops grown at random, 45 services."""
    raw = tomllib.loads(network_file(grow(60, 45.0, 50.0), 45))
    return as_source(raw, "grown", Network.model_validate(raw))


NETWORKS: dict[str, Callable[[], NetworkSource]] = {
    "chain": chain,
    "ring": ring,
    "pairs": pairs,
    "demo": lambda: read_network(str(DEMO)),
    "grown": grown,
}
N_POOLED = 64
"""Replications of the pool; a run of the trials has the default number."""

BLOCK_YEARS = 10
LENGTHS = (50, 200, 1000)
SEED = 1
UNSEEN = (UNSEEN_OUTAGE_S, 10.0, 1.0)
"""What blocks alone assume where nothing was seen: seconds, severely errored seconds, outages."""


def main(arguments: list[str]) -> int:
    """Make the pool, draw from it, print."""
    name, folder, years, trials = (*arguments, "1000", "400")[:4]
    source, pool, calm = NETWORKS[name](), Path(folder), name == "pairs"
    pooled = ModelOptions(replications=N_POOLED, rain=not calm, multipath=not calm)
    if int(years) > BLOCK_YEARS * len(RunFolder(pool).finished_blocks() if pool.exists() else []):
        request = RunRequest(years=int(years), seed=SEED, block_years=BLOCK_YEARS, options=pooled)
        simulate(source, request, pool, resume=pool.exists())
    prepared = prepare(source.network, pooled)
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
            [
                replicated(figures, seen, n_blocks, rng),
                rain_of_blocks(figures, seen, n_blocks, rng),
                plain(seen, weights, n_blocks, rng),
            ]
            for _ in range(int(trials))
        ]
        report(np.array(told), truth[:, BOTH], length)
    return 0


def weights_of_draws(pool: RunFolder, n_services: int) -> NDArray[np.float64]:
    """Weight of each failure put in by hand of the pool [a year]; 0 where nobody loses by it."""
    found = []
    for block in pool.finished_blocks():
        table = KeyedTable.from_arrow(REPLICATIONS, pool.read_table(block, "service_replications"))
        shape = (n_services, len(WAYS), n_draws(N_POOLED, block)[1])
        found.append(table.spread("weight", shape, stratum=FORCED).max(axis=(0, 1)))
    return np.concatenate(found)


def replicated(
    figures: ServiceFigures, seen: Seen, n_blocks: int, rng: np.random.Generator
) -> list[list[tuple[float, float]]]:
    """Low and high of every figure of a resampled run, (n_services, n_figures, 2)."""
    return _told(figures, resampled(seen, n_blocks, DEFAULT_REPLICATIONS, rng))


def rain_of_blocks(
    figures: ServiceFigures, seen: Seen, n_blocks: int, rng: np.random.Generator
) -> list[list[tuple[float, float]]]:
    """The same without histories of rain."""
    drawn = resampled(seen, n_blocks, DEFAULT_REPLICATIONS, rng)
    return _told(figures, replace(drawn, rains=drawn.rains[:0]))


def resampled(seen: Seen, n_blocks: int, asked: int, rng: np.random.Generator) -> Seen:
    """A run of so many blocks and its replications, drawn from the pool with replacement."""
    blocks = rng.integers(len(seen.blocks), size=n_blocks)
    numbers = np.array([n_draws(asked, block) for block in range(n_blocks)]).sum(axis=0)
    drawn = (
        part[rng.integers(len(part), size=number)] if len(part) else part
        for part, number in zip(
            (seen.histories, seen.forced, seen.nights, seen.own_rain), numbers, strict=True
        )
    )
    of_blocks = (part[blocks] for part in (seen.blocks, seen.own, seen.own_rain))
    return Seen(*of_blocks, *drawn, seen.rain[blocks])


def _told(figures: ServiceFigures, seen: Seen) -> list[list[tuple[float, float]]]:
    found = figures.of(seen)
    services = range(seen.blocks.shape[1])
    return [[(each.low, each.high) for each in found.intervals(service)] for service in services]


def plain(
    seen: Seen, weights: NDArray[np.float64], n_blocks: int, rng: np.random.Generator
) -> list[list[tuple[float, float]]]:
    """The same from blocks alone."""
    blocks = rng.integers(len(seen.blocks), size=n_blocks)
    values = (seen.blocks - seen.own)[blocks]
    for part in (part for part in (seen.histories, seen.nights) if len(part)):
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
    """Print what the trials (n_trials, 3, n_services, n_figures, 2) of one length found, beside the truth, of
    shape (n_services, n_figures).
    """
    low, high = told[..., 0], told[..., 1]
    held = ((low <= truth) & (truth <= high)).mean(axis=0)
    half = (0.5 * (high - low)).mean(axis=0)
    for figure, name in enumerate(FIGURES):
        some = truth[:, figure] > 0.0
        if some.any():
            words = [
                f"{way} {held[i, some, figure].mean():.1%} (least {held[i, some, figure].min():.1%}) "
                f"+-{np.median(half[i, some, figure] / truth[some, figure]):.1%}"
                for i, way in enumerate(("replicated", "rain of blocks", "blocks alone"))
            ]
            print(f"{length:5d} years {name:20} {'; '.join(words)}", flush=True)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
