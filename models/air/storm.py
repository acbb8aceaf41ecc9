"""How showers and wide rain gather, how they move, and how years differ: frozen data."""

from dataclasses import dataclass


@dataclass(frozen=True)
class StormModel:
    """How rain of two kinds gathers in systems, how systems move, and how years differ.

    Systems bear storms and wide shapes; storms bear the showers (cells). A system's mean number of both is
    multiplied by one gamma variable of mean one, so that few systems are large.

    Parameters
    ----------
    split_peak_mm_h, split_power : float
        A peak M belongs to wide rain with chance 1 / (1 + (M / split_peak)^split_power), both above 0.
    storms_per_system, wide_per_system : float
        Largest mean number of storms and of wide shapes in a system, above 0.
    system_spread_km : float
        Standard deviation of their places about the system's moving centre, east and north [km], above 0.
    system_duration_s : float
        They begin evenly over this time from the system's start [s], above 0.
    system_size_shape : float
        Shape of the gamma variable that makes systems differ in size, above 0.
    cells_per_rate, fewest_cells, most_cells : float
        Mean cells in a storm: cells_per_rate times the month's mean rain rate [mm/h], within these limits.
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
    yearly_spread : float
        Ratio of standard deviation to mean of the years' numbers of systems (r_c of ITU-R P.678-3).

    References
    ----------
    Cells gathered twice, in storms within fronts: Feral et al. 2006, Radio Science 41, 2005RS003312. Split by
    intensity of rain: P. L. Rice, N. R. Holmberg 1973, IEEE Trans. Commun. 21, 1131 (from memory). The form
    and its numbers are our own, calibrated in experiments/rain_calibration.
    """

    split_peak_mm_h: float = 5.0
    split_power: float = 4.0
    storms_per_system: float = 3.0
    wide_per_system: float = 12.0
    system_spread_km: float = 40.0
    system_duration_s: float = 21600.0
    system_size_shape: float = 0.4
    cells_per_rate: float = 11.0
    fewest_cells: float = 5.0
    most_cells: float = 45.0
    storm_spread_km: float = 13.0
    storm_duration_s: float = 14400.0
    wide_radius_km: float = 15.0
    wide_ratio: float = 2.0
    wide_life_s: float = 9000.0
    system_correlation: float = 0.3
    storm_correlation: float = 0.6
    mean_drift_km_h: float = 38.0
    drift_shape: float = 4.0
    drift_towards_deg: float = 67.5
    drift_spread_deg: float = 45.0
    yearly_spread: float = 0.18

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
        if not 0.0 <= self.yearly_spread <= 10.0:
            raise ValueError(f"yearly_spread is {self.yearly_spread}; must be 0 to 10")

    @property
    def peak_correlation(self) -> float:
        """Share of the variance of a storm's cells' scores that is common to them."""
        return self.system_correlation + self.storm_correlation

    def cells_per_storm(self, mean_rate_mm_h: float) -> float:
        """Mean cells in a storm (Poisson) of a month of this mean rain rate [mm/h]."""
        return min(max(self.cells_per_rate * mean_rate_mm_h, self.fewest_cells), self.most_cells)


DEFAULT_STORMS = StormModel()
"""Calibrated in experiments/rain_calibration."""
