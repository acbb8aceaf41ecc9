"""Rain on a path: k and alpha (ITU-R P.838-3), attenuation and how often it is exceeded (ITU-R P.530-18)."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats

TILT_DEG = {"H": 0.0, "V": 90.0}
"""Polarisation tilt from the horizontal [degrees] by the trade's letters."""

# P.838-3, Tables 1 to 4: rows of (a, b, c), then the slope m and the constant c.
_K_HORIZONTAL = (
    np.array(
        [
            (-5.33980, -0.10008, 1.13098),
            (-0.35351, 1.26970, 0.45400),
            (-0.23789, 0.86036, 0.15354),
            (-0.94158, 0.64552, 0.16817),
        ]
    ),
    -0.18961,
    0.71147,
)
_K_VERTICAL = (
    np.array(
        [
            (-3.80595, 0.56934, 0.81061),
            (-3.44965, -0.22911, 0.51059),
            (-0.39902, 0.73042, 0.11899),
            (0.50167, 1.07319, 0.27195),
        ]
    ),
    -0.16398,
    0.63297,
)
_ALPHA_HORIZONTAL = (
    np.array(
        [
            (-0.14318, 1.82442, -0.55187),
            (0.29591, 0.77564, 0.19822),
            (0.32177, 0.63773, 0.13164),
            (-5.37610, -0.96230, 1.47828),
            (16.1721, -3.29980, 3.43990),
        ]
    ),
    0.67849,
    -1.95537,
)
_ALPHA_VERTICAL = (
    np.array(
        [
            (-0.07771, 2.33840, -0.76284),
            (0.56727, 0.95545, 0.54039),
            (-0.20238, 1.14520, 0.26809),
            (-48.2991, 0.791669, 0.116226),
            (48.5833, 0.791459, 0.116479),
        ]
    ),
    -0.053739,
    0.83433,
)

_LARGEST_PATH_FACTOR = 2.5
_RAREST_PERCENT = 0.001


def coefficients(
    frequency_ghz: ArrayLike, *, polarisation_tilt_deg: ArrayLike, elevation_deg: ArrayLike = 0.0
) -> tuple[Floats, Floats]:
    """k and alpha of the specific attenuation gamma = k R^alpha (R in mm/h, gamma in dB/km).

    Parameters
    ----------
    frequency_ghz : float or array
        [GHz], 1 to 1000.
    polarisation_tilt_deg : float or array
        Tilt of the polarisation from the horizontal [degrees]: 0 horizontal, 90 vertical, 45 circular.
    elevation_deg : float or array
        Elevation of the path [degrees].

    Returns
    -------
    (k, alpha)
        Shapes broadcast.

    References
    ----------
    ITU-R P.838-3 (2005), equations (2) to (5), Tables 1 to 4.
    """
    log_f = np.log10(np.asarray(frequency_ghz, dtype=np.float64))
    k_h, k_v = 10.0 ** _curve(log_f, *_K_HORIZONTAL), 10.0 ** _curve(log_f, *_K_VERTICAL)
    a_h, a_v = _curve(log_f, *_ALPHA_HORIZONTAL), _curve(log_f, *_ALPHA_VERTICAL)
    elevation = np.radians(np.asarray(elevation_deg, dtype=np.float64))
    tilt = np.radians(np.asarray(polarisation_tilt_deg, dtype=np.float64))
    lean = np.cos(elevation) ** 2 * np.cos(2.0 * tilt)
    k = (k_h + k_v + (k_h - k_v) * lean) / 2.0
    return k, (k_h * a_h + k_v * a_v + (k_h * a_h - k_v * a_v) * lean) / (2.0 * k)


def specific_attenuation_db_km(rain_rate_mm_h: ArrayLike, *, k: ArrayLike, alpha: ArrayLike) -> Floats:
    """Attenuation of one kilometre of uniform rain [dB/km], rate at least 0; P.838-3, equation (1)."""
    return np.asarray(k) * np.power(np.asarray(rain_rate_mm_h, dtype=np.float64), alpha)


def path_factor(
    path_length_km: ArrayLike, rain_rate_001_mm_h: ArrayLike, *, alpha: ArrayLike, frequency_ghz: ArrayLike
) -> Floats:
    """Effective over actual path length r for the rain rate exceeded 0.01 % of the year, at most 2.5.

    References
    ----------
    ITU-R P.530-18 (2021), section 2.4.1, equation (32); 2.5 is also taken where the bracket is 0 or less,
    which happens on paths of some hundred metres.
    """
    d = np.asarray(path_length_km, dtype=np.float64)
    rate = np.asarray(rain_rate_001_mm_h, dtype=np.float64)
    f = np.asarray(frequency_ghz, dtype=np.float64)
    rain_term = 0.477 * d**0.633 * rate ** (0.073 * np.asarray(alpha)) * f**0.123
    inverse = rain_term - 10.579 * (1.0 - np.exp(-0.024 * d))
    factor: Floats = 1.0 / np.maximum(inverse, 1.0 / _LARGEST_PATH_FACTOR)
    return factor


@dataclass(frozen=True)
class RainAttenuationLaw:
    """Long-run rain attenuation of paths: A(p) = A0.01 C1 p^-(C2 + C3 log10 p), p in percent of the year.

    Arrays of one shape, one value a path; see ``attenuation_law``.
    """

    attenuation_001_db: Floats
    c1: Floats
    c2: Floats
    c3: Floats

    def __post_init__(self) -> None:
        for field in ("attenuation_001_db", "c1", "c2", "c3"):
            values = np.array(getattr(self, field), dtype=np.float64)
            values.setflags(write=False)
            object.__setattr__(self, field, values)


def attenuation_law(
    path_length_km: ArrayLike,
    rain_rate_001_mm_h: ArrayLike,
    *,
    frequency_ghz: ArrayLike,
    polarisation_tilt_deg: ArrayLike,
    elevation_deg: ArrayLike = 0.0,
) -> RainAttenuationLaw:
    """Long-run rain attenuation law of one or more paths; shapes broadcast.

    Parameters
    ----------
    path_length_km : float or array
        [km], above 0; tested by the Recommendation to 60 km.
    rain_rate_001_mm_h : float or array
        Rain rate exceeded for 0.01 % of the average year, 1 min integration [mm/h], at least 0.
    frequency_ghz : float or array
        [GHz], 1 to 100.
    polarisation_tilt_deg, elevation_deg : float or array
        As in ``coefficients``.

    Notes
    -----
    C0 = 0.12 + 0.4 log10((f/10)^0.8) from 10 GHz on. Another reading, 0.4 (log10(f/10))^0.8, is met; it
    changes nothing at 0.01 % and up to 4 % at the ends of the range at 80 GHz.

    References
    ----------
    ITU-R P.530-18 (2021), section 2.4.1, equations (32) to (35).
    """
    k, alpha = coefficients(
        frequency_ghz, polarisation_tilt_deg=polarisation_tilt_deg, elevation_deg=elevation_deg
    )
    d, rate = np.asarray(path_length_km, dtype=np.float64), np.asarray(rain_rate_001_mm_h, dtype=np.float64)
    factor = path_factor(d, rate, alpha=alpha, frequency_ghz=frequency_ghz)
    attenuation_001 = specific_attenuation_db_km(rate, k=k, alpha=alpha) * d * factor
    c1, c2, c3 = exponents(frequency_ghz)
    shape = attenuation_001.shape
    return RainAttenuationLaw(attenuation_001, *(np.broadcast_to(c, shape) for c in (c1, c2, c3)))


def exponents(frequency_ghz: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """C1, C2 and C3 of the law by frequency [GHz]; P.530-18, section 2.4.1, equations (35a) to (35d)."""
    f = np.asarray(frequency_ghz, dtype=np.float64)
    c0 = 0.12 + 0.4 * 0.8 * np.log10(np.maximum(f, 10.0) / 10.0)
    c1 = 0.07**c0 * 0.12 ** (1.0 - c0)
    return c1, 0.855 * c0 + 0.546 * (1.0 - c0), 0.139 * c0 + 0.043 * (1.0 - c0)


def attenuation_db(law: RainAttenuationLaw, probability: ArrayLike) -> Floats:
    """Rain attenuation exceeded for a fraction of the average year [dB]; shapes broadcast.

    Parameters
    ----------
    law : RainAttenuationLaw
        One or more paths.
    probability : float or array
        Fraction of the year, above 0 and at most 1.

    Notes
    -----
    P.530 gives the law from 0.001 to 1 % of the year. Outside, our own: above 1 % the same curve goes on;
    below 0.001 % it goes on as the power law that touches it there, since the curve itself would turn back
    (at 80 GHz below 0.00008 %). So attenuation falls with the fraction everywhere.

    Raises
    ------
    ValueError
        If a probability is not above 0 and at most 1.

    References
    ----------
    ITU-R P.530-18 (2021), section 2.4.1, equation (34).
    """
    fraction = np.asarray(probability, dtype=np.float64)
    if not np.all((fraction > 0.0) & (fraction <= 1.0)):
        raise ValueError(
            f"probability is {np.min(fraction)} to {np.max(fraction)}; must be above 0, at most 1"
        )
    log_percent = np.log10(fraction) + 2.0
    rarest = np.log10(_RAREST_PERCENT)
    inside = np.maximum(log_percent, rarest)
    log_ratio = np.log10(law.c1) - law.c2 * inside - law.c3 * inside**2
    log_ratio = log_ratio - (law.c2 + 2.0 * law.c3 * rarest) * (log_percent - inside)
    exceeded: Floats = law.attenuation_001_db * np.power(10.0, log_ratio)
    return exceeded


def exceedance(law: RainAttenuationLaw, attenuation_db: ArrayLike) -> Floats:
    """Fraction of the average year with more rain attenuation than this [dB]: the inverse of the law.

    Exact inverse of ``attenuation_db``, at most 1; 1 for 0 dB or less, and 0 for any attenuation on a path
    where it never rains. Shapes broadcast.

    References
    ----------
    ITU-R P.530-18 (2021), section 2.4.7; outside 0.001 to 1 % as in ``attenuation_db``.
    """
    wanted = np.asarray(attenuation_db, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        log_ratio = np.log10(wanted / (law.attenuation_001_db * law.c1))
        rarest = np.log10(_RAREST_PERCENT)
        slope = law.c2 + 2.0 * law.c3 * rarest
        log_ratio_rarest = -law.c2 * rarest - law.c3 * rarest**2
        root = np.sqrt(np.maximum(law.c2**2 - 4.0 * law.c3 * log_ratio, 0.0))
        inside = (-law.c2 + root) / (2.0 * law.c3)
        beyond = rarest - (log_ratio - log_ratio_rarest) / slope
        log_percent = np.where(log_ratio > log_ratio_rarest, beyond, inside)
        fraction = np.minimum(10.0 ** np.minimum(log_percent - 2.0, 0.0), 1.0)
    fraction = np.where(law.attenuation_001_db > 0.0, fraction, 0.0)
    return np.where(wanted <= 0.0, 1.0, fraction)


def _curve(log_frequency: Floats, rows: Floats, slope: float, constant: float) -> Floats:
    a, b, c = rows.T
    bells: Floats = np.sum(a * np.exp(-(((log_frequency[..., None] - b) / c) ** 2)), axis=-1)
    return bells + slope * log_frequency + constant
