"""From the average year to the worst month, to single years, and to two places at once."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gamma, gammaincc, ndtr, ndtri

Q1 = 2.85
"""Q1 of P.841 for planning anywhere in the world."""

BETA = 0.13
"""beta of P.841 for planning anywhere in the world."""

MEDIAN_CLIMATIC_RATIO = 0.18
"""r_c of P.678-3 where nothing is known of the place: the median of its map, which spans 0.04 to 6.2."""

_MINUTES_PER_YEAR = 525_960
_EXACT_TERMS = 1000
_NODES, _NODE_WEIGHTS = np.polynomial.legendre.leggauss(64)


def worst_month_ratio(probability: ArrayLike, *, q1: float = Q1, beta: float = BETA) -> NDArray[np.float64]:
    """Q, the average worst month's fraction over the average year's; any shape.

    Parameters
    ----------
    probability : float or array
        Fraction of the average year, above 0.
    q1, beta : float
        Climate parameters of the Recommendation.

    References
    ----------
    ITU-R P.841-4 and later, equations (1) and (2), p in percent: 12 up to (Q1/12)^(1/beta); Q1 p^-beta to
    3 %; Q1 3^-beta to 30 %; from there a power that comes to 1 at 100 %.
    """
    percent = 100.0 * np.asarray(probability, dtype=np.float64)
    at_3 = q1 * 3.0**-beta
    with np.errstate(divide="ignore"):
        ratio = np.minimum(q1 * np.clip(percent, 0.0, 3.0) ** -beta, 12.0)
    last = at_3 * (np.maximum(percent, 30.0) / 30.0) ** (np.log(at_3) / np.log(0.3))
    return np.where(percent <= 30.0, ratio, last)


def worst_month_probability(
    probability: ArrayLike, *, q1: float = Q1, beta: float = BETA
) -> NDArray[np.float64]:
    """Fraction of the average worst month, p_w = Q p, for a fraction p of the average year; any shape."""
    fraction = np.asarray(probability, dtype=np.float64)
    return fraction * worst_month_ratio(fraction, q1=q1, beta=beta)


def annual_probability(worst_month_probability: ArrayLike) -> NDArray[np.float64]:
    """Fraction of the average year for a fraction of the average worst month; any shape.

    References
    ----------
    ITU-R P.841-4 and later: p = 0.30 p_w^1.15 with both in percent, for 0.00019 to 7.8 % of the worst month.
    Outside, our own: p = p_w/12 below, where the two meet; the formula above.
    """
    percent = 100.0 * np.asarray(worst_month_probability, dtype=np.float64)
    annual: NDArray[np.float64] = np.maximum(0.30 * percent**1.15, percent / 12.0) / 100.0
    return annual


def correlation_sum(probability: ArrayLike) -> NDArray[np.float64]:
    """C of P.678-3, the number of minutes after which exceedances count as independent; any shape.

    Parameters
    ----------
    probability : float or array
        Fraction of the average year, above 0 and below 1.

    Notes
    -----
    The sum over all minutes of the year is taken term by term for the first 1000 and as an integral (an
    incomplete gamma function) for the rest: within 1e-6 of the full sum.

    References
    ----------
    ITU-R P.678-3 (2015), equations (2) to (4): sum of exp(-a |60 i|^b) over |i| < N, a = 0.0265,
    b = -0.0396 ln p + 0.286, N = 525960 minutes a year.
    """
    b = -0.0396 * np.log(np.asarray(probability, dtype=np.float64)) + 0.286
    minutes = np.arange(1, _EXACT_TERMS + 1)
    near = np.sum(np.exp(-0.0265 * (60.0 * minutes) ** b[..., None]), axis=-1)
    start, end = 60.0 * (_EXACT_TERMS + 0.5), 60.0 * (_MINUTES_PER_YEAR - 0.5)
    tail = gammaincc(1.0 / b, 0.0265 * start**b) - gammaincc(1.0 / b, 0.0265 * end**b)
    far = 0.0265 ** (-1.0 / b) / b * gamma(1.0 / b) * tail / 60.0
    total: NDArray[np.float64] = 1.0 + 2.0 * (near + far)
    return total


def year_to_year_deviation(
    probability: ArrayLike, *, climatic_ratio: ArrayLike = MEDIAN_CLIMATIC_RATIO
) -> NDArray[np.float64]:
    """Standard deviation of a single year's exceedance about the long-run one, a fraction; shapes broadcast.

    Parameters
    ----------
    probability : float or array
        Long-run fraction of time p, 0.0001 to 0.02 in the Recommendation.
    climatic_ratio : float or array
        r_c, the part of the spread that lies in the climate itself, at least 0.

    References
    ----------
    ITU-R P.678-3 (2015), equations (1), (5), (6): sigma^2 = (r_c p)^2 + p (1-p) C/N.
    """
    p = np.asarray(probability, dtype=np.float64)
    estimate = p * (1.0 - p) * correlation_sum(p) / _MINUTES_PER_YEAR
    deviation: NDArray[np.float64] = np.sqrt((np.asarray(climatic_ratio) * p) ** 2 + estimate)
    return deviation


def yearly_risk(
    limit: ArrayLike, probability: ArrayLike, *, climatic_ratio: ArrayLike = MEDIAN_CLIMATIC_RATIO
) -> NDArray[np.float64]:
    """Probability that a single year's exceedance is above ``limit``, both fractions; shapes broadcast.

    References
    ----------
    ITU-R P.678-3 (2015), equation (8): Q((p_R - p)/sigma).
    """
    p = np.asarray(probability, dtype=np.float64)
    deviation = year_to_year_deviation(p, climatic_ratio=climatic_ratio)
    risk: NDArray[np.float64] = ndtr((p - np.asarray(limit, dtype=np.float64)) / deviation)
    return risk


def rain_occurrence_correlation(distance_km: ArrayLike) -> NDArray[np.float64]:
    """Latent (Gaussian) correlation of rain or no rain at two places; P.618-13, section 2.2.4.1."""
    d = np.asarray(distance_km, dtype=np.float64)
    correlation: NDArray[np.float64] = 0.7 * np.exp(-d / 60.0) + 0.3 * np.exp(-((d / 700.0) ** 2))
    return correlation


def attenuation_correlation(distance_km: ArrayLike) -> NDArray[np.float64]:
    """Latent (Gaussian) correlation of the attenuations at two places where it rains.

    References
    ----------
    ITU-R P.618-13 (2017), section 2.2.4.1, for earth-space site diversity: on terrestrial hops an assumption.
    """
    d = np.asarray(distance_km, dtype=np.float64)
    correlation: NDArray[np.float64] = 0.94 * np.exp(-d / 30.0) + 0.06 * np.exp(-((d / 500.0) ** 2))
    return correlation


def bivariate_exceedance(
    probability: ArrayLike, other_probability: ArrayLike, correlation: ArrayLike
) -> NDArray[np.float64]:
    """Probability that two jointly Gaussian variables both exceed their own levels; shapes broadcast.

    Parameters
    ----------
    probability, other_probability : float or array
        Of exceeding each level alone, 0 to 1.
    correlation : float or array
        Latent correlation, 0 to 1.

    Notes
    -----
    Q(h) Q(k) + 1/(2 pi) times the integral from 0 to arcsin(rho) of exp(-(h^2 + k^2 - 2 h k sin t)/(2
    cos^2 t)) dt, by 64 Gauss points: a sum of positive terms, so rare events keep their digits (10 of
    them down to 1e-7 and up to a correlation of 0.99999). At a correlation of 1 the smaller of the two is
    given.

    References
    ----------
    Z. Drezner, G. O. Wesolowsky, On the computation of the bivariate normal integral, J. Statist. Comput.
    Simul. 35 (1990) 101-107.
    """
    p, q, rho = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in (probability, other_probability, correlation))
    )
    possible = (p > 0.0) & (q > 0.0) & (p < 1.0) & (q < 1.0)
    h = -ndtri(np.where(possible, p, 0.5))[..., None]
    k = -ndtri(np.where(possible, q, 0.5))[..., None]
    half = 0.5 * np.arcsin(rho)[..., None]
    angle = half * (1.0 + _NODES)
    cosine = np.maximum(np.cos(angle), 1e-12)
    exponent = -(h**2 + k**2 - 2.0 * h * k * np.sin(angle)) / (2.0 * cosine**2)
    excess = np.sum(_NODE_WEIGHTS * half * np.exp(exponent), axis=-1) / (2.0 * np.pi)
    joint = np.where(possible, p * q + excess, p * q)
    smaller = np.minimum(p, q)
    bounded: NDArray[np.float64] = np.where(rho < 1.0, np.minimum(joint, smaller), smaller)
    return bounded


def site_joint_exceedance(
    distance_km: ArrayLike,
    *,
    rain_probability: ArrayLike,
    other_rain_probability: ArrayLike,
    exceedance: ArrayLike,
    other_exceedance: ArrayLike,
) -> NDArray[np.float64]:
    """Fraction of time that two places both exceed their own attenuations; shapes broadcast.

    Parameters
    ----------
    distance_km : float or array
        [km], between the places (for hops: their middles).
    rain_probability, other_rain_probability : float or array
        Fraction of time with rain at each, above 0.
    exceedance, other_exceedance : float or array
        Fraction of all time that each exceeds its own attenuation, at most its fraction with rain.

    References
    ----------
    ITU-R P.618-13 (2017), section 2.2.4.1: joint rain times joint attenuation given rain at both.
    """
    rain, other_rain = (
        np.asarray(rain_probability, np.float64),
        np.asarray(other_rain_probability, np.float64),
    )
    both_wet = bivariate_exceedance(rain, other_rain, rain_occurrence_correlation(distance_km))
    given = np.asarray(exceedance, np.float64) / rain
    other_given = np.asarray(other_exceedance, np.float64) / other_rain
    return both_wet * bivariate_exceedance(given, other_given, attenuation_correlation(distance_km))
