"""The measured links: read, cleaned to one attenuation a minute, and placed on a plane.

Two faults of receivers look like fades and are made unknown. A value that stands still for five minutes in a
fade was held, not measured. A fade of more than 20 dB that comes from nothing and goes to nothing within two
minutes is a receiver that lost its signal in dry weather.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from hopyears.models.air.rain_attenuation import TILT_DEG, coefficients
from hopyears.sim.rain.rain_kernel import HopLine

DAY_MIN = 1440
KM_PER_DEGREE = 111.2
SPIKE_DB, MOST_SPIKES = 5.0, 2
FADE_DB, HELD_MIN = 5.0, 5
DROP_DB, EDGE_MIN = 20.0, 2


@dataclass(frozen=True)
class MeasuredLinks:
    """Links on a plane and their attenuation [dB], shape (n_links, n_minutes), of the smaller direction.

    NaN where nothing is known.
    """

    hops: tuple[HopLine, ...]
    attenuation_db: NDArray[np.float64]

    @property
    def x_km(self) -> NDArray[np.float64]:
        """Middles of the links, east."""
        return np.array([0.5 * (hop.x0_km + hop.x1_km) for hop in self.hops])

    @property
    def y_km(self) -> NDArray[np.float64]:
        """Middles of the links, north."""
        return np.array([0.5 * (hop.y0_km + hop.y1_km) for hop in self.hops])


def packaged_links() -> MeasuredLinks:
    """The 500 links over 11 days inside the package pycomlink 0.6.0; their positions are obscured."""
    import pycomlink
    import xarray

    folder = Path(pycomlink.__file__).parent / "io" / "example_data"
    data = xarray.open_dataset(folder / "example_cml_data.nc").transpose("cml_id", "channel_id", "time")
    return measured(
        loss_db=(data.tsl - data.rsl).values,
        latitude_deg=np.stack([data.site_a_latitude.values, data.site_b_latitude.values], axis=1),
        longitude_deg=np.stack([data.site_a_longitude.values, data.site_b_longitude.values], axis=1),
        frequency_ghz=data.frequency.values[:, 0] / 1e9,
        polarisation=data.polarization.values[:, 0],
    )


def italian_links(file: Path) -> MeasuredLinks:
    """The 151 links over 8 days of August 2022 of the open set OpenRainER (netCDF; true positions)."""
    import xarray

    data = xarray.open_dataset(file).transpose("cml_id", "sublink_id", "time")
    # Minutes that are missing are so for all links.
    minutes = pd.date_range(data.time.values[0], data.time.values[-1], freq="min")
    data = data.reindex(time=minutes)
    return measured(
        loss_db=(data.tsl - data.rsl).values,
        latitude_deg=np.stack([data.site_0_lat.values, data.site_1_lat.values], axis=1),
        longitude_deg=np.stack([data.site_0_lon.values, data.site_1_lon.values], axis=1),
        frequency_ghz=data.frequency.values[:, 0] / 1e3,
        polarisation=data.polarization.values[:, 0].astype(str),
    )


def measured(
    *,
    loss_db: NDArray[np.float64],
    latitude_deg: NDArray[np.float64],
    longitude_deg: NDArray[np.float64],
    frequency_ghz: NDArray[np.float64],
    polarisation: NDArray[np.str_],
) -> MeasuredLinks:
    """Clean links: loss of shape (n_links, 2, n_minutes), ends of shape (n_links, 2)."""
    attenuation, held = (np.array(each) for each in zip(*map(_attenuation, loss_db), strict=True))
    centre = float(latitude_deg.mean()), float(longitude_deg.mean())
    x = (longitude_deg - centre[1]) * KM_PER_DEGREE * np.cos(np.deg2rad(centre[0]))
    y = (latitude_deg - centre[0]) * KM_PER_DEGREE
    hops, kept = [], []
    for i, series in enumerate(attenuation):
        if not _trusted(series) or np.hypot(x[i, 1] - x[i, 0], y[i, 1] - y[i, 0]) < 0.3:
            continue
        tilt = TILT_DEG["H" if str(polarisation[i]) == "H" else "V"]
        k, alpha = coefficients(float(frequency_ghz[i]), polarisation_tilt_deg=tilt)
        hops.append(HopLine(x[i, 0], y[i, 0], x[i, 1], y[i, 1], float(k), float(alpha)))
        kept.append(i)
    unknown = held | np.array([dropped(series) for series in attenuation])
    return MeasuredLinks(tuple(hops), np.where(unknown, np.nan, attenuation)[kept])


def _attenuation(pair: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Smaller of the two directions' loss above a running median of 24 hours [dB], NaN where neither is, and
    in which minutes that is a fade's value held."""
    rows, held = [], []
    for loss in pair:
        series = pd.Series(np.where((loss > 0.0) & (loss < 150.0), loss, np.nan))
        base = series.rolling(DAY_MIN + 1, center=True, min_periods=200).median()
        rows.append((series - base).to_numpy())
        held.append(_repeats(series.to_numpy()) & (rows[-1] > FADE_DB))
    # A receiver that loses the signal in a deep fade reports nothing: bridge up to a quarter of an hour.
    smaller = pd.Series(np.fmin(rows[0], rows[1])).interpolate(limit=15, limit_area="inside").to_numpy()
    return smaller, np.where(np.isnan(rows[1]) | (rows[0] <= rows[1]), *held)


def _repeats(loss_db: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Minutes after the first of ``HELD_MIN`` or more of the same value."""
    starts = np.flatnonzero(np.concatenate([[True], ~(np.abs(np.diff(loss_db)) < 0.01)]))
    lengths = np.diff(np.append(starts, len(loss_db)))
    repeats = np.repeat(lengths >= HELD_MIN, lengths)
    repeats[starts] = False
    return repeats


def dropped(attenuation_db: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Minutes of fades that begin below ``FADE_DB``, are above ``DROP_DB`` within ``EDGE_MIN`` and end so."""
    change = np.diff(np.pad(attenuation_db > FADE_DB, 1).astype(np.int8))
    found = np.zeros(len(attenuation_db), dtype=np.bool_)
    for start, end in zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True):
        deep = np.flatnonzero(attenuation_db[start:end] > DROP_DB)
        if len(deep) and deep[0] < EDGE_MIN and end - start - deep[-1] <= EDGE_MIN:
            found[start:end] = True
    return found


def _trusted(series: NDArray[np.float64]) -> bool:
    """Quality rules: minutes nearly all there, quiet when dry, never long below its median, few spikes."""
    if np.isfinite(series).mean() < 0.95:
        return False
    step = np.diff(np.nan_to_num(series))
    spikes = np.count_nonzero((step[:-1] > SPIKE_DB) & (step[1:] < -SPIKE_DB))
    dry = series[np.abs(series) < 2.0]
    return bool(
        len(dry) > 0.85 * len(series)
        and dry.std() < 0.5
        and np.nanmean(series < -2.0) < 0.002
        and np.nanmean(series > 10.0) < 0.03
        and spikes <= MOST_SPIKES
    )
