"""Attenuation by rain and wet snow together on one hop: what P.530 expects of precipitation."""

from dataclasses import dataclass

from numpy.typing import ArrayLike

from hopyears.models.air import rain_attenuation, wet_snow
from hopyears.models.air.rain_attenuation import RainAttenuationLaw
from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.frozen import frozen

CLEARANCE_M = 3600.0
"""An upper antenna this far below the mean rain height meets rain only (P.530-18, section 2.4.2)."""


@dataclass(frozen=True)
class PrecipitationLaw:
    """Long-run law of the attenuation by rain and wet snow of one path.

    Attributes
    ----------
    rain : RainAttenuationLaw
        Of rain alone.
    multipliers : float array, shape (49,), or None
        What melting makes of the rain's attenuation at each rain height (``wet_snow.path_multipliers``);
        None on a path that meets rain only, whose law is that of rain to the last digit.
    """

    rain: RainAttenuationLaw
    multipliers: Floats | None

    @property
    def kind(self) -> str:
        """What the path meets: ``rain``, ``rain and wet snow``, or ``dry snow``, which takes nothing."""
        if self.multipliers is None:
            return "rain"
        return "rain and wet snow" if self.multipliers.any() else "dry snow"

    def attenuation_db(self, probability: ArrayLike) -> Floats:
        """Attenuation exceeded for a fraction of the average year, above 0 and at most 1 [dB]; any shape."""
        if self.multipliers is None:
            return rain_attenuation.attenuation_db(self.rain, probability)
        return wet_snow.attenuation_db(self.rain, probability, multipliers=self.multipliers)

    def exceedance(self, attenuation_db: ArrayLike) -> Floats:
        """Fraction of the average year with more attenuation than this [dB]; any shape."""
        if self.multipliers is None:
            return rain_attenuation.exceedance(self.rain, attenuation_db)
        return wet_snow.exceedance(self.rain, attenuation_db, multipliers=self.multipliers)


def precipitation_law(
    rain: RainAttenuationLaw, low_m: float, high_m: float, *, mean_rain_height_m: float | None
) -> PrecipitationLaw:
    """Law of a path from that of rain alone and the heights of its antennas.

    Parameters
    ----------
    rain : RainAttenuationLaw
        Of one path.
    low_m, high_m : float
        Heights of the lower and the upper antenna above sea level [m].
    mean_rain_height_m : float or None
        Mean yearly rain height above sea level, P.839 [m]; None leaves wet snow out.

    References
    ----------
    ITU-R P.530-18 (2021), section 2.4.2.
    """
    if mean_rain_height_m is None or high_m <= mean_rain_height_m - CLEARANCE_M:
        return PrecipitationLaw(rain, None)
    multipliers = wet_snow.path_multipliers(low_m, high_m, mean_rain_height_m=mean_rain_height_m)
    return PrecipitationLaw(rain, frozen(multipliers))
