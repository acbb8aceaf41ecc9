"""Speed of rain: storms drawn and their course on 200 hops, against a step-by-step run of the same cells.

    python -m experiments.benchmarks.rain [--climate NAME] [--years N]

Question: what do drawing the rain of 200 hops in 75 x 100 km (an invented network, see ``grown_network``),
its course on every hop where the lowest modulation is in danger, and the times of storms near sites cost, in
processor time for one year of one hop? Lowest modulations are lost at 7 to 25 dB of raw attenuation, evenly.
Two baselines in the same run: every cell alive at every ten seconds on a hop, in numpy (some hours of it),
and a log-normal AR(1) of each hop's attenuation alone, which knows nothing of storms, at the same step.
Prints all of them and fails if rain is not ``LEAST_RATIO`` times faster than the first.
"""

import argparse
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from experiments.benchmarks.grown_network import GrownNetwork, grow
from hopyears.models.air.rain_attenuation import coefficients
from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.storm import DEFAULT_STORMS
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.rain.rain_field import RainField, Region
from hopyears.sim.rain.rain_kernel import HopLine, attenuation_at, rain_knots
from hopyears.sim.rain.storm_intervals import storm_intervals
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.rain.weather import uniform_weather
from hopyears.sim.streams import Streams

CLIMATES = {
    "temperate": RainLaw(np.full(12, 2.2), np.full(12, 0.05)),
    "wet-cool": RainLaw(np.full(12, 0.8), np.full(12, 0.20)),
    "equatorial": RainLaw(np.full(12, 6.0), np.full(12, 0.05)),
}
"""Mean rate [mm/h] and probability of rain of each month; invented, typical of their names."""

N_HOPS, WIDTH_KM, HEIGHT_KM = 200, 75.0, 100.0
LOWEST_DB, HIGHEST_DB, STEP_S = 7.0, 25.0, 10.0
LEAST_RATIO = 20.0
_BASELINE_HOPS, _BASELINE_HOURS = 3, 48


def main(arguments: list[str] | None = None) -> int:
    """Run all and compare."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--climate", choices=sorted(CLIMATES), default="temperate")
    parser.add_argument("--years", type=int, default=2, help="years drawn")
    options = parser.parse_args(arguments)
    law, years = CLIMATES[options.climate], options.years
    network = grow(N_HOPS, WIDTH_KM, HEIGHT_KM)
    region = Region.around(network.sites_km[:, 0], network.sites_km[:, 1])
    hops, thresholds_db = lines(network), np.linspace(LOWEST_DB, HIGHEST_DB, N_HOPS)
    compile_all(law, network, hops)
    per = 1e3 / years / N_HOPS
    weather = uniform_weather(law, region, DEFAULT_POPULATION, DEFAULT_STORMS)
    field, draw_s = timed(lambda: draw_storms(Streams(1, 0), weather, region, n_years=years))
    _, prepare_s = timed(lambda: field.for_kernel)
    knots, course_s = timed(
        lambda: [
            rain_knots(field, hop, lowest_threshold_db=float(level))
            for hop, level in zip(hops, thresholds_db, strict=True)
        ]
    )
    _, near_s = timed(lambda: storm_intervals(field, network.sites_km, distance_km=15.0, least_peak_mm_h=5.0))
    total = (draw_s + prepare_s + course_s) * per
    windows = sum(each.n_windows for each in knots) / years / N_HOPS
    print(f"{options.climate}: {field.n_cells / years:,.0f} cells a year, {windows:.0f} windows a hop-year")
    print(f"drawing {draw_s * per:.3f}, preparing {prepare_s * per:.3f}, course {course_s * per:.3f}")
    print(f"together {total:.3f} ms a hop-year; storms near sites {near_s * per:.3f}")
    stepped = stepped_ms(field, hops)
    print(f"every cell every {STEP_S:g} s: {stepped:,.0f} ms a hop-year; ratio {stepped / total:,.0f}")
    print(f"log-normal AR(1) of rain alone: {autoregressive_ms():,.0f} ms a hop-year")
    return int(stepped / total < LEAST_RATIO)


def lines(network: GrownNetwork) -> list[HopLine]:
    """Hops of the network with the specific attenuation of their vertically polarised carriers."""
    k, alpha = coefficients(network.frequency_ghz, polarisation_tilt_deg=90.0)
    ends = network.sites_km[network.hops].reshape(-1, 4)
    return [HopLine(*map(float, row), float(a), float(b)) for row, a, b in zip(ends, k, alpha, strict=True)]


def compile_all(law: RainLaw, network: GrownNetwork, hops: list[HopLine]) -> None:
    """Compiled loops and the fitted climate ready before any clock runs."""
    field = draw_storms(Streams(9, 0), law, Region(-5.0, -5.0, 5.0, 5.0), n_years=1)
    rain_knots(field, hops[0], lowest_threshold_db=LOWEST_DB)
    storm_intervals(field, network.sites_km[:2], distance_km=15.0, least_peak_mm_h=5.0)


def timed(work: Callable[[], Any]) -> tuple[Any, float]:
    """What the work gives, and its processor time [s]."""
    begin = time.process_time()
    result = work()
    return result, time.process_time() - begin


def stepped_ms(field: RainField, hops: list[HopLine]) -> float:
    """Processor time a hop-year [ms] of looking at every cell at every step, from some hours of rain."""
    hours = np.random.default_rng(2).choice(int(SECONDS_PER_YEAR / 3600.0), _BASELINE_HOURS, False)
    _, spent_s = timed(
        lambda: [
            attenuation_at(field, hop, start + np.arange(0.0, 3600.0, STEP_S))
            for hop in hops[:_BASELINE_HOPS]
            for start in 3600.0 * np.sort(hours)
        ]
    )
    return 1e3 * spent_s / _BASELINE_HOPS * SECONDS_PER_YEAR / (_BASELINE_HOURS * 3600.0)


def autoregressive_ms() -> float:
    """Processor time a hop-year [ms] of a log-normal AR(1) for each hop, vectorised over hops."""
    steps, rng = 20_000, np.random.default_rng(3)

    def run() -> float:
        state, above = np.zeros(N_HOPS), 0
        for _ in range(steps):
            state = 0.999 * state + 0.0447 * rng.standard_normal(N_HOPS)
            above += np.count_nonzero(np.exp(1.26 * state) > LOWEST_DB)
        return above

    _, spent_s = timed(run)
    return 1e3 * spent_s / N_HOPS * SECONDS_PER_YEAR / STEP_S / steps


if __name__ == "__main__":
    sys.exit(main())
