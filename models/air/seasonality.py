"""From the average year to the worst month, to single years, and to two places at once."""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from hopyears.models.basics.arrays import Floats

Q1 = 2.85
"""Q1 of P.841 for planning anywhere in the world."""

BETA = 0.13
"""beta of P.841 for planning anywhere in the world."""

_NODES, _NODE_WEIGHTS = np.polynomial.legendre.leggauss(64)


def worst_month_ratio(probability: ArrayLike, *, q1: float = Q1, beta: float = BETA) -> Floats:
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


def worst_month_probability(probability: ArrayLike, *, q1: float = Q1, beta: float = BETA) -> Floats:
    """Fraction of the average worst month, p_w = Q p, for a fraction p of the average year; any shape."""
    fraction = np.asarray(probability, dtype=np.float64)
    return fraction * worst_month_ratio(fraction, q1=q1, beta=beta)


def climatic_ratio(rain_probability: float) -> float:
    """r_c of P.678-3, the spread of years' climates over their mean, from the annual probability of rain.

    0.0491 P0^-0.36, P0 0.001 or more: 0.12 where it rains for 8 % of the year, 0.26 at 1 %, 0.59 in deserts.
    Our own fit, since the Recommendation's map comes with no released library: to 1,200 places on land of
    five parallels of the map (50 N, 35 N, 20 N, 10 S, 25 S) against P0 of P.837-7. The logarithm misses the
    map by 0.33 (standard deviation) on stretches of longitude, and on parallels, held back; one value for all
    the world by 0.56 and 0.62. Coasts with dry summers spread more (33.5 S 70.7 W: 0.16 for 0.42).

    Parameters
    ----------
    rain_probability : float
        P0, fraction of the year, 0 to 1.
    """
    return round(0.0491 * float(max(rain_probability, 1e-3) ** -0.36), 4)


def rain_occurrence_correlation(distance_km: ArrayLike) -> Floats:
    """Latent (Gaussian) correlation of rain or no rain at two places; P.618-13, section 2.2.4.1."""
    d = np.asarray(distance_km, dtype=np.float64)
    correlation: Floats = 0.7 * np.exp(-d / 60.0) + 0.3 * np.exp(-((d / 700.0) ** 2))
    return correlation


def attenuation_correlation(distance_km: ArrayLike) -> Floats:
    """Latent (Gaussian) correlation of the attenuations at two places where it rains.

    References
    ----------
    ITU-R P.618-13 (2017), section 2.2.4.1, for earth-space site diversity: on terrestrial hops an assumption.
    """
    d = np.asarray(distance_km, dtype=np.float64)
    correlation: Floats = 0.94 * np.exp(-d / 30.0) + 0.06 * np.exp(-((d / 500.0) ** 2))
    return correlation


def bivariate_exceedance(
    probability: ArrayLike, other_probability: ArrayLike, correlation: ArrayLike
) -> Floats:
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
    bounded: Floats = np.where(rho < 1.0, np.minimum(joint, smaller), smaller)
    return bounded
