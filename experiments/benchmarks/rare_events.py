"""Years that a chain of four hops at five nines each takes to +-10 %: plain, and with control variates.

    python -m experiments.benchmarks.rare_events

The hops share storms (some outages of neighbours overlap) and have their own rare, long failures: 315 s a
year each, by construction, so the mean of each hop's outage is known exactly. The service is down while
any hop is, by the services sweep and the ten-second rule. Its outage is not the sum of the hops', yet
follows it closely: that sum, corrected by its known mean, is the control. Prints the years that either
way takes for a 95 % interval of +-10 %, and fails if the saving is below 10 or the controlled mean is not
that of a longer plain run within 4 standard errors.
"""

import sys

import numpy as np

from experiments.benchmarks.fewer_years import LEAST_SAVING, years_needed
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.counting.tally_rows import three_ways
from hopyears.sim.counting.variance_reduction import control_variate
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service import ServiceDemand, sweep_services
from hopyears.sim.streams import Streams

N_HOPS, BLOCK_YEARS, N_BLOCKS, N_PLAIN = 4, 10, 200, 2000
STORMS_PER_YEAR, HIT_CHANCE, STORM_OUTAGE_S = 2.0, 0.5, 250.0
FAILURES_PER_YEAR, FAILURE_S = 0.0045, 14_400.0
HOP_OUTAGE_S = BLOCK_YEARS * (STORMS_PER_YEAR * HIT_CHANCE * STORM_OUTAGE_S + FAILURES_PER_YEAR * FAILURE_S)


def hop_outages(rng: np.random.Generator) -> list[np.ndarray]:
    """Outages of each hop in a block, rows of start and length [s]: shared storms, then own failures."""
    duration_s = BLOCK_YEARS * SECONDS_PER_YEAR
    storm_s = rng.uniform(0.0, duration_s, rng.poisson(STORMS_PER_YEAR * BLOCK_YEARS))
    strength = rng.lognormal(-0.5, 1.0, storm_s.size)  # mean 1, common to the hops that a storm hits
    outages = []
    for hop in range(N_HOPS):
        hit = rng.random(storm_s.size) < HIT_CHANCE
        length_s = strength * rng.exponential(STORM_OUTAGE_S, storm_s.size)
        own = rng.uniform(0.0, duration_s, rng.poisson(FAILURES_PER_YEAR * BLOCK_YEARS))
        rain = np.stack([storm_s + 120.0 * hop, length_s], axis=1)[hit]
        outages.append(np.concatenate([rain, np.stack([own, rng.exponential(FAILURE_S, own.size)], axis=1)]))
    return outages


def history(outages: np.ndarray) -> HopHistory:
    """A hop that is down in its outages."""
    time_s = np.concatenate([outages[:, 0], outages.sum(axis=1)])
    step = np.repeat([1, -1], outages.shape[0])
    order = np.argsort(time_s, kind="stable")
    down = np.append(0, np.cumsum(step[order]) > 0).astype(np.int32)
    capacity = np.array([[100.0, 100.0], [0.0, 0.0]])
    return HopHistory(np.append(0.0, time_s[order]), down, capacity, np.array([0, 1]))


def block(number: int) -> tuple[float, float]:
    """Unavailable seconds of the service in a block, and the sum of the lengths of the hops' outages."""
    outages = hop_outages(Streams(1, number).generator("chain"))
    service = ServiceDemand("chain", 50.0, 50.0, 1, (tuple((hop, 0) for hop in range(N_HOPS)),))
    duration_s = BLOCK_YEARS * SECONDS_PER_YEAR
    found = sweep_services([history(each) for each in outages], [service], duration_s)[0]
    return three_ways(found, duration_s)[2].unavailable_s, sum(each[:, 1].sum() for each in outages)


def main() -> int:
    """Compare both ways."""
    service_s, hops_s = np.array([block(number) for number in range(N_PLAIN)]).T
    plain, error = service_s.mean(), service_s.std(ddof=1) / np.sqrt(N_PLAIN)
    found = control_variate(service_s[:N_BLOCKS], hops_s[:N_BLOCKS], N_HOPS * HOP_OUTAGE_S)
    plain_years = years_needed(1.96 * error, plain, N_PLAIN * BLOCK_YEARS)
    controlled_years = years_needed(found.interval.half_width, found.interval.best, N_BLOCKS * BLOCK_YEARS)
    apart = (found.interval.best - plain) / np.hypot(error, found.interval.half_width / 1.96)
    print(f"textbook sum     {N_HOPS * HOP_OUTAGE_S / BLOCK_YEARS:8.1f} s/year")
    print(f"plain            {plain / BLOCK_YEARS:8.1f} s/year, {plain_years:7.0f} years to +-10 %")
    best = found.interval.best / BLOCK_YEARS
    print(f"control variate  {best:8.1f} s/year, {controlled_years:7.0f} years to +-10 %")
    print(f"saving {plain_years / controlled_years:.0f} times; means {apart:+.1f} standard errors apart")
    return int(plain_years / controlled_years < LEAST_SAVING or abs(apart) > 4.0)


if __name__ == "__main__":
    sys.exit(main())
