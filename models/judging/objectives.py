"""Availability and error objectives for a national path of a given length and grade.

The forms of the Recommendations are kept; their coefficients are from memory and unverified. A service may
state its own objectives in their place (``models.network.network.Service``). There is no objective of outage
intensity here, since we know of no coefficients for it: it is judged only where a service states one.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import MINUTES_PER_YEAR

REFERENCE_LENGTH_KM = 2500.0
"""Reference length of F.1703 [km]."""

END_TO_END_SEVERELY_ERRORED_RATIO = 0.002
"""Severely errored second ratio of the 27,500 km path of G.826 (Table 2) and G.828 (Table 1): from memory."""

AVAILABILITY_SOURCE = "ITU-R F.1703 (2005), coefficients from memory, unverified"
SEVERELY_ERRORED_SOURCE = "ITU-R F.1668 (2004), from memory, unverified"
STATED = "stated in the network file"
"""Where an objective comes from."""


@dataclass(frozen=True)
class Portion:
    """A portion of a national path in F.1703.

    Attributes
    ----------
    name : str
    length_coefficient : float
        B, unavailability at the reference length, 0 to 1.
    fixed_part : float
        C, unavailability whatever the length, 0 to 1.
    """

    name: str
    length_coefficient: float
    fixed_part: float

    def availability(self, length_km: ArrayLike) -> Floats:
        """Availability ratio to be met: 1 - (B L/L_R + C).

        Parameters
        ----------
        length_km : float or array
            Length of the path [km], at least 0; the result has its shape.

        Returns
        -------
        float array
            Share of time, not below 0.

        Raises
        ------
        ValueError
            If a length is negative or not finite.

        References
        ----------
        ITU-R F.1703 (2005), recommends: the form; its coefficients are from memory.
        """
        length = _length(length_km)
        lost = self.length_coefficient * length / REFERENCE_LENGTH_KM + self.fixed_part
        return np.maximum(1.0 - lost, 0.0)


ACCESS = Portion("national access", 0.0, 5.0e-4)
SHORT_HAUL = Portion("national short haul", 0.0, 4.0e-4)
LONG_HAUL_SHORT = Portion("national long haul, below 250 km", 1.9e-3, 1.1e-4)
LONG_HAUL = Portion("national long haul, 250 km and more", 3.0e-3, 0.0)


def portion_of(grade: str, length_km: float) -> Portion:
    """Portion of a path of a grade: ``access``, ``short haul`` or ``long haul``.

    Parameters
    ----------
    grade : str
    length_km : float
        Length of the path [km]; it matters for long haul only.
    """
    if grade == "long haul":
        return LONG_HAUL if length_km >= 250.0 else LONG_HAUL_SHORT
    return {"access": ACCESS, "short haul": SHORT_HAUL}[grade]


def unavailable_min_per_year(availability: ArrayLike) -> Floats:
    """Minutes of unavailable time in a year of 365.25 days at an availability ratio of 0 to 1."""
    return (1.0 - np.asarray(availability, dtype=np.float64)) * MINUTES_PER_YEAR


def severely_errored_objective(
    length_km: ArrayLike, *, long_haul: bool, allocation: float | None = None
) -> Floats:
    """Share of available seconds that may be severely errored on a national portion.

    Parameters
    ----------
    length_km : float or array
        Length [km], at least 0; it matters for long haul only.
    long_haul : bool
        Long haul takes A = A1 + 0.01 L/500 of the end-to-end ratio; short haul and access take a block.
    allocation : float, optional
        A1 (0.01 to 0.02, default 0.02) or the block (0.075 to 0.085, default 0.08), 0 to 1.

    Raises
    ------
    ValueError
        If a length is negative or not finite, or the allocation is outside 0 to 1.

    References
    ----------
    ITU-R F.1668 (2004): from memory, unverified. Length is used as it is; the Recommendation's rounding
    of lengths is left out.
    """
    length = _length(length_km)
    own = (0.02 if long_haul else 0.08) if allocation is None else allocation
    if not 0.0 <= own <= 1.0:
        raise ValueError(f"allocation is {own}; must be 0 to 1")
    share = own + 0.01 * length / 500.0 if long_haul else np.full(length.shape, own)
    return END_TO_END_SEVERELY_ERRORED_RATIO * np.minimum(share, 1.0)


def _length(length_km: ArrayLike) -> Floats:
    length = np.asarray(length_km, dtype=np.float64)
    if not (np.all(np.isfinite(length)) and np.all(length >= 0.0)):
        raise ValueError(f"length_km is {length}; must be at least 0")
    return length
