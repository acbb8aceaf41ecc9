"""Does the rain field hold on all land? Run: python experiments/rain_sweep/sweep.py

On a grid of the land surface: point rain over ITU-R P.837-7, and raw attenuation, before anchoring, of four
hops over P.530-18 at 0.1 and 0.01 % of the year, from snapshots of the field; beside it what uniform rain of
P.837-7's own rate would give. Places are written as they are found and a stopped run goes on: first every
other line of the grid both ways, then the rest, each at random, so that part of the table is a fair sample.
Writes a table and maps beside this file; see README.md for
the answer.
"""

import argparse
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from scipy.special import ndtr

from hopyears.models.air.rain_attenuation import attenuation_db, attenuation_law, coefficients
from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import (
    SIGMA,
    RainLaw,
    annual_exceedance,
    annual_rain_probability,
    annual_rain_rate_mm_h,
)
from hopyears.models.air.rain_texture import even_factors
from hopyears.models.air.storm import DEFAULT_STORMS
from hopyears.models.basics.calendar import MONTH_DAYS
from hopyears.sim.climate import monthly_rain_grid
from hopyears.sim.rain.peaks import month_laws
from hopyears.sim.rain.rain_laws import times_factors
from hopyears.sim.rain.scenes import raw_law, scenes

HOPS = ((1.0, 80.0), (3.0, 38.0), (10.0, 18.0), (45.0, 7.0))
CHANCES = np.array([1e-3, 1e-4])
TILT_DEG = 90.0
LEAST, MOST = 0.75, 1.35


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--step", type=float, default=2.0, help="distance of the grid's lines [degrees]")
    parser.add_argument("--places", type=int, help="only so many of the grid's places, drawn at random")
    parser.add_argument("--scenes", type=int, default=1000, help="snapshots a month and place")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    options = parser.parse_args()
    file = options.out / "sweep.csv"
    found = pd.read_csv(file).to_dict("records") if file.exists() else []
    known = {(row["latitude"], row["longitude"]) for row in found}
    places = land(options.step)
    order = np.random.default_rng(1).permutation(len(places))
    odd = [any(int(angle // options.step) % 2 for angle in places[i][:2]) for i in order]
    order = order[np.argsort(odd, kind="stable")][: options.places]
    for latitude, longitude, law in (places[i] for i in order):
        if (latitude, longitude) not in known:
            found.append({"latitude": latitude, "longitude": longitude, **place_row(law, options.scenes)})
            pd.DataFrame(found[-1:]).round(4).to_csv(file, mode="a", index=False, header=len(found) == 1)
    table = pd.read_csv(file)
    print(len(table), "of", len(places), "places")
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
        smooth = raw_law(snapshots, path_length_km=length_km, k=k, alpha=alpha)
        raw = times_factors(smooth, even_factors(length_km)).quantile(CHANCES)
        wanted = attenuation_db(published, CHANCES)
        for i, chance in enumerate(CHANCES):
            name = f"{length_km:g} km {frequency_ghz:g} GHz at {100 * chance:g} %"
            row[name] = float(raw[i] / wanted[i])
            row[f"uniform, {name}"] = float(k * rates[i] ** alpha * length_km / wanted[i])
    return row


def mean_above(law: RainLaw, rate_mm_h: float, alpha: float) -> float:
    """Annual mean of R^alpha while the rain rate R is above a rate, 0 else (moments of the lognormal)."""
    spread = alpha * SIGMA**2
    moment = np.exp(alpha * law.log_median + 0.5 * alpha * spread)
    part = moment * ndtr((law.log_median + spread - np.log(rate_mm_h)) / SIGMA)
    return float(MONTH_DAYS / MONTH_DAYS.sum() @ (law.rain_probability * part))


def most_over_uniform(table: pd.DataFrame) -> pd.DataFrame:
    """The most that any field with a place's point law could give on each hop, over uniform rain.

    The time above a level on a path, all of it rain at its points, is no more than their worst such time: so
    the level is at most the mean of the attenuation over that (its expected shortfall).
    """
    found = []
    for place in table.itertuples():
        rate, chance = monthly_rain_grid(np.array([place.latitude]), np.array([place.longitude]))
        law = RainLaw(rate[0, 0], chance[0, 0])
        rates = annual_rain_rate_mm_h(law, CHANCES)
        row = {}
        for length_km, frequency_ghz in HOPS:
            alpha = float(coefficients(frequency_ghz, polarisation_tilt_deg=TILT_DEG)[1])
            for rate_mm_h, share in zip(rates, CHANCES, strict=True):
                name = f"{length_km:g} km {frequency_ghz:g} GHz at {100 * share:g} %"
                row[name] = mean_above(law, rate_mm_h, alpha) / share / rate_mm_h**alpha
        found.append(row)
    return pd.DataFrame(found)


def draw(table: pd.DataFrame, file: Path) -> None:
    """Maps of the ratios."""
    names = ratios(table)
    figure, axes = plt.subplots(
        len(names) // 2, 2, figsize=(11.0, 2.2 * len(names) // 2), layout="constrained"
    )
    for panel, name in zip(axes.ravel(), names, strict=True):
        shown = panel.scatter(
            table.longitude, table.latitude, c=table[name], s=8, marker="s", cmap="RdBu_r", vmin=0.4, vmax=1.6
        )
        panel.set_title(name, fontsize=8)
        panel.tick_params(labelsize=6)
    figure.colorbar(shown, ax=axes, shrink=0.5, label="field over Recommendation")
    figure.savefig(file, dpi=90)
    plt.close(figure)


def ratios(table: pd.DataFrame) -> list[str]:
    """Columns of the field over the Recommendation."""
    return [name for name in table.columns if " at " in name and not name.startswith("uniform")]


def summarise(table: pd.DataFrame) -> None:
    """Print the numbers that README.md quotes."""
    names = ratios(table)
    print(table[names].describe(percentiles=[0.025, 0.5, 0.975]).round(3).T.to_string())
    hops = table[[name for name in names if "GHz" in name]]
    uniform = table[[f"uniform, {name}" for name in hops.columns]].set_axis(hops.columns, axis=1)
    inside = hops.ge(LEAST) & hops.le(MOST)
    shares = {"all places": inside, "rain for over 2 % of the year": inside[table.rain_probability > 0.02]}
    # Hardly any field with P.837's point law gives what uniform rain of its rate does not on a short hop.
    shares["where uniform rain reaches the least"] = inside.where(uniform.ge(LEAST))
    for name, part in shares.items():
        print(f"within {LEAST:g} to {MOST:g}, {name}:", part.mean().astype(float).round(3).to_dict())
        print(
            "  of all cases:",
            round(float(np.nanmean(part.to_numpy(dtype=np.float64))), 3),
            part.count().sum(),
        )
    print("uniform rain reaches the least:", uniform.ge(LEAST).mean().round(3).to_dict())
    most = most_over_uniform(table)
    print("most over uniform rain, median:", most.median().round(2).to_dict())
    print("most any field could give below the least:", int((most * uniform).lt(LEAST).sum().sum()))
    for name in hops.columns:
        for far, way in ((hops[name] < LEAST, True), (hops[name] > MOST, False)):
            worst = table[far].sort_values(name, ascending=way).head(6)
            uniform_low = int((far & (uniform[name] < LEAST)).sum())
            print(name, "below" if way else "above", int(far.sum()), "uniform rain below too", uniform_low)
            print(
                worst[["latitude", "longitude", "rain_probability", "rate_001_mm_h", name]].to_string(
                    index=False
                )
            )


if __name__ == "__main__":
    main()
