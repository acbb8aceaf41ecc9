"""Figures of the calibration study: each takes a table and a file."""

from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd

BAND = {"color": "0.9", "zorder": 0}


def draw_point_law(table: pd.DataFrame, file: Path) -> None:
    """Chance of rain over that of the law, by rate."""
    figure, axes = plt.subplots(figsize=(7.0, 4.2))
    axes.axhspan(0.95, 1.05, **BAND)
    for place, rows in table.groupby("place", sort=False):
        axes.semilogx(rows.rain_rate_mm_h, rows.ratio, marker="o", markersize=3, label=place)
    axes.set(xlabel="rain rate [mm/h]", ylabel="chance in the field over P.837-7", ylim=(0.8, 1.2))
    axes.legend(fontsize=7, ncol=2)
    _save(figure, file)


def draw_hops(table: pd.DataFrame, file: Path) -> None:
    """Raw attenuation over that of P.530, by probability, one line a place (mean over hops)."""
    figure, axes = plt.subplots(figsize=(7.0, 4.2))
    axes.axhspan(0.85, 1.15, **BAND)
    for place, rows in table.groupby("place", sort=False):
        mean = rows.groupby("probability").ratio.mean()
        axes.semilogx(100.0 * mean.index, mean.values, marker="o", markersize=3, label=place)
    axes.scatter(100.0 * table.probability, table.ratio, s=3, color="0.6", zorder=1, label="single hops")
    axes.set(xlabel="share of the year [%]", ylabel="raw attenuation over P.530", ylim=(0.4, 2.0))
    axes.invert_xaxis()
    axes.legend(fontsize=7, ncol=2)
    _save(figure, file)


def draw_correlation(table: pd.DataFrame, file: Path) -> None:
    """Latent correlation by distance beside the law of P.618-13."""
    figure, axes = plt.subplots(figsize=(7.0, 4.2))
    distance = np.geomspace(1.0, 60.0, 100)
    law = 0.94 * np.exp(-distance / 30.0) + 0.06 * np.exp(-((distance / 500.0) ** 2))
    axes.fill_between(distance, law - 0.1, law + 0.1, **BAND)
    axes.semilogx(distance, law, color="black", label="P.618-13")
    for (place, probability), rows in table.groupby(["place", "probability"], sort=False):
        style = "o-" if probability > 5e-4 else "s--"
        axes.semilogx(
            rows.distance_km,
            rows.correlation,
            style,
            markersize=3,
            linewidth=0.8,
            label=f"{place}, {probability:.2%}",
        )
    axes.set(xlabel="distance [km]", ylabel="latent correlation of attenuation", ylim=(-0.1, 1.05))
    axes.legend(fontsize=5, ncol=2)
    _save(figure, file)


def _save(figure: plt.Figure, file: Path) -> None:
    figure.tight_layout()
    figure.savefig(file, dpi=110)
    plt.close(figure)
