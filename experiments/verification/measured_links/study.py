"""Do simulated links fade together, and for as long, as measured ones? Run:
python experiments/verification/measured_links/study.py

Simulates the measured links' own geometry, frequencies and month, cuts the field into spans as long as the
measurement, keeps those of like wetness, smooths to one minute and compares. Writes a table and a figure
beside this file; see README.md for the answer.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from figure import draw
from joint_statistics import LAGS_MIN, LEVELS_DB, SLOPE_BANDS_DB, JointStatistics, statistics_of
from links import DAY_MIN, MeasuredLinks, packaged_links
from numpy.typing import NDArray

from models.calendar import MONTH_STARTS_S
from models.rain_law import RainLaw
from models.units import SECONDS_PER_DAY, SECONDS_PER_YEAR
from sim.climate import climate_of
from sim.rain.rain_field import Region
from sim.rain.rain_kernel import RainKnots, rain_knots
from sim.rain.storms import draw_storms
from sim.streams import Streams

LOWEST_DB = 1.0
YEARS_PER_BLOCK = 5
STEPS_PER_MINUTE = 6


@dataclass(frozen=True)
class Setting:
    """Where and when the measurement was: climate, month (0 is January), days."""

    latitude_deg: float
    longitude_deg: float
    month: int
    days: int


# The set's positions are obscured; its climate is taken from the middle of the country.
PACKAGED = Setting(latitude_deg=49.0, longitude_deg=9.0, month=4, days=11)


def main() -> None:
    parser = argparse.ArgumentParser(description="Compare simulated with measured links.")
    parser.add_argument("--blocks", type=int, default=8, help=f"blocks of {YEARS_PER_BLOCK} years")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    options = parser.parse_args()
    links = packaged_links()
    measured, spans = compare(links, PACKAGED, blocks=options.blocks, seed=options.seed)
    table = comparison_table(measured, spans)
    table.to_csv(options.out / "comparison.csv", index=False)
    draw(measured, spans, options.out / "measured_links.png")
    print(f"{len(links.hops)} links, {len(spans)} spans of like wetness")
    print(table.to_string(index=False))


def compare(
    links: MeasuredLinks, setting: Setting, *, blocks: int, seed: int
) -> tuple[JointStatistics, list[JointStatistics]]:
    """Statistics of the measurement and of the simulated spans most like it in wetness.

    Kept are spans whose share of time above 10 dB is within a factor of 2 of the measured one; at least
    the wettest tenth of all, should they be fewer (the measurement is of a wetter span than most).
    """
    measured = statistics_of(links.attenuation_db, links.x_km, links.y_km)
    spans = [span for block in range(blocks) for span in _block_spans(links, setting, Streams(seed, block))]
    like = [span for span in spans if 0.5 < span.wetness / measured.wetness < 2.0]
    wettest = sorted(spans, key=lambda span: -span.wetness)[: max(len(spans) // 10, 1)]
    return measured, like if len(like) >= len(wettest) else wettest


def _block_spans(links: MeasuredLinks, setting: Setting, streams: Streams) -> list[JointStatistics]:
    x = np.array([[hop.x0_km, hop.x1_km] for hop in links.hops])
    y = np.array([[hop.y0_km, hop.y1_km] for hop in links.hops])
    law = _one_month(climate_of(setting.latitude_deg, setting.longitude_deg).rain_law, setting.month)
    field = draw_storms(streams, law, Region.around(x, y), n_years=YEARS_PER_BLOCK)
    knots = [rain_knots(field, hop, lowest_threshold_db=LOWEST_DB) for hop in links.hops]
    spans = []
    for year in range(YEARS_PER_BLOCK):
        for part in range(30 // setting.days):
            start = year * SECONDS_PER_YEAR + MONTH_STARTS_S[setting.month]
            start += (part * setting.days + 0.5) * SECONDS_PER_DAY
            minutes = np.array([minute_means(each, start, setting.days * DAY_MIN) for each in knots])
            spans.append(statistics_of(minutes, links.x_km, links.y_km))
    return spans


def _one_month(law: RainLaw, month: int) -> RainLaw:
    """The same month's law with all others dry: only that month is drawn."""
    chance = np.zeros(12)
    chance[month] = law.rain_probability[month]
    return RainLaw(np.full(12, law.mean_rate_mm_h[month]), chance)


def minute_means(knots: RainKnots, start_s: float, n_minutes: int) -> NDArray[np.float32]:
    """Attenuation averaged over each minute [dB]; 0 outside the windows."""
    times = start_s + (np.arange(n_minutes * STEPS_PER_MINUTE) + 0.5) * 60.0 / STEPS_PER_MINUTE
    course = np.zeros(len(times), dtype=np.float32)
    first = knots.time_s[knots.window_start[:-1]]
    for window in range(np.searchsorted(first, start_s - 86_400.0), np.searchsorted(first, times[-1])):
        part = slice(knots.window_start[window], knots.window_start[window + 1])
        t = knots.time_s[part]
        low, high = np.searchsorted(times, [t[0], t[-1]])
        course[low:high] = np.interp(times[low:high], t, knots.attenuation_db[part])
    return course.reshape(n_minutes, STEPS_PER_MINUTE).mean(axis=1)


def comparison_table(measured: JointStatistics, spans: list[JointStatistics]) -> pd.DataFrame:
    """Measured value, simulated mean and its standard error over spans, ratio: one row a statistic."""
    rows = []
    names = {
        "conditional": [f"c at {distance:.0f} km" for distance in measured.distance_km],
        "duration_min": [f"mean fade above {level:.0f} dB [min]" for level in LEVELS_DB],
        "median_min": [f"median fade above {level:.0f} dB [min]" for level in LEVELS_DB],
        "slope_share": [f"slope / A, {low:.0f} to {high:.0f} dB [1/s]" for low, high in SLOPE_BANDS_DB],
        "memory": [f"correlation in time at {lag} min" for lag in LAGS_MIN],
    }
    for field, labels in names.items():
        values = np.array([getattr(span, field) for span in spans])
        for i, label in enumerate(labels):
            each = values[np.isfinite(values[:, i]), i]
            if len(each) < 2:
                continue
            mean = each.mean()
            reference = float(getattr(measured, field)[i])
            error = each.std(ddof=1) / np.sqrt(len(each))
            rows.append((label, reference, mean, error, mean / reference))
    columns = ["statistic", "measured", "simulated", "standard_error", "ratio"]
    return pd.DataFrame(rows, columns=columns).round(4)


if __name__ == "__main__":
    main()
