"""Do simulated links fade together, and for as long, as measured ones? Run:
python experiments/verification/measured_links/study.py --italian FILE

Simulates the measured links' own geometry, frequencies and month, cuts the field into spans as long as the
measurement, keeps those of like wetness, smooths to one minute and compares: with all days measured, with the
odd days (which the settings were tuned on) and with the even ones (held back). Writes a table and a figure of
each network beside this file; see README.md for the answer.
"""

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from figure import draw
from joint_statistics import (
    LAGS_MIN,
    LEVELS_DB,
    SLOPE_BANDS_DB,
    TOGETHER_DB,
    Comparison,
    JointStatistics,
    statistics_of,
)
from links import DAY_MIN, MeasuredLinks, italian_links, packaged_links
from numpy.typing import NDArray

from hopyears.models.air.daily_cycle import shower_cycle
from hopyears.models.air.rain_cell import DEFAULT_POPULATION
from hopyears.models.air.rain_law import RainLaw
from hopyears.models.air.storm import DEFAULT_STORMS, drift_by_latitude
from hopyears.models.basics.calendar import MONTH_STARTS_S
from hopyears.models.basics.units import SECONDS_PER_DAY, SECONDS_PER_YEAR
from hopyears.sim.climate import climate_of, ratio_of
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.rain_kernel import RainKnots, rain_knots
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.rain.weather import uniform_weather
from hopyears.sim.streams import Streams

LOWEST_DB = 1.0
YEARS_PER_BLOCK = 5
STEPS_PER_MINUTE = 6
REDRAWS = 100
PARTS = {"all days": slice(None), "odd days": slice(0, None, 2), "even days": slice(1, None, 2)}


@dataclass(frozen=True)
class Setting:
    """Where and when the measurement was: climate, month (0 is January)."""

    latitude_deg: float
    longitude_deg: float
    month: int


# The German set's positions are obscured; its climate is taken from the middle of the country.
GERMAN = Setting(latitude_deg=49.0, longitude_deg=9.0, month=4)
ITALIAN = Setting(latitude_deg=44.5, longitude_deg=11.0, month=7)


def main() -> None:
    parser = argparse.ArgumentParser(description="Compare simulated with measured links.")
    parser.add_argument("--blocks", type=int, default=6, help=f"blocks of {YEARS_PER_BLOCK} years a seed")
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--italian", type=Path, help="file of OpenRainER, 8 days (netCDF); left out without")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    options = parser.parse_args()
    networks = {"german": (packaged_links(), GERMAN)}
    if options.italian:
        networks["italian"] = (italian_links(options.italian), ITALIAN)
    blocks = [Streams(1 + seed, block) for seed in range(options.seeds) for block in range(options.blocks)]
    for name, (links, setting) in networks.items():
        parts = compare(links, setting, blocks)
        tables = [comparison_table(part).assign(days=days) for days, part in parts.items()]
        table = pd.concat(tables).set_index("days").reset_index()
        table.to_csv(options.out / f"{name}.csv", index=False)
        shown = max(parts.values(), key=lambda part: len(part.spans))
        draw(parts["all days"] if parts["all days"].spans else shown, options.out / f"{name}.png")
        print(f"{name}: {len(links.hops)} links; spans:", {n: len(p.spans) for n, p in parts.items()})
        print(table.to_string(index=False))


def compare(links: MeasuredLinks, setting: Setting, blocks: list[Streams]) -> dict[str, Comparison]:
    """Statistics of parts of the measurement and of the simulated spans that are like each.

    Kept are spans whose share of time above 10 dB is within a factor of 2 of the measured one.
    """
    days = _days(links.attenuation_db)
    measured = {name: _measured(links, days[part]) for name, part in PARTS.items()}
    spans: dict[str, list[JointStatistics]] = {name: [] for name in PARTS}
    for streams in blocks:
        rain = _BlockRain(links, setting, streams)
        for name, part in PARTS.items():
            spans[name] += rain.spans(len(days[part]), measured[name][0].wetness)
    return {name: Comparison(*measured[name], spans[name]) for name in PARTS}


def _days(attenuation_db: NDArray[np.floating]) -> NDArray[np.floating]:
    """Attenuation by day, shape (n_days, n_links, 1440)."""
    n_links, n_minutes = attenuation_db.shape
    return attenuation_db.reshape(n_links, n_minutes // DAY_MIN, DAY_MIN).swapaxes(0, 1)


def _measured(
    links: MeasuredLinks, days: NDArray[np.floating]
) -> tuple[JointStatistics, list[JointStatistics]]:
    """Statistics of these days, and of as many drawn from them with replacement, again and again."""

    def of(chosen: NDArray[np.int64]) -> JointStatistics:
        return statistics_of(np.concatenate(days[chosen], axis=1), links.x_km, links.y_km)

    rng = Streams(0, 0).generator("measured-days", len(days))
    redrawn = [of(rng.integers(0, len(days), len(days))) for _ in range(REDRAWS)]
    return of(np.arange(len(days))), redrawn


class _BlockRain:
    """What the links see of one block of simulated years."""

    def __init__(self, links: MeasuredLinks, setting: Setting, streams: Streams) -> None:
        x = np.array([[hop.x0_km, hop.x1_km] for hop in links.hops])
        y = np.array([[hop.y0_km, hop.y1_km] for hop in links.hops])
        place = setting.latitude_deg, setting.longitude_deg
        law, region = climate_of(*place).rain_law, Region.around(x, y)
        weather = uniform_weather(
            _one_month(law, setting.month),
            region,
            DEFAULT_POPULATION,
            replace(DEFAULT_STORMS, yearly_spread=ratio_of(law)),
            centre_deg=place,
            drift=drift_by_latitude,
            cycle=shower_cycle,
        )
        field = draw_storms(streams, weather, region, n_years=YEARS_PER_BLOCK)
        self.links, self.month = links, setting.month
        self.knots = [rain_knots(field, hop, lowest_threshold_db=LOWEST_DB) for hop in links.hops]

    def spans(self, n_days: int, wetness: float) -> list[JointStatistics]:
        """Statistics of the month's spans of that length and about that wetness."""
        found = []
        for year in range(YEARS_PER_BLOCK):
            for part in range(30 // n_days):
                start = year * SECONDS_PER_YEAR + MONTH_STARTS_S[self.month]
                start += (part * n_days + 0.5) * SECONDS_PER_DAY
                if not 0.4 < self._wetness(start, n_days) / wetness < 2.5:  # spares most minutes' means
                    continue
                minutes = np.array([minute_means(each, start, n_days * DAY_MIN) for each in self.knots])
                if 0.5 < (minutes > 10.0).mean() / wetness < 2.0:
                    found.append(statistics_of(minutes, self.links.x_km, self.links.y_km))
        return found

    def _wetness(self, start_s: float, n_days: int) -> float:
        """Share of time above 10 dB of these days, all links, to one knot."""
        above_s = 0.0
        for each in self.knots:
            low, high = np.searchsorted(each.time_s, [start_s, start_s + n_days * SECONDS_PER_DAY])
            step_s = np.diff(each.time_s[low:high])
            above_s += float(step_s[each.attenuation_db[low:high][:-1] > 10.0].sum())
        return above_s / (n_days * SECONDS_PER_DAY * len(self.knots))


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


def comparison_table(part: Comparison) -> pd.DataFrame:
    """Measured value with the middle 95 % of its redraws, simulated mean and its standard error, ratio."""
    measured, spans = part.measured, part.spans
    rows = []
    names = {
        "conditional": [f"c at {distance:.0f} km" for distance in measured.distance_km],
        "duration_min": [f"mean fade above {level:.0f} dB [min]" for level in LEVELS_DB],
        "median_min": [f"median fade above {level:.0f} dB [min]" for level in LEVELS_DB],
        "slope_share": [f"slope / A, {low:.0f} to {high:.0f} dB [1/s]" for low, high in SLOPE_BANDS_DB],
        "memory": [f"correlation in time at {lag} min" for lag in LAGS_MIN],
        "together": [f"links down together at {level:.0f} dB" for level in TOGETHER_DB],
    }
    for field, labels in names.items():
        if len(spans) < 2:
            break
        values = np.array([getattr(span, field) for span in spans])
        low, high = part.bounds(field)
        for i, label in enumerate(labels):
            each = values[np.isfinite(values[:, i]), i]
            if len(each) < 2:
                continue
            mean = each.mean()
            reference = float(getattr(measured, field)[i])
            error = each.std(ddof=1) / np.sqrt(len(each))
            rows.append((label, reference, low[i], high[i], mean, error, mean / reference))
    columns = ["statistic", "measured", "low", "high", "simulated", "standard_error", "ratio"]
    return pd.DataFrame(rows, columns=columns).round(4)


if __name__ == "__main__":
    main()
