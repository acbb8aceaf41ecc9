"""Cross-polar discrimination in clear air and in rain (ITU-R P.530-18, section 4), and what it limits."""

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import ratio_from_db

CO_SITED_COUPLING = 0.7
"""k_XP with one transmit antenna (P.530-18, section 4.1)."""

U0_DB = 15.0
"""U0, the average of the discrimination's constant; its lower bound is 9 dB (P.530-18, section 4.2.1)."""

_BISECTIONS = 60


def clear_air_margin_db(
    occurrence: ArrayLike,
    *,
    antenna_discrimination_db: ArrayLike,
    required_c_i_db: ArrayLike,
    canceller_db: ArrayLike = 0.0,
    coupling: ArrayLike = CO_SITED_COUPLING,
) -> Floats:
    """Margin M of the cross-polar channel in clear air [dB]; shapes broadcast.

    Parameters
    ----------
    occurrence : float or array
        Multipath occurrence P0, the fraction of the worst month at 0 dB of the deep-fade law, above 0.
    antenna_discrimination_db : float or array
        XPD_g, the smaller of the two antennas' discrimination on their axis [dB].
    required_c_i_db : float or array
        C0/I, the carrier-to-interference ratio of the modulation's threshold, without canceller [dB].
    canceller_db : float or array
        XPIF, the improvement by the canceller [dB], at least 0.
    coupling : float or array
        k_XP, see ``coupling_factor``.

    References
    ----------
    ITU-R P.530-18 (2021), section 4.1: XPD0 = XPD_g + 5, or 40 above 35 dB; Q = -10 log10(k_XP eta/P0) with
    eta = 1 - exp(-0.2 P0^0.75); M = XPD0 + Q - C0/I + XPIF.
    """
    p0 = np.asarray(occurrence, dtype=np.float64)
    xpd_g = np.asarray(antenna_discrimination_db, dtype=np.float64)
    xpd_0 = np.where(xpd_g <= 35.0, xpd_g + 5.0, 40.0)
    eta = -np.expm1(-0.2 * p0**0.75)
    q = -10.0 * np.log10(np.asarray(coupling, dtype=np.float64) * eta / p0)
    margin: Floats = xpd_0 + q - np.asarray(required_c_i_db) + np.asarray(canceller_db)
    return margin


def clear_air_outage(occurrence: ArrayLike, margin_db: ArrayLike) -> Floats:
    """Fraction of the worst month lost to cross-polar interference in clear air, P0 10^(-M/10).

    References
    ----------
    ITU-R P.530-18 (2021), section 4.1. Not above 1: the limit is our own.
    """
    return np.minimum(np.asarray(occurrence, dtype=np.float64) / ratio_from_db(margin_db), 1.0)


def rain_discrimination_db(
    attenuation_db: ArrayLike, *, frequency_ghz: ArrayLike, u0_db: ArrayLike = U0_DB
) -> Floats:
    """Cross-polar discrimination in rain of this co-polar attenuation, XPD = U - V log10 A [dB].

    Infinite at 0 dB or less (no rain, no depolarisation). Shapes broadcast.

    Notes
    -----
    The Recommendation gives V from 8 to 35 GHz; outside it, the nearer formula is used (our own choice).

    References
    ----------
    ITU-R P.530-18 (2021), section 4.2.1: U = U0 + 30 log10 f; V = 12.8 f^0.19 to 20 GHz, then 22.6.
    """
    u, v = _u_and_v(frequency_ghz, u0_db)
    attenuation = np.maximum(np.asarray(attenuation_db, dtype=np.float64), 0.0)
    with np.errstate(divide="ignore"):
        discrimination: Floats = u - v * np.log10(attenuation)
    return discrimination


def limiting_attenuation_db(
    *,
    frequency_ghz: ArrayLike,
    required_c_i_db: ArrayLike,
    canceller_db: ArrayLike = 0.0,
    u0_db: ArrayLike = U0_DB,
) -> Floats:
    """Rain attenuation at which discrimination and canceller together just give the required C/I [dB].

    References
    ----------
    ITU-R P.530-18 (2021), section 4.2.2: A_p = 10^((U - C0/I + XPIF)/V).
    """
    u, v = _u_and_v(frequency_ghz, u0_db)
    exponent = (u - np.asarray(required_c_i_db) + np.asarray(canceller_db)) / v
    limit: Floats = np.power(10.0, exponent)
    return limit


def rain_outage(
    attenuation_001_db: ArrayLike,
    *,
    frequency_ghz: ArrayLike,
    required_c_i_db: ArrayLike,
    canceller_db: ArrayLike = 0.0,
    u0_db: ArrayLike = U0_DB,
) -> Floats:
    """Fraction of the year lost to cross-polar interference in rain; 0 where A0.01 is 0. Shapes broadcast.

    Notes
    -----
    The Recommendation states a range of -3..0 for the exponent n (0.001 to 1 % of the year). Outside it the
    formula simply goes on, down to its own end at m = 40 dB (n = -5.8) and up to the whole year: our own.

    References
    ----------
    ITU-R P.530-18 (2021), section 4.2.2: m = 23.26 log10[A_p/(0.12 A0.01)], at most 40;
    n = [-12.7 + sqrt(161.23 - 4 m)]/2; P_XPR = 10^(n-2).
    """
    limit = limiting_attenuation_db(
        frequency_ghz=frequency_ghz, required_c_i_db=required_c_i_db, canceller_db=canceller_db, u0_db=u0_db
    )
    a001 = np.asarray(attenuation_001_db, dtype=np.float64)
    with np.errstate(divide="ignore"):
        m = np.minimum(23.26 * np.log10(limit / (0.12 * a001)), 40.0)
    n = (-12.7 + np.sqrt(161.23 - 4.0 * m)) / 2.0
    return np.where(a001 > 0.0, np.power(10.0, np.minimum(n - 2.0, 0.0)), 0.0)


def co_channel_fade_margin_db(
    *,
    clear_snr_db: ArrayLike,
    required_snr_db: ArrayLike,
    frequency_ghz: ArrayLike,
    canceller_db: ArrayLike = 0.0,
    antenna_discrimination_db: ArrayLike = np.inf,
    u0_db: ArrayLike = U0_DB,
) -> Floats:
    """Rain attenuation at which noise and cross-polar interference together meet the requirement [dB].

    0 where the requirement is not met in clear air. Shapes broadcast.

    Parameters
    ----------
    clear_snr_db, required_snr_db : float or array
        Signal-to-noise ratio in clear air, without interference, and what the modulation needs [dB].
    frequency_ghz, u0_db : float or array
        As in ``rain_discrimination_db``.
    canceller_db : float or array
        Improvement of the discrimination by the canceller [dB].
    antenna_discrimination_db : float or array
        Discrimination of the antennas themselves [dB], its interference added in power (our own); infinite
        leaves it out.

    Notes
    -----
    Noise and interference both rise with the attenuation, so there is one such attenuation, and it is at
    most the margin against noise alone; found by bisection to 1e-12 dB or so. Our own sum of powers:
    1/(10^(A/10)/SNR0 + 10^(-(XPD(A) + XPIF)/10)), with XPD(A) of P.530-18, section 4.2.1.
    """
    inputs = [clear_snr_db, required_snr_db, frequency_ghz, canceller_db, antenna_discrimination_db, u0_db]
    snr, required, f, canceller, antenna, u0 = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in inputs)
    )
    allowed = 1.0 / ratio_from_db(required)
    low, high = np.zeros(snr.shape), np.maximum(snr - required, 0.0)
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        met = _noise_and_interference(middle, snr, f, canceller, antenna, u0) <= allowed
        low, high = np.where(met, middle, low), np.where(met, high, middle)
    return low


def _noise_and_interference(
    attenuation_db: ArrayLike,
    clear_snr_db: ArrayLike,
    frequency_ghz: ArrayLike,
    canceller_db: ArrayLike,
    antenna_discrimination_db: ArrayLike,
    u0_db: ArrayLike,
) -> Floats:
    """Noise plus interference over the wanted signal, a bare ratio."""
    xpd = rain_discrimination_db(attenuation_db, frequency_ghz=frequency_ghz, u0_db=u0_db)
    noise = ratio_from_db(np.asarray(attenuation_db, dtype=np.float64) - np.asarray(clear_snr_db))
    by_rain, by_antenna = ratio_from_db(-xpd), ratio_from_db(-np.asarray(antenna_discrimination_db))
    return noise + (by_rain + by_antenna) / ratio_from_db(canceller_db)


def _u_and_v(frequency_ghz: ArrayLike, u0_db: ArrayLike) -> tuple[Floats, Floats]:
    f = np.asarray(frequency_ghz, dtype=np.float64)
    return np.asarray(u0_db) + 30.0 * np.log10(f), np.where(f <= 20.0, 12.8 * f**0.19, 22.6)
