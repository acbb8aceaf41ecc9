"""How often a hop fades by multipath: occurrence, depths, seasons and neighbouring hops (ITU-R P.530).

Probabilities are fractions of time. The occurrence factor p0 of the deep-fade law p = p0 10^(-A/10) is a
fraction too, and may exceed 1 (100 %) on long hops in bad climates. Only differences of what the
Recommendation calls percent are converted, inside the formulas that need them.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Bools, Floats

SHORTEST_PATH_KM: Final = 5.0
"""Multipath counts only on paths longer than this [km] (P.530, 2.3)."""

LARGEST_REDUCTION_DB: Final = 10.8
"""Cap of delta G [dB]: all the fading of the year in one month (P.530-17 and -18, 2.3.4)."""


def geoclimatic_factor_detailed(refractivity_gradient: ArrayLike, terrain_roughness_m: ArrayLike) -> Floats:
    """Geoclimatic factor K for detailed planning.

    Parameters
    ----------
    refractivity_gradient : float or array
        dN1, the refractivity gradient in the lowest 65 m not exceeded for 1 % of an average year [N/km].
    terrain_roughness_m : float or array
        s_a, standard deviation of terrain heights in a square of 110 km [m], at least 0. Shapes broadcast.

    References
    ----------
    ITU-R P.530-17 (2017), 2.3.1, equation (4).
    """
    roughness = np.asarray(terrain_roughness_m, dtype=np.float64)
    _refuse(roughness < 0.0, "terrain_roughness_m", roughness, "at least 0")
    exponent = -4.4 - 0.0027 * np.asarray(refractivity_gradient, dtype=np.float64)
    return np.power(10.0, exponent) * np.power(10.0 + roughness, -0.46)


def worst_month_occurrence(
    geoclimatic_factor: ArrayLike,
    *,
    path_length_km: ArrayLike,
    inclination_mrad: ArrayLike,
    frequency_ghz: ArrayLike,
    lower_antenna_m: ArrayLike,
    detailed: bool = True,
) -> Floats:
    """Occurrence factor p0 of the average worst month (deep-fade law at 0 dB), edition 17.

    Parameters
    ----------
    geoclimatic_factor : float or array
        K, above 0, from ``geoclimatic_factor_detailed`` (or ``_quick``, with ``detailed=False``).
    path_length_km : float or array
        [km], above 0.
    inclination_mrad : float or array
        Height difference of the antennas over the length [mrad]; the sign does not count.
    frequency_ghz : float or array
        [GHz], above 0.
    lower_antenna_m : float or array
        Height of the lower antenna above sea level [m].
    detailed : bool
        Whether the exponents of detailed planning (True) or of quick planning hold. Shapes broadcast.

    Returns
    -------
    array
        Fraction, at least 0, possibly above 1; 0 where the path is not longer than 5 km.

    References
    ----------
    ITU-R P.530-17 (2017), 2.3.1, equations (7) (detailed) and (8) (quick, from memory).
    """
    length = _positive("path_length_km", path_length_km)
    frequency = _positive("frequency_ghz", frequency_ghz)
    factor = _positive("geoclimatic_factor", geoclimatic_factor)
    slope = 1.0 + np.abs(np.asarray(inclination_mrad, dtype=np.float64))
    height = np.asarray(lower_antenna_m, dtype=np.float64)
    length_power, slope_power, height_factor = (3.4, -1.03, 0.00076) if detailed else (3.1, -1.29, 0.00089)
    percent = factor * length**length_power * slope**slope_power * frequency**0.8
    percent = percent * np.power(10.0, -height_factor * height)
    return np.where(length > SHORTEST_PATH_KM, percent / 100.0, 0.0)


def worst_month_occurrence_ed18(
    geoclimatic_factor: ArrayLike,
    *,
    path_length_km: ArrayLike,
    frequency_ghz: ArrayLike,
    first_antenna_m: ArrayLike,
    second_antenna_m: ArrayLike,
    mean_terrain_m: ArrayLike,
    refractivity_75: ArrayLike,
) -> Floats:
    """Occurrence factor p0 of the average worst month, edition 18.

    Parameters
    ----------
    geoclimatic_factor : float or array
        K = 10^logK of the Recommendation's map.
    path_length_km, frequency_ghz : float or array
        [km], [GHz], above 0.
    first_antenna_m, second_antenna_m, mean_terrain_m : float or array
        Heights of the antennas and of the mean terrain along the path, above sea level [m].
    refractivity_75 : float or array
        dN75 of the Recommendation's map [N-units], above 0. Shapes broadcast.

    Returns
    -------
    array
        Fraction; 0 where the path is not longer than 5 km, at most 1 (the clearance term explodes for large
        dN75 over low clearance: the cap of 100 % is our own).

    References
    ----------
    ITU-R P.530-18 (2021), 2.3.1, after one public implementation of the Recommendation; not checked against
    the Recommendation's own text.
    """
    length = _positive("path_length_km", path_length_km)
    frequency = _positive("frequency_ghz", frequency_ghz)
    gradient = _positive("refractivity_75", refractivity_75)
    first = np.asarray(first_antenna_m, dtype=np.float64)
    second = np.asarray(second_antenna_m, dtype=np.float64)
    clearance = 0.5 * (first + second) - length**2 / 102.0 - np.asarray(mean_terrain_m, dtype=np.float64)
    inclination = np.abs(first - second) / length
    v_clearance = (gradient / 50.0) ** 1.8 * np.exp(np.minimum(-clearance / (2.5 * np.sqrt(length)), 300.0))
    v_sr = gradient * length**1.5 * np.sqrt(frequency) / 24730.0
    exponent = (
        -0.376 * np.tanh((clearance - 147.0) / 125.0)
        - 0.334 * inclination**0.39
        - 0.00027 * np.minimum(first, second)
        + 17.85 * np.minimum(v_clearance, v_sr)
    )
    scale = (
        _positive("geoclimatic_factor", geoclimatic_factor) * length**3.51 * (frequency**2 + 13.0) ** 0.447
    )
    percent = np.power(10.0, np.minimum(np.log10(scale) + exponent, 2.0))
    return np.where(length > SHORTEST_PATH_KM, percent / 100.0, 0.0)


def exceedance(occurrence: ArrayLike, depth_db: ArrayLike) -> Floats:
    """Fraction of time a fade is deeper than A, for all depths.

    Parameters
    ----------
    occurrence : float or array
        p0 [fraction], at least 0: the worst month's for that month's law, the average year's for the year's.
    depth_db : float or array
        A [dB]; below 0 counts as 0. Shapes broadcast.

    Returns
    -------
    array
        0 where p0 is 0; else 0.632 at 0 dB, and p0 10^(-A/10) from A_t = 25 + 1.2 log10(p0 in percent) on.

    References
    ----------
    ITU-R P.530-17 and -18, 2.3.2, equations (10) to (18).
    """
    p0 = np.asarray(occurrence, dtype=np.float64)
    _refuse(~(p0 >= 0.0), "occurrence", p0, "at least 0")
    depth = np.maximum(np.asarray(depth_db, dtype=np.float64), 0.0)
    fades = p0 > 0.0
    percent = 100.0 * np.where(fades, p0, 1.0)
    transition = np.maximum(25.0 + 1.2 * np.log10(percent), 0.1)
    at_transition = np.minimum(percent * np.power(10.0, -transition / 10.0), 99.99)
    q_prime = -20.0 * np.log10(-np.log1p(-at_transition / 100.0)) / transition
    q_t = (q_prime - 2.0) / _shape(transition) - _offset(transition)
    q_a = 2.0 + _shape(depth) * (q_t + _offset(depth))
    shallow = -np.expm1(-np.power(10.0, -q_a * depth / 20.0))
    deep = percent / 100.0 * np.power(10.0, -depth / 10.0)
    return np.where(fades, np.where(depth >= transition, deep, shallow), 0.0)


def depth_exceeded_db(occurrence: ArrayLike, probability: ArrayLike) -> Floats:
    """Depth exceeded for a fraction of time, the inverse of ``exceedance``.

    Parameters
    ----------
    occurrence : float or array
        p0 [fraction], at least 0.
    probability : float or array
        Fraction of time, above 0. Shapes broadcast.

    Returns
    -------
    array
        [dB]; 0 for fractions above 63.2 % and where p0 is 0.
    """
    p0, wanted = np.broadcast_arrays(
        np.asarray(occurrence, dtype=np.float64), _positive("probability", probability)
    )
    low = np.zeros(p0.shape)
    high = np.full(p0.shape, 300.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        deeper = exceedance(p0, middle) > wanted
        low, high = np.where(deeper, middle, low), np.where(deeper, high, middle)
    return np.where(p0 > 0.0, 0.5 * (low + high), 0.0)


def occurrence_of(depth_db: ArrayLike, probability: ArrayLike) -> Floats:
    """Occurrence factor p0 [fraction] at which a fade is deeper than A for a fraction of time.

    Parameters
    ----------
    depth_db : float or array
        A [dB], above 0.
    probability : float or array
        Fraction of time, above 0 and below that of 0 dB, 63.2 %. Shapes broadcast.

    References
    ----------
    ITU-R P.530-17 and -18, 2.3.2, turned round: from 1e-15 to 1e6, by bisection.
    """
    depth, wanted = np.broadcast_arrays(
        _positive("depth_db", depth_db), _positive("probability", probability)
    )
    low, high = np.full(depth.shape, -15.0), np.full(depth.shape, 6.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        less = exceedance(10.0**middle, depth) < wanted
        low, high = np.where(less, middle, low), np.where(less, high, middle)
    return np.asarray(10.0 ** (0.5 * (low + high)))


def annual_reduction_db(
    latitude_deg: ArrayLike, path_length_km: ArrayLike, inclination_mrad: ArrayLike
) -> Floats:
    """Delta G, from the average worst month to the average year: p0 of the year is p0 10^(-delta G/10).

    Parameters
    ----------
    latitude_deg : float or array
        -90 to 90, either hemisphere.
    path_length_km, inclination_mrad : float or array
        [km], above 0; [mrad]. Shapes broadcast.

    Returns
    -------
    array
        [dB], 0 to 10.8. (The cap is the Recommendation's; the floor at 0 is ours.)

    References
    ----------
    ITU-R P.530-17 and -18, 2.3.4, equation (24): plus to 45 degrees of latitude, minus beyond.
    """
    latitude = np.abs(np.asarray(latitude_deg, dtype=np.float64))
    _refuse(~(latitude <= 90.0), "latitude_deg", latitude, "-90 to 90")
    swing = np.abs(np.cos(2.0 * np.radians(latitude))) ** 0.7
    reduction = (
        10.5
        - 5.6 * np.log10(1.1 + np.where(latitude <= 45.0, swing, -swing))
        - 2.7 * np.log10(_positive("path_length_km", path_length_km))
        + 1.7 * np.log10(1.0 + np.abs(np.asarray(inclination_mrad, dtype=np.float64)))
    )
    return np.clip(reduction, 0.0, LARGEST_REDUCTION_DB)


def _shape(depth_db: Floats) -> Floats:
    return (1.0 + 0.3 * np.power(10.0, -depth_db / 20.0)) * np.power(10.0, -0.016 * depth_db)


def _offset(depth_db: Floats) -> Floats:
    return 4.3 * (np.power(10.0, -depth_db / 20.0) + depth_db / 800.0)


def _positive(field: str, values: ArrayLike) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    _refuse(~(array > 0.0), field, array, "above 0")
    return array


def _refuse(bad: Bools, field: str, values: Floats, allowed: str) -> None:
    if np.any(bad):
        raise ValueError(f"{field} is {values[bad].flat[0] if values.ndim else values}; must be {allowed}")
