"""Make the table of overlaps of the default rain model. Run: python experiments/rain_calibration/overlap.py

Fits, for a grid of mean rates and probabilities of rain, the factor on the number of shapes of each peak with
which overlapping showers and wide rain together meet P.837-7. Writes sim/rain/overlap.csv of this checkout.
"""

import argparse
from collections.abc import Sequence
from itertools import product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hopyears.models.air.rain_cell import DEFAULT_POPULATION, CellPopulation
from hopyears.models.air.storm import DEFAULT_STORMS, StormModel
from hopyears.sim.rain import peaks

MEAN_RATES_MM_H = (0.4, 0.7, 1.2, 2.2, 4.0, 7.5)
RAIN_PROBABILITIES = (0.001, 0.02, 0.08, 0.2, 0.4, 0.7)
ROUNDS = ((3000, 1.0), (4000, 1.0), (8000, 0.7), (12000, 0.5), (12000, 0.35), (24000, 0.25))
"""Snapshots of each case and gain, by round."""

Floats = NDArray[np.float64]


def fitted_table(
    population: CellPopulation,
    storms: StormModel,
    rates: Sequence[float] = MEAN_RATES_MM_H,
    chances: Sequence[float] = RAIN_PROBABILITIES,
    rounds: Sequence[tuple[int, float]] = ROUNDS,
) -> peaks.OverlapTable:
    """Logarithm of the factor for each rate and chance, smoothed over both after every round."""
    cases = np.array(list(product(rates, chances)))
    sparse = [
        peaks.sparse_law(population, storms, mean_rate_mm_h=rate, rain_probability=chance)
        for rate, chance in cases
    ]
    total = np.zeros((len(cases), len(peaks.TABLE_PEAKS)))
    for turn, (per_month, gain) in enumerate(rounds):
        for i, (law, (_, chance)) in enumerate(zip(sparse, cases, strict=True)):
            first = 12 * (1 + turn * len(cases) + i)
            total[i] += gain * peaks.newton_step(
                population, storms, law, float(chance), total[i], per_month=per_month, first_month=first
            )
        total = smoothed(cases, total, storms)
    return peaks.OverlapTable(np.array(rates), np.array(chances), total.reshape(len(rates), len(chances), -1))


def smoothed(cases: Floats, found: Floats, storms: StormModel) -> Floats:
    """Cubic in ln r and the root of P0, and linear in the logarithms of what else the amount of rain decides
    (split peak of cool months, cells in a storm, storms in a system), peak by peak: takes out most of the
    draws' chance."""
    rate, chance = np.log(cases[:, 0]), np.sqrt(cases[:, 1])
    cool = np.array([storms.cool_share(*case) for case in cases])
    cool *= np.log(storms.split_peak_of(cases[:, 0]) / storms.split_peak_mm_h)
    terms = [rate**i * chance**j for i in range(4) for j in range(4 - i)]
    cells = np.log([storms.cells_per_storm(*case) for case in cases])
    gathered = np.log([storms.gathered_share(*case) for case in cases])
    terms = np.column_stack([*terms, cool, cool * chance, cells, cells * chance, gathered])
    return np.asarray(terms @ np.linalg.lstsq(terms, found, rcond=None)[0], dtype=np.float64)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--out", type=Path, default=Path(__file__).parents[2] / "sim" / "rain" / "overlap.csv"
    )
    options = parser.parse_args()
    table = fitted_table(DEFAULT_POPULATION, DEFAULT_STORMS)
    lines = ["mean_rate_mm_h,rain_probability," + ",".join(f"z{z:g}" for z in peaks.TABLE_PEAKS)]
    for row, rate in enumerate(table.mean_rate_mm_h):
        for column, chance in enumerate(table.rain_probability):
            values = ",".join(f"{value:.4f}" for value in table.factor[row, column])
            lines.append(f"{rate:g},{chance:g},{values}")
    options.out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
