"""How many rain fades of 10 s or longer, and how steep? Run: python experiments/rain_calibration/fades.py

Fades of 10 s or longer a year over the number of ITU-R P.530-17 (2.4.5), their mean length, and the standard
deviation of the slope over 20 s over the attenuation beside that of P.1623-1, with the texture of rain and
without, at three levels of some hops. Writes ``fades.csv`` beside this file; see README.md for the answer.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hopyears.models.air.rain_attenuation import coefficients
from hopyears.models.air.rain_scaling import event_count_per_year
from hopyears.models.basics.units import SECONDS_PER_YEAR
from hopyears.sim.climate import climate_of
from hopyears.sim.rain.anchoring import RainHop, raw_attenuation_laws
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.rain_kernel import HopLine, RainKnots, rain_knots
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.streams import Streams

TUNED, HELD_BACK = "tuned on", "held back"
TUNING_HOPS = ((1, 80), (2, 38), (3, 38), (5, 23), (8, 23), (15, 18), (30, 11), (45, 7))
HOPS = ((1, 80), (2, 42), (4, 32), (7, 26), (10, 18), (20, 13), (35, 8))
PLACES = {
    "central Europe, 49 N 15 E": (49.0, 15.0, TUNED, 30),
    "east Asian coast, 36 N 140 E": (35.7, 139.7, TUNED, 20),
    "Po valley, 46 N 9 E": (45.5, 9.2, HELD_BACK, 20),
    "wet coast of Norway, 60 N 5 E": (60.0, 5.0, HELD_BACK, 15),
    "west of Ireland, 53 N 9 W": (53.3, -9.0, HELD_BACK, 20),
    "Malay peninsula, 1 N 104 E": (1.4, 103.8, HELD_BACK, 10),
    "Gulf of Mexico, 30 N 95 W": (29.8, -95.4, HELD_BACK, 15),
    "central Chile, 33 S 71 W": (-33.5, -70.7, HELD_BACK, 30),
}
"""Latitude and longitude [degrees], part, and years drawn."""

CHANCES = np.array([1e-3, 3e-4, 1e-4])
P1623_SLOPE_PER_S = 0.01 * np.sqrt(2.0 * np.pi**2 / ((1 / 0.02) ** 2.3 + 20.0**2.3) ** (1 / 2.3))
"""ITU-R P.1623-1: slope over 20 s behind a filter of 0.02 Hz, over attenuation (slant paths, from memory)."""


def main() -> None:
    rows = []
    for place, (latitude, longitude, part, years) in PLACES.items():
        law = climate_of(latitude, longitude).rain_law
        fields = [draw_storms(Streams(77, 0), law, Region(-25.0, -1.0, 25.0, 1.0), n_years=years)]
        fields.append(replace(fields[0], texture=None))
        for length_km, frequency_ghz in TUNING_HOPS if part == TUNED else HOPS:
            k, alpha = (float(v) for v in coefficients(frequency_ghz, polarisation_tilt_deg=90.0))
            hop = HopLine(-0.5 * length_km, 0.0, 0.5 * length_km, 0.0, k, alpha)
            raw = raw_attenuation_laws([RainHop(law, length_km, k, alpha)])[0]
            lowest = float(raw.quantile(np.array([3e-3]))[0])
            found = [rain_knots(field, hop, lowest_threshold_db=lowest) for field in fields]
            with_texture, smooth = (fades(knots, years) for knots in found)
            for i, chance in enumerate(CHANCES):
                row = {"place": place, "part": part, "length_km": length_km, "frequency_ghz": frequency_ghz}
                row |= {"probability": chance} | {name: values[i] for name, values in with_texture.items()}
                rows.append(row | {f"{name}_smooth": values[i] for name, values in smooth.items()})
        print(place, "done", flush=True)
    table = pd.DataFrame(rows)
    table.round(4).to_csv(Path(__file__).parent / "fades.csv", index=False)
    table["within"] = table.number_ratio.between(0.8, 1.2)
    table["within_smooth"] = table.number_ratio_smooth.between(0.8, 1.2)
    shown = ["number_ratio", "within", "mean_s", "slope_per_s"]
    shown += [f"{name}_smooth" for name in shown]
    for keys in (["part"], ["part", "place"], ["part", "length_km"], ["part", "probability"]):
        print(table.groupby(keys, sort=False)[shown].mean().round(4).to_string())
    print("P.1623-1:", round(float(P1623_SLOPE_PER_S), 4))


def fades(knots: RainKnots, years: int) -> dict[str, NDArray[np.float64]]:
    """Number over P.530's, mean length [s] and steepness [1/s] at the levels exceeded for ``CHANCES``."""
    ranked = np.sort(knots.attenuation_db)[::-1]
    levels = ranked[(CHANCES * years * SECONDS_PER_YEAR / 10.0).astype(int)]
    lengths = [fade_lengths_s(knots, level) for level in levels]
    lengths = [each[each >= 10.0] for each in lengths]
    numbers = np.array([len(each) for each in lengths]) / years
    return {
        "number_ratio": numbers / event_count_per_year(CHANCES),
        "mean_s": np.array([each.mean() if len(each) else np.nan for each in lengths]),
        "slope_per_s": np.array([steepness_per_s(knots, level) for level in levels]),
    }


def fade_lengths_s(knots: RainKnots, level_db: float) -> NDArray[np.float64]:
    """Times above a level [s], by the knots' straight lines."""
    t, a = knots.time_s, knots.attenuation_db - level_db
    change = np.flatnonzero((a[:-1] < 0.0) != (a[1:] < 0.0))
    change = change[~np.isin(change + 1, knots.window_start)]  # windows begin and end below the level
    at = t[change] - a[change] * (t[change + 1] - t[change]) / (a[change + 1] - a[change])
    return at[1::2] - at[: 2 * (len(at) // 2) : 2]


def steepness_per_s(knots: RainKnots, level_db: float) -> float:
    """Standard deviation of the slope over 20 s over the attenuation, above a level [1/s]."""
    t, a = knots.time_s, knots.attenuation_db
    used = (np.abs(t[2:] - t[:-2] - 20.0) < 0.5) & (a[1:-1] > level_db)
    return float(((a[2:] - a[:-2])[used] / (20.0 * a[1:-1][used])).std()) if used.sum() > 20 else np.nan


if __name__ == "__main__":
    main()
