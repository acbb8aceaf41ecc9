"""Speed of the failure simulation: 300 hops for 1,000 years, against a plain SimPy process per part.

    python -m experiments.benchmarks.failures

Question: do crews, spares, power, weather holds and changeovers cost less than a factor of 5 over the
plainest possible program, a SimPy process per part that fails and is mended with nothing shared? Both run
here and now, on the same plant, the same 100 blocks of 10 years and the same two processes.
Passes if the first takes under 15 s and the ratio is under 5.
"""

import sys
import time
from collections.abc import Callable, Generator
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_context

import numpy as np
import simpy

from hopyears.models.basics.intervals import Intervals, merged
from hopyears.models.basics.units import HOURS_PER_YEAR, SECONDS_PER_YEAR
from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.plant import Plant, PlantPart, PlantSite, ProtectionGroup
from hopyears.models.network.network import Crew, Depot, LightningRisk, Maintenance, Power, Site, Switching
from hopyears.sim.equipment.failure_tally import failure_tally
from hopyears.sim.equipment.failures import simulate_failures
from hopyears.sim.equipment.upkeep_builder import crew_base, planned_work, power_supply, spare_store
from hopyears.sim.streams import Streams

N_HOPS, N_SITES, N_BLOCKS, BLOCK_YEARS, STORMS_PER_YEAR = 300, 250, 100, 10, 40
SITE_KINDS = ("controller", "line_card", "rectifier", "power_distribution", "mast", "software")
CHAIN_KINDS = ("outdoor_radio", "cable", "modem_card")
LIMIT_S, LIMIT_RATIO = 15.0, 5.0


@cache
def plant() -> Plant:
    """An invented network: 300 hops between 250 sites, every third hop with hot standby."""
    place = np.random.default_rng(1)
    sites = [
        PlantSite(
            f"s{i}", 45.0 + place.random(), 8.0 + 1.4 * place.random(),
            power=power_supply(Power(id="power", generator=i % 10 == 0), 0.0),
            planned=(planned_work(Maintenance(site=f"s{i}", every_days=365.25)),),
        )
        for i in range(N_SITES)
    ]  # fmt: skip
    parts = [PlantPart(f"s{i}/{kind}", kind, i) for i in range(N_SITES) for kind in SITE_KINDS]
    parts += [PlantPart(f"s{i}/rectifier 2", "rectifier", i) for i in range(N_SITES)]
    groups = []
    for hop in range(N_HOPS):
        for site in place.choice(N_SITES, 2, replace=False).tolist():
            parts.append(PlantPart(f"h{hop}/s{site}/antenna", "antenna", site))
            chains = []
            for chain in range(2 if hop % 3 == 0 else 1):
                chains.append(tuple(range(len(parts), len(parts) + len(CHAIN_KINDS))))
                parts += [PlantPart(f"h{hop}/s{site}/{kind} {chain}", kind, site) for kind in CHAIN_KINDS]
            if len(chains) == 2:
                groups.append(_group(f"h{hop}/s{site}", tuple(chains)))
    bases = [Site(id=name, latitude_deg=45.5, longitude_deg=x) for name, x in (("west", 8.4), ("east", 9.0))]
    spares = (
        "outdoor_radio",
        "antenna",
        "cable",
        "modem_card",
        "controller",
        "chassis",
        "fan",
        "line_card",
        "rectifier",
    )
    return Plant(
        sites, parts, groups,
        crews=[crew_base(Crew(id=base.id, base=base.id, teams=2), base) for base in bases],
        depots=[spare_store(Depot(id="west", base="west", stock=dict.fromkeys(spares, 8)), bases[0])],
        lightning=LightningRisk(),
    )  # fmt: skip


def _group(name: str, chains: tuple[tuple[int, ...], ...]) -> ProtectionGroup:
    switching = Switching(reverts=True)
    return ProtectionGroup(
        name, chains,
        stopped_by=(),
        switch_time_s=switching.changeover_s,
        switch_failure=switching.failure_on_demand,
        manual_switch=Law.lognormal(switching.manual_switch_h, 0.5),
        revertive=switching.reverts,
        wait_to_restore_s=switching.wait_to_restore_s,
        test=Law.fixed(switching.standby_test_days * 24.0),
    )  # fmt: skip


def storms(block: int) -> Intervals:
    """Invented storms that cross the sites within an hour or two of one another."""
    weather = np.random.default_rng((7, block))
    end_s = BLOCK_YEARS * SECONDS_PER_YEAR
    n_storms = BLOCK_YEARS * STORMS_PER_YEAR
    start_s = weather.uniform(0.0, end_s, n_storms) + weather.normal(0.0, 3600.0, (N_SITES, n_storms))
    length_s = weather.gamma(3.0, 3600.0, (N_SITES, n_storms))
    row = np.repeat(np.arange(N_SITES), n_storms)
    start_s = np.clip(start_s.ravel(), 0.0, end_s)
    return merged(row, start_s, np.minimum(start_s + length_s.ravel(), end_s), n_rows=N_SITES)


def full_block(block: int) -> tuple[float, float, int]:
    """One block with everything: processor seconds to simulate it and to invent its storms, failures."""
    began = time.process_time()
    weather = storms(block)
    ready = time.process_time()
    log = simulate_failures(plant(), Streams(1, block), BLOCK_YEARS * SECONDS_PER_YEAR, storms=weather)
    tally = failure_tally(log, plant())
    return time.process_time() - ready, ready - began, int(tally.kinds.columns["failures"].sum())


def plain_block(block: int) -> tuple[float, float, int]:
    """One block of the plainest program: processor seconds, 0, failures."""
    began = time.process_time()
    env, draws, seen = simpy.Environment(), np.random.default_rng(block), [0]
    means = [(part.life or plant().kinds[part.kind].life).mean_h for part in plant().parts]

    def life(mean_h: float) -> Generator[simpy.Event, None, None]:
        while True:
            yield env.timeout(draws.exponential(mean_h))
            seen[0] += 1
            yield env.timeout(draws.exponential(6.0))

    for mean_h in means:
        env.process(life(mean_h))
    env.run(until=BLOCK_YEARS * HOURS_PER_YEAR)
    return time.process_time() - began, 0.0, seen[0]


def measure(name: str, block: Callable[[int], tuple[float, float, int]], pool: ProcessPoolExecutor) -> float:
    """Print what all blocks take and give their wall time without the invention of storms [s]."""
    began = time.perf_counter()
    spent = list(pool.map(block, range(N_BLOCKS)))
    wall_s = time.perf_counter() - began
    work_s, storms_s, failures = (sum(column) for column in zip(*spent, strict=True))
    wall_s *= work_s / (work_s + storms_s)
    print(f"{name:24s} {wall_s:6.2f} s wall, {work_s:6.2f} s of processor, {failures:,} failures")
    return wall_s


def main() -> int:
    """Run both; 0 if the limits are kept."""
    print(
        f"{N_HOPS} hops, {len(plant().parts):,} parts, {N_BLOCKS} blocks of {BLOCK_YEARS} years, 2 processes"
    )
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        list(pool.map(full_block, (-1 % 1000, -2 % 1000)))
        plain_s = measure("plain SimPy", plain_block, pool)
        full_s = measure("crews, power, weather", full_block, pool)
    print(f"ratio {full_s / plain_s:.2f} (limit {LIMIT_RATIO:g}), limit {LIMIT_S:g} s")
    return 0 if full_s < LIMIT_S and full_s < LIMIT_RATIO * plain_s else 1


if __name__ == "__main__":
    sys.exit(main())
