"""Make the table of overlaps of the default rain model. Run: python experiments/rain_calibration/overlap.py

Fits, for a grid of mean rates and probabilities of rain, the factor on the number of shapes of each peak with
which overlapping showers and wide rain together meet P.837-7. Writes sim/rain/overlap.csv of this checkout.
"""

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import convolve1d

from hopyears.models.air.rain_cell import DEFAULT_POPULATION, CellPopulation
from hopyears.models.air.storm import DEFAULT_STORMS, StormModel
from hopyears.sim.rain import peaks

MEAN_RATES_MM_H = (0.4, 0.54, 0.72, 0.97, 1.3, 1.75, 2.3, 3.1, 4.2, 5.6, 7.5)
RAIN_PROBABILITIES = (0.001, 0.01, 0.03, 0.06, 0.1, 0.16, 0.24, 0.34, 0.5, 0.7)
ROUNDS = (
    (1500, 1.0),
    (1500, 1.0),
    (2500, 0.7),
    (2500, 0.7),
    (4000, 0.5),
    (4000, 0.35),
    (8000, 0.3),
    (12000, 0.3),
)
"""Snapshots of each case and gain, by round."""

LEAST_SMOOTHED_GAIN = 0.5
"""Rounds of less gain than this are not smoothed, but for the last."""

COOL_BELOW_MM_H, COOL_TIMES = 2.0, 3
"""Below this mean rate this many times the snapshots: few systems carry its rain, so one says less."""

Floats = NDArray[np.float64]


def fitted_table(
    population: CellPopulation,
    storms: StormModel,
    rates: Sequence[float] = MEAN_RATES_MM_H,
    chances: Sequence[float] = RAIN_PROBABILITIES,
    rounds: Sequence[tuple[int, float]] = ROUNDS,
    processes: int = 1,
) -> peaks.OverlapTable:
    """Logarithm of the factor for each rate and chance, smoothed over both.

    After the first rounds, lest single fits run away, and at the end: between, rounds of small gain would
    take back too little of what smoothing does to the kink of gathering (months about it lay 5 to 15 % off).
    """
    cases = np.array(list(product(rates, chances)))
    sparse = [
        peaks.sparse_law(population, storms, mean_rate_mm_h=rate, rain_probability=chance)
        for rate, chance in cases
    ]
    shape = len(rates), len(chances)
    total = np.zeros((len(cases), len(peaks.TABLE_PEAKS)))
    with ProcessPoolExecutor(processes) as pool:
        for turn, (per_month, gain) in enumerate(rounds):
            steps = [
                pool.submit(
                    peaks.newton_step,
                    population,
                    storms,
                    law,
                    float(chance),
                    total[i],
                    per_month=per_month * (COOL_TIMES if rate < COOL_BELOW_MM_H else 1),
                    first_month=12 * (1 + turn * len(cases) + i),
                )
                for i, (law, (rate, chance)) in enumerate(zip(sparse, cases, strict=True))
            ]
            total += gain * np.array([step.result() for step in steps])
            if gain >= LEAST_SMOOTHED_GAIN or turn == len(rounds) - 1:
                total = smoothed(cases, total, storms, shape)
    return peaks.OverlapTable(np.array(rates), np.array(chances), total.reshape(*shape, -1))


def smoothed(cases: Floats, found: Floats, storms: StormModel, shape: tuple[int, int]) -> Floats:
    """A trend, and what is left of it averaged a little over neighbours in the grid (0.1, 0.8, 0.1 both
    ways), peak by peak: takes out some of the draws' chance, and keeps the kink of gathering.

    The trend is cubic in ln r and the root of P0, and linear in the logarithms of what else the amount of
    rain decides: split peak of cool months, cells in a storm, storms in a system.
    """
    rate, chance = np.log(cases[:, 0]), np.sqrt(cases[:, 1])
    cool = np.array([storms.cool_share(*case) for case in cases])
    cool *= np.log(storms.split_peak_of(cases[:, 0]) / storms.split_peak_mm_h)
    terms = [rate**i * chance**j for i in range(4) for j in range(4 - i)]
    cells = np.log([storms.cells_per_storm(*case) for case in cases])
    gathered = np.log([storms.gathered_share(*case) for case in cases])
    terms = np.column_stack([*terms, cool, cool * chance, cells, cells * chance, gathered])
    trend = terms @ np.linalg.lstsq(terms, found, rcond=None)[0]
    left = (found - trend).reshape(*shape, -1)
    for axis in (0, 1):
        left = convolve1d(left, (0.1, 0.8, 0.1), axis=axis, mode="nearest")
    return np.asarray(trend + left.reshape(found.shape), dtype=np.float64)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--out", type=Path, default=Path(__file__).parents[2] / "sim" / "rain" / "overlap.csv"
    )
    parser.add_argument("--processes", type=int, default=1)
    options = parser.parse_args()
    table = fitted_table(DEFAULT_POPULATION, DEFAULT_STORMS, processes=options.processes)
    lines = ["mean_rate_mm_h,rain_probability," + ",".join(f"z{z:g}" for z in peaks.TABLE_PEAKS)]
    for row, rate in enumerate(table.mean_rate_mm_h):
        for column, chance in enumerate(table.rain_probability):
            values = ",".join(f"{value:.4f}" for value in table.factor[row, column])
            lines.append(f"{rate:g},{chance:g},{values}")
    options.out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
