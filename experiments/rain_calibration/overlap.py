"""Make the table of overlaps of the default rain model. Run: python experiments/rain_calibration/overlap.py

Fits, for a grid of mean rates and probabilities of rain, the factor on the number of shapes of each peak with
which overlapping showers and wide rain together meet P.837-7. Writes sim/rain/overlap.csv of this checkout.
"""

import argparse
from pathlib import Path

import numpy as np

from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.storm import DEFAULT_STORMS
from hopyears.sim.rain import peaks

MEAN_RATES_MM_H = (0.55, 1.3, 3.2, 8.0)
RAIN_PROBABILITIES = (0.003, 0.05, 0.2, 0.45, 0.7)


def smoothed(cases: np.ndarray, found: np.ndarray) -> np.ndarray:
    """Quadratic in ln r and the root of P0, peak by peak: takes out most of the draws' chance."""
    rate, chance = np.log(cases[:, 0]), np.sqrt(cases[:, 1])
    terms = np.column_stack([np.ones(len(rate)), rate, chance, rate**2, rate * chance, chance**2])
    return terms @ np.linalg.lstsq(terms, found, rcond=None)[0]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--out", type=Path, default=Path(__file__).parents[2] / "sim" / "rain" / "overlap.csv"
    )
    options = parser.parse_args()
    cases, found = [], []
    lines = ["mean_rate_mm_h,rain_probability," + ",".join(f"z{z:g}" for z in peaks.TABLE_PEAKS)]
    for row, rate in enumerate(MEAN_RATES_MM_H):
        for column, chance in enumerate(RAIN_PROBABILITIES):
            own = 1200 * (1 + len(RAIN_PROBABILITIES) * row + column)
            factor = peaks.fitted_factor(DEFAULT_POPULATION, DEFAULT_STORMS, rate, chance, first_month=own)
            cases.append((rate, chance))
            found.append(factor)
            print(rate, chance, factor.round(4), flush=True)
    for (rate, chance), values in zip(cases, smoothed(np.array(cases), np.array(found)), strict=True):
        lines.append(f"{rate},{chance}," + ",".join(f"{value:.4f}" for value in values))
    options.out.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
