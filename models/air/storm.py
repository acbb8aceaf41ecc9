"""How rain cells gather in storms, how storms move, and how years differ: frozen data."""

from dataclasses import dataclass


@dataclass(frozen=True)
class StormModel:
    """How cells gather in storms, how storms move, and how years differ.

    Parameters
    ----------
    cells_per_storm : float
        Mean number of cells in a storm (Poisson), above 0.
    spread_km : float
        Standard deviation of the cells' places about the storm's centre, east and north [km], above 0.
    spread_shape : float
        Shape of the gamma variable (mean one) that each cell's variance of place is multiplied by, above 0:
        1 gathers cells in a core with a wide skirt, a large value makes them Gaussian.
    duration_s : float
        Cells are born evenly over this time from the storm's start [s], above 0.
    mean_drift_km_h, drift_shape : float
        Drift of storms, gamma distributed: mean [km/h] and shape.
    drift_towards_deg, drift_spread_deg : float
        Mean direction of drift (degrees from north, clockwise) and its standard deviation.
    peak_correlation : float
        Share of the variance of the cells' normal scores that is common to a storm, 0 to below 1.
    spells_per_year, spell_duration_s : float
        Storms start only within wet spells common to the region: mean number of spells a year (Poisson) and
        their length [s], above 0. Many long spells overlap and leave storms independent of each other.
    yearly_spread : float
        Ratio of standard deviation to mean of the years' numbers of storms (r_c of ITU-R P.678-3).
    """

    cells_per_storm: float = 65.0
    spread_km: float = 13.0
    spread_shape: float = 3.0
    duration_s: float = 14400.0
    mean_drift_km_h: float = 44.0
    drift_shape: float = 4.0
    drift_towards_deg: float = 67.5
    drift_spread_deg: float = 45.0
    peak_correlation: float = 0.9
    spells_per_year: float = 180.0
    spell_duration_s: float = 50400.0
    yearly_spread: float = 0.18

    def __post_init__(self) -> None:
        names = ("cells_per_storm", "spread_km", "spread_shape", "duration_s", "spells_per_year")
        for field in (*names, "spell_duration_s", "mean_drift_km_h", "drift_shape"):
            if not getattr(self, field) > 0.0:
                raise ValueError(f"{field} is {getattr(self, field)}; must be above 0")
        if not 0.0 <= self.peak_correlation < 1.0:
            raise ValueError(f"peak_correlation is {self.peak_correlation}; must be 0 to below 1")
        if not 0.0 <= self.yearly_spread <= 10.0:
            raise ValueError(f"yearly_spread is {self.yearly_spread}; must be 0 to 10")


DEFAULT_STORMS = StormModel()
"""Calibrated in experiments/rain_calibration."""
