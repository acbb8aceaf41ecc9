"""How showers and wide rain gather, how they move, and how years differ: frozen data."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats


@dataclass(frozen=True)
class StormModel:
    """How rain of two kinds gathers in systems, how systems move, and how years differ.

    Systems bear storms and wide shapes; storms bear the showers (cells). A system's mean number of both is
    multiplied by one gamma variable of mean one, so that few systems are large.

    Parameters
    ----------
    split_peak_mm_h, split_power : float
        A peak M belongs to wide rain with chance 1 / (1 + (M / split_peak)^split_power), both above 0.
    split_rate_mm_h, split_rate_power : float
        In months of a mean rain rate r below split_rate_mm_h the split peak is larger, by
        (split_rate_mm_h / r)^split_rate_power: cool months' rain is wide up to higher rates. Above 0.
    split_amount_mm_h : float
        Where less than this falls in a month (mean rate times probability of rain [mm/h]; 0.1 mm/h is 73 mm a
        month), only as large a share of its rain is split by the larger peak, above 0.
    storms_per_system, wide_per_system : float
        Largest mean number of storms and of wide shapes in a system, above 0.
    gather_amount_mm_h, least_gathered : float
        Systems of a month in which less than this falls hold fewer of both, least_gathered of the most (above
        0, at most 1) where nearly nothing falls: the less rain, the more its storms come alone.
    system_spread_km : float
        Standard deviation of their places about the system's moving centre, east and north [km], above 0.
    system_duration_s : float
        They begin evenly over this time from the system's start [s], above 0.
    system_size_shape : float
        Shape of the gamma variable that makes systems differ in size, above 0.
    cells_per_rate, cells_power, cells_per_amount, fewest_cells, most_cells : float
        Mean cells in a storm: the larger of cells_per_rate times the month's mean rain rate [mm/h] to this
        power and of cells_per_amount times that rate times the probability of rain, within these limits.
    storm_spread_km, storm_duration_s : float
        Standard deviation of cells about their storm's moving centre [km]; they are born evenly over this
        time from the storm's start [s]; above 0.
    wide_radius_km, wide_ratio, wide_life_s : float
        Largest radius of a wide shape [km] (geometric mean of its two standard deviations), ratio of the
        long to the short, at least 1, and mean life [s] (gamma, shape as for cells).
    system_correlation, storm_correlation : float
        Shares of the variance of the peaks' normal scores that are common to a system and, of cells, to
        a storm; at least 0, together below 1.
    mean_drift_km_h, drift_shape : float
        Drift of systems, gamma distributed: mean [km/h] and shape, above 0.
    drift_towards_deg, drift_spread_deg : float
        Mean direction of drift (degrees from north, clockwise) and its standard deviation.
    yearly_spread : float, optional
        Standard deviation over mean of the years' numbers of systems everywhere (r_c of ITU-R P.678-3),
        0 to 10; None is each place's own, see ``seasonality.climatic_ratio``.

    References
    ----------
    Cells gathered twice, in storms within fronts: Feral et al. 2006, Radio Science 41, 2005RS003312. Split by
    intensity of rain: P. L. Rice, N. R. Holmberg 1973, IEEE Trans. Commun. 21, 1131 (from memory). The form
    and its numbers are our own, calibrated in experiments/rain_calibration.
    """

    split_peak_mm_h: float = 5.0
    split_power: float = 4.0
    split_rate_mm_h: float = 2.0
    split_rate_power: float = 1.5
    split_amount_mm_h: float = 0.18
    storms_per_system: float = 3.1
    wide_per_system: float = 15.0
    gather_amount_mm_h: float = 0.08
    least_gathered: float = 0.15
    system_spread_km: float = 47.0
    system_duration_s: float = 21600.0
    system_size_shape: float = 0.35
    cells_per_rate: float = 7.6
    cells_power: float = 1.4
    cells_per_amount: float = 140.0
    fewest_cells: float = 20.0
    most_cells: float = 55.0
    storm_spread_km: float = 9.0
    storm_duration_s: float = 7200.0
    wide_radius_km: float = 15.0
    wide_ratio: float = 2.0
    wide_life_s: float = 9000.0
    system_correlation: float = 0.35
    storm_correlation: float = 0.55
    mean_drift_km_h: float = 41.0
    drift_shape: float = 4.0
    drift_towards_deg: float = 67.5
    drift_spread_deg: float = 45.0
    yearly_spread: float | None = None

    def __post_init__(self) -> None:
        free = ("drift_towards_deg", "drift_spread_deg", "yearly_spread", "system_correlation")
        for field in self.__dataclass_fields__:
            if field not in (*free, "storm_correlation") and not getattr(self, field) > 0.0:
                raise ValueError(f"{field} is {getattr(self, field)}; must be above 0")
        if min(self.system_correlation, self.storm_correlation) < 0.0 or self.peak_correlation >= 1.0:
            raise ValueError(
                f"system_correlation, storm_correlation are {self.system_correlation}, "
                f"{self.storm_correlation}; must be at least 0 and together below 1"
            )
        if self.wide_ratio < 1.0:
            raise ValueError(f"wide_ratio is {self.wide_ratio}; must be at least 1")
        if self.least_gathered > 1.0:
            raise ValueError(f"least_gathered is {self.least_gathered}; must be above 0 and at most 1")
        if self.yearly_spread is not None and not 0.0 <= self.yearly_spread <= 10.0:
            raise ValueError(f"yearly_spread is {self.yearly_spread}; must be 0 to 10")

    @property
    def peak_correlation(self) -> float:
        """Share of the variance of a storm's cells' scores that is common to them."""
        return self.system_correlation + self.storm_correlation

    def split_peak_of(self, mean_rate_mm_h: ArrayLike) -> Floats:
        """Split peak [mm/h] of a month of this mean rain rate [mm/h]."""
        cool = np.maximum(self.split_rate_mm_h / np.asarray(mean_rate_mm_h, dtype=np.float64), 1.0)
        return np.asarray(self.split_peak_mm_h * cool**self.split_rate_power, dtype=np.float64)

    def cool_share(self, mean_rate_mm_h: float, rain_probability: float) -> float:
        """Share of a month's rain that is split at ``split_peak_of`` its rate, the rest at the common one."""
        return min(mean_rate_mm_h * rain_probability / self.split_amount_mm_h, 1.0)

    def gathered_share(self, mean_rate_mm_h: float, rain_probability: float) -> float:
        """What systems of a month hold, over the most that they hold: 0 to 1."""
        amount = min(mean_rate_mm_h * rain_probability / self.gather_amount_mm_h, 1.0)
        return self.least_gathered + (1.0 - self.least_gathered) * amount

    def cells_per_storm(self, mean_rate_mm_h: float, rain_probability: float) -> float:
        """Mean cells in a storm (Poisson) of a month of this mean rate [mm/h] and probability of rain."""
        by_rate = self.cells_per_rate * float(mean_rate_mm_h**self.cells_power)
        by_amount = self.cells_per_amount * mean_rate_mm_h * rain_probability
        return min(max(by_rate, by_amount, self.fewest_cells), self.most_cells)


DEFAULT_STORMS = StormModel()
"""Calibrated in experiments/rain_calibration."""


def without_drift(storms: StormModel) -> StormModel:
    """The same with the default's drift: all that snapshots of the field depend on."""
    default = DEFAULT_STORMS
    return replace(
        storms,
        mean_drift_km_h=default.mean_drift_km_h,
        drift_shape=default.drift_shape,
        drift_towards_deg=default.drift_towards_deg,
        drift_spread_deg=default.drift_spread_deg,
    )


_TRADES_KM_H, _WESTERLIES_KM_H = 24.0, 41.0
_RIDGE_DEG, _RIDGE_HALF_WIDTH_DEG, _RIDGE_SHIFT_DEG = 26.0, 7.0, 4.0


def drift_by_latitude(latitude_deg: ArrayLike, month: ArrayLike) -> Floats:
    """Mean speed [km/h], heading and its standard deviation [degrees] of systems, last axis; shapes
    broadcast.

    Poleward of the subtropical ridge systems go with the westerlies, towards the east and a little towards
    the pole; equatorward of it with the trades, towards the west. Across the ridge both are mixed, which
    slows them down and scatters their headings. The ridge moves with the sun.

    Parameters
    ----------
    latitude_deg : array
        [degrees], -90 to 90.
    month : array of int
        0 (January) to 11.

    References
    ----------
    J. P. Peixoto, A. H. Oort, Physics of Climate (1992), chapter 7: zonal mean winds near 700 hPa, ridge at
    25 to 30 degrees (from memory). Speeds of the westerlies as calibrated on measured links; those of the
    trades, width and shift of the ridge: common practice.
    """
    latitude = np.asarray(latitude_deg, dtype=np.float64)
    sun = _RIDGE_SHIFT_DEG * np.cos(2.0 * np.pi * (np.asarray(month) - 6.5) / 12.0)
    north = np.where(latitude >= 0.0, 1.0, -1.0)
    poleward = np.abs(latitude) - (_RIDGE_DEG + north * sun)
    west = 0.5 * (1.0 + np.clip(poleward / _RIDGE_HALF_WIDTH_DEG, -1.0, 1.0))
    towards_pole = np.deg2rad(22.5)
    east_km_h = west * _WESTERLIES_KM_H * np.cos(towards_pole) - (1.0 - west) * _TRADES_KM_H
    north_km_h = north * west * _WESTERLIES_KM_H * np.sin(towards_pole)
    heading = np.rad2deg(np.arctan2(east_km_h, north_km_h)) % 360.0
    speed = west * _WESTERLIES_KM_H + (1.0 - west) * _TRADES_KM_H
    spread = 45.0 + 4.0 * west * (1.0 - west) * 45.0
    return np.stack(np.broadcast_arrays(speed, heading, spread), axis=-1)
