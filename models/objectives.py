"""Availability and error objectives for a path of a given length and grade.

The forms of the Recommendations are kept; their coefficients are from memory and unverified. Give your
own with ``AvailabilityClass`` or ``availability_objective`` where a contract names them.
"""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.units import SECONDS_PER_YEAR

REFERENCE_LENGTH_KM = 2500.0
"""Reference length of F.1703 [km]."""

END_TO_END_SEVERELY_ERRORED_RATIO = 0.002
"""Severely errored second ratio of the 27,500 km path of G.826 (Table 2) and G.828 (Table 1): from memory."""

_MINUTES_PER_YEAR = SECONDS_PER_YEAR / 60.0


@dataclass(frozen=True)
class AvailabilityClass:
    """Coefficients of one portion of a path in F.1703.

    Attributes
    ----------
    name : str
        Portion.
    length_coefficient : float
        B, unavailability at the reference length, 0 to 1.
    fixed_part : float
        C, unavailability whatever the length, 0 to 1.
    shortest_km : float
        Lengths below this count as this [km].
    source : str
        Where the coefficients come from.
    """

    name: str
    length_coefficient: float
    fixed_part: float
    shortest_km: float
    source: str


_MEMORY = "ITU-R F.1703 (2005), coefficients from memory, unverified"


class Grade(Enum):
    """Portions of a path with coefficients in F.1703."""

    INTERNATIONAL = AvailabilityClass("international, 250 to 2500 km", 3.0e-3, 0.0, 250.0, _MEMORY)
    LONG_HAUL = AvailabilityClass("national long haul, 250 km and more", 3.0e-3, 0.0, 250.0, _MEMORY)
    LONG_HAUL_SHORT = AvailabilityClass("national long haul, below 250 km", 1.9e-3, 1.1e-4, 0.0, _MEMORY)
    SHORT_HAUL = AvailabilityClass("national short haul", 0.0, 4.0e-4, 0.0, _MEMORY)
    ACCESS = AvailabilityClass("national access", 0.0, 5.0e-4, 0.0, _MEMORY)


def grade_for(length_km: float, *, long_haul: bool) -> Grade:
    """Portion that a national path belongs to.

    Parameters
    ----------
    length_km : float
        Length of the path [km], above 0.
    long_haul : bool
        Whether it is long haul; else it is short haul.
    """
    if not length_km > 0.0:
        raise ValueError(f"length_km is {length_km}; must be above 0")
    if not long_haul:
        return Grade.SHORT_HAUL
    return Grade.LONG_HAUL if length_km >= 250.0 else Grade.LONG_HAUL_SHORT


def availability_objective(
    length_km: ArrayLike, *, length_coefficient: float, fixed_part: float, shortest_km: float = 0.0
) -> NDArray[np.float64]:
    """Availability ratio to be met: 1 - (B L/L_R + C).

    Parameters
    ----------
    length_km : float or array
        Length of the path [km], at least 0; the result has its shape.
    length_coefficient, fixed_part, shortest_km : float
        As in ``AvailabilityClass``.

    Returns
    -------
    float array
        Share of time, not below 0.

    Raises
    ------
    ValueError
        If a length or coefficient is negative or not finite.

    References
    ----------
    ITU-R F.1703 (2005), recommends: the form; its coefficients are from memory (``Grade``).
    """
    length = np.asarray(length_km, dtype=np.float64)
    for name, value in (
        ("length_km", length),
        ("length_coefficient", length_coefficient),
        ("fixed_part", fixed_part),
    ):
        if not (np.all(np.isfinite(value)) and np.all(np.asarray(value) >= 0.0)):
            raise ValueError(f"{name} is {value}; must be at least 0")
    lost = length_coefficient * np.maximum(length, shortest_km) / REFERENCE_LENGTH_KM + fixed_part
    return np.maximum(1.0 - lost, 0.0)


def unavailable_min_per_year(availability: ArrayLike) -> NDArray[np.float64]:
    """Minutes of unavailable time in a year of 365.25 days at an availability ratio of 0 to 1."""
    return (1.0 - np.asarray(availability, dtype=np.float64)) * _MINUTES_PER_YEAR


def severely_errored_objective(
    length_km: ArrayLike, *, long_haul: bool, allocation: float | None = None
) -> NDArray[np.float64]:
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
        If the length is negative or the allocation is outside 0 to 1.

    References
    ----------
    ITU-R F.1668 (2004): from memory, unverified. Length is used as it is; the Recommendation's rounding
    of lengths is left out.
    """
    length = np.asarray(length_km, dtype=np.float64)
    if not np.all(length >= 0.0):
        raise ValueError(f"length_km is {length}; must be at least 0")
    own = (0.02 if long_haul else 0.08) if allocation is None else allocation
    if not 0.0 <= own <= 1.0:
        raise ValueError(f"allocation is {own}; must be 0 to 1")
    share = own + 0.01 * length / 500.0 if long_haul else np.full(length.shape, own)
    return END_TO_END_SEVERELY_ERRORED_RATIO * np.minimum(share, 1.0)


def mean_time_to_restore_s(availability: ArrayLike, outages_per_year: ArrayLike) -> NDArray[np.float64]:
    """Mean length of an outage [s]: (1 - availability) over outage intensity; shapes broadcast.

    Not a number when there are no outages. ``availability`` is 0 to 1, ``outages_per_year`` at least 0.

    References
    ----------
    ITU-T G.827 (2003) and ITU-R F.1703 (2005): outage intensity is the inverse of the mean time between
    outages, which runs from the start of one to the start of the next (from memory).
    """
    lost_s = unavailable_min_per_year(availability) * 60.0
    intensity = np.asarray(outages_per_year, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean_s: NDArray[np.float64] = np.where(intensity > 0.0, lost_s / intensity, np.nan)
    return mean_s
