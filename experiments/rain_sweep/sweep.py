"""Does the rain field hold on all land? Run: python experiments/rain_sweep/sweep.py

On a grid of the land surface: point rain over ITU-R P.837-7, and raw attenuation, before anchoring, of four
hops over P.530-18 at 0.1 and 0.01 % of the year, from snapshots of the field. Writes a table and maps beside
this file; see README.md for the answer.
"""

import argparse
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd

from hopyears.models.air.rain_attenuation import attenuation_db, attenuation_law, coefficients
from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import (
    RainLaw,
    annual_exceedance,
    annual_rain_probability,
    annual_rain_rate_mm_h,
)
from hopyears.models.air.storm import DEFAULT_STORMS
from hopyears.sim.climate import monthly_rain_grid
from hopyears.sim.rain.peaks import month_laws
from hopyears.sim.rain.scenes import raw_law, scenes

HOPS = ((1.0, 80.0), (3.0, 38.0), (10.0, 18.0), (45.0, 7.0))
CHANCES = np.array([1e-3, 1e-4])
TILT_DEG = 90.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--step", type=float, default=2.0, help="distance of the grid's lines [degrees]")
    parser.add_argument("--places", type=int, help="only so many of the grid's places, drawn at random")
    parser.add_argument("--scenes", type=int, default=2000, help="snapshots a month and place")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    options = parser.parse_args()
    rows = []
    places = land(options.step)
    order = np.random.default_rng(1).permutation(len(places))[: options.places]
    for latitude, longitude, law in (places[i] for i in order):
        rows.append({"latitude": latitude, "longitude": longitude, **place_row(law, options.scenes)})
        table = pd.DataFrame(rows)
        table.round(4).to_csv(options.out / "sweep.csv", index=False)
    draw(table, options.out / "sweep.png")
    summarise(table)


def land(step: float) -> list[tuple[float, float, RainLaw]]:
    """Places on land from 58 S to 72 N where it rains for at least 0.1 % of the year, with their laws."""
    from itur.models.itu1511 import topographic_altitude

    latitudes = np.arange(-58.0 + step / 2, 72.0, step)
    longitudes = np.arange(-180.0 + step / 2, 180.0, step)
    rate, chance = monthly_rain_grid(latitudes, longitudes)
    found = []
    for i, latitude in enumerate(latitudes):
        for j, longitude in enumerate(longitudes):
            if float(topographic_altitude(latitude, longitude).value) <= 0.005:
                continue
            law = RainLaw(rate[i, j], chance[i, j])
            if annual_rain_probability(law) > 1e-3:
                found.append((float(latitude), float(longitude), law))
    return found


def place_row(law: RainLaw, per_month: int) -> dict[str, float]:
    """Ratios of one place."""
    months = month_laws(law, DEFAULT_POPULATION, DEFAULT_STORMS)
    snapshots = scenes(
        months,
        DEFAULT_POPULATION,
        DEFAULT_STORMS,
        per_month=per_month,
        first_month=24_000,
        longest_hop_km=45.0,
    )
    rates = annual_rain_rate_mm_h(law, CHANCES)
    point = raw_law(snapshots, path_length_km=0.0, k=1.0, alpha=1.0)
    row = {"rain_probability": annual_rain_probability(law), "rate_001_mm_h": float(rates[1])}
    for chance, rate in zip(CHANCES, rates, strict=True):
        found = point.exceedance(rate) / annual_exceedance(law, rate)
        row[f"point at {100 * chance:g} %"] = float(found) if rate > 0.0 else np.nan
    for length_km, frequency_ghz in HOPS:
        k, alpha = (float(v) for v in coefficients(frequency_ghz, polarisation_tilt_deg=TILT_DEG))
        published = attenuation_law(
            length_km, float(rates[1]), frequency_ghz=frequency_ghz, polarisation_tilt_deg=TILT_DEG
        )
        raw = raw_law(snapshots, path_length_km=length_km, k=k, alpha=alpha).quantile(CHANCES)
        for chance, ratio in zip(CHANCES, raw / attenuation_db(published, CHANCES), strict=True):
            row[f"{length_km:g} km {frequency_ghz:g} GHz at {100 * chance:g} %"] = float(ratio)
    return row


def draw(table: pd.DataFrame, file: Path) -> None:
    """Maps of the ratios."""
    names = [name for name in table.columns if " at " in name]
    figure, axes = plt.subplots(len(names) // 2, 2, figsize=(11.0, 2.2 * len(names) // 2))
    for panel, name in zip(axes.ravel(), names, strict=True):
        shown = panel.scatter(
            table.longitude, table.latitude, c=table[name], s=8, marker="s", cmap="RdBu_r", vmin=0.4, vmax=1.6
        )
        panel.set_title(name, fontsize=8)
        panel.tick_params(labelsize=6)
    figure.colorbar(shown, ax=axes, shrink=0.5, label="field over Recommendation")
    figure.savefig(file, dpi=90)
    plt.close(figure)


def summarise(table: pd.DataFrame) -> None:
    """Print the numbers that README.md quotes."""
    names = [name for name in table.columns if " at " in name]
    print(table[names].describe(percentiles=[0.025, 0.5, 0.975]).round(3).T.to_string())
    hops = table[[name for name in names if "GHz" in name]]
    inside = hops.ge(0.75) & hops.le(1.35)
    print("share of places within 0.75 to 1.35:", inside.mean().round(3).to_dict())
    print("of all cases:", round(float(inside.to_numpy().mean()), 3))


if __name__ == "__main__":
    main()
