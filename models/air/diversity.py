"""What a second antenna or frequency buys against multipath, flat and dispersive (ITU-R P.530, section 6).

Everything is a fraction of the worst month. Of deep fades, the law of one receiver is p0 x with x the power
relative to free space, so that an improvement I = I0/x says p(both below x) = p0 x^2/I0: the constant I0 of
a pair is all that two receivers have between them.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats

LARGEST_KS2: Final = 1.0 - 1e-9
"""k_s^2 stays below 1, where two receivers would be one."""


def activity(occurrence: ArrayLike) -> Floats:
    """Multipath activity parameter eta = 1 - exp(-0.2 p0^0.75), p0 the worst month's fraction.

    References
    ----------
    ITU-R P.530-17 and -18, 5.1.
    """
    return np.asarray(-np.expm1(-0.2 * np.power(np.asarray(occurrence, dtype=np.float64), 0.75)))


def mean_delay_ns(path_length_km: ArrayLike) -> Floats:
    """Mean delay of the echo, 0.7 (d/50 km)^1.3 [ns].

    References
    ----------
    ITU-R P.530-17 and -18, 5.1 (from memory).
    """
    return 0.7 * np.power(np.asarray(path_length_km, dtype=np.float64) / 50.0, 1.3)


def signature_outage(
    occurrence: ArrayLike,
    *,
    width_ghz: ArrayLike,
    depth_db: ArrayLike,
    path_length_km: ArrayLike,
    depth_nonminimum_db: ArrayLike | None = None,
    reference_delay_ns: ArrayLike = 6.3,
) -> Floats:
    """Dispersive outage P_s of one receiver by the signature method.

    Parameters
    ----------
    occurrence : float or array
        p0 of the worst month [fraction], at least 0.
    width_ghz, depth_db : float or array
        Signature of the equipment: width W [GHz] and depth B [dB] (minimum phase).
    path_length_km : float or array
        [km], above 0.
    depth_nonminimum_db : float or array, optional
        B for non-minimum phase, the same if not given.
    reference_delay_ns : float or array
        Delay at which the signature was measured [ns], above 0. Shapes broadcast.

    Returns
    -------
    array
        Fraction of the worst month, at most p0.

    References
    ----------
    ITU-R P.530-17 and -18, 5.1 (from memory).
    """
    depth = np.asarray(depth_db, dtype=np.float64)
    other = depth if depth_nonminimum_db is None else np.asarray(depth_nonminimum_db, dtype=np.float64)
    width = np.asarray(width_ghz, dtype=np.float64)
    both = width * (np.power(10.0, -depth / 20.0) + np.power(10.0, -other / 20.0))
    echo = mean_delay_ns(path_length_km) ** 2 / np.abs(np.asarray(reference_delay_ns, dtype=np.float64))
    return np.asarray(
        np.minimum(2.15 * activity(occurrence) * both * echo, np.asarray(occurrence, dtype=np.float64))
    )


def space_constant(
    separation_m: ArrayLike, *, frequency_ghz: ArrayLike, path_length_km: ArrayLike, occurrence: ArrayLike
) -> Floats:
    """I0 of two antennas one above the other: improvement is I0 10^((A - V)/10).

    Parameters
    ----------
    separation_m : float or array
        S between centres [m], at least 0 (0 gives 0: no second antenna). Tested range 3 to 23 m.
    frequency_ghz, path_length_km : float or array
        Tested range 2 to 11 GHz, above 25 km.
    occurrence : float or array
        p0 of the worst month [fraction], above 0. Shapes broadcast.

    References
    ----------
    ITU-R P.530-17 and -18, 6.2.4 (from memory).
    """
    return -np.expm1(-_space_exponent(separation_m, frequency_ghz, path_length_km, occurrence))


def frequency_constant(
    separation_ghz: ArrayLike, *, frequency_ghz: ArrayLike, path_length_km: ArrayLike
) -> Floats:
    """I0 of two frequencies: improvement is I0 10^(F/10), I0 = 80 df/(f^2 d).

    Parameters
    ----------
    separation_ghz : float or array
        df [GHz], at least 0; beyond 5 % of the frequency it counts as 5 %.
    frequency_ghz, path_length_km : float or array
        Carrier (mean of the two) and length; tested range 2 to 11 GHz, 30 to 70 km. Shapes broadcast.

    References
    ----------
    ITU-R P.530-17 and -18, 6.2.6 (from memory).
    """
    carrier = np.asarray(frequency_ghz, dtype=np.float64)
    relative = np.minimum(np.asarray(separation_ghz, dtype=np.float64) / carrier, 0.05)
    return 80.0 * relative / (carrier * np.asarray(path_length_km, dtype=np.float64))


def improvement(constant: ArrayLike, depth_db: ArrayLike, gain_difference_db: ArrayLike = 0.0) -> Floats:
    """Improvement I0 10^((A - V)/10) of a pair at a fade depth A [dB], V its difference of gains [dB]."""
    level = np.asarray(depth_db, dtype=np.float64) - np.asarray(gain_difference_db, dtype=np.float64)
    return np.asarray(constant, dtype=np.float64) * np.power(10.0, level / 10.0)


def correlation_ns2(constant: ArrayLike, occurrence: ArrayLike) -> Floats:
    """k_ns^2 of a pair with constant I0: 1 - I P_ns/eta = 1 - I0 p0/eta, clipped to 0..1 (our choice).

    References
    ----------
    ITU-R P.530-17 and -18, 6.2.5.1 (from memory). P_ns = p0 x and I = I0/x, so the depth falls out.
    """
    scale = np.asarray(occurrence, dtype=np.float64) / activity(occurrence)
    return np.clip(1.0 - np.asarray(constant, dtype=np.float64) * scale, 0.0, 1.0)


def correlation_w(ns2: ArrayLike) -> Floats:
    """r_w, correlation of the relative amplitudes, from k_ns^2 (0..1); any shape.

    References
    ----------
    ITU-R P.530-17 and -18, 6.2.5.1.
    """
    rest = 1.0 - np.asarray(ns2, dtype=np.float64)
    return np.where(rest >= 0.74, 1.0 - 0.9746 * rest**2.170, 1.0 - 0.6921 * rest**1.034)


def correlation_s2(relative: ArrayLike) -> Floats:
    """k_s^2, the selective correlation, from r_w (0..1); any shape.

    References
    ----------
    ITU-R P.530-17 and -18, 6.2.5.1.
    """
    rest = np.maximum(1.0 - np.asarray(relative, dtype=np.float64), 1e-12)
    middle = 1.0 - 0.195 * rest ** (0.109 - 0.13 * np.log10(rest))
    high = 1.0 - 0.3957 * rest**0.5136
    return np.clip(
        np.where(rest >= 0.5, 0.8238, np.where(rest >= 1.0 - 0.9628, middle, high)), 0.0, LARGEST_KS2
    )


def dispersive_outage_with_diversity(dispersive: ArrayLike, ns2: ArrayLike, occurrence: ArrayLike) -> Floats:
    """P_ds = P_s^2/[eta (1 - k_s^2)], the dispersive outage of a pair, at most P_s.

    References
    ----------
    ITU-R P.530-17 and -18, 6.2.5.1 (from memory).
    """
    single = np.asarray(dispersive, dtype=np.float64)
    spread = activity(occurrence) * (1.0 - correlation_s2(correlation_w(ns2)))
    return single * np.minimum(
        np.divide(single, spread, out=np.ones_like(single * spread), where=spread > 0), 1.0
    )


def combined_outage(flat: ArrayLike, dispersive: ArrayLike) -> Floats:
    """P_d = (P_ds^0.75 + P_dns^0.75)^(4/3), both fractions; shapes broadcast.

    References
    ----------
    ITU-R P.530-17 and -18, 6.2.5.1 (from memory).
    """
    total = np.power(np.asarray(flat, dtype=np.float64), 0.75)
    total = total + np.power(np.asarray(dispersive, dtype=np.float64), 0.75)
    return np.power(total, 4.0 / 3.0)


def combined_constant(space: ArrayLike, frequency: ArrayLike, occurrence: ArrayLike) -> Floats:
    """I0 of two receivers that differ in antenna and frequency: k_ns = k_ns,s k_ns,f.

    References
    ----------
    ITU-R P.530-17 and -18, 6.2.7 (from memory), turned from correlations into constants.
    """
    scale = activity(occurrence) / np.asarray(occurrence, dtype=np.float64)
    both = correlation_ns2(space, occurrence) * correlation_ns2(frequency, occurrence)
    return scale * (1.0 - both)


def _space_exponent(
    separation_m: ArrayLike, frequency_ghz: ArrayLike, path_length_km: ArrayLike, occurrence: ArrayLike
) -> Floats:
    percent = 100.0 * np.asarray(occurrence, dtype=np.float64)
    return (
        0.04
        * np.power(np.abs(np.asarray(separation_m, dtype=np.float64)), 0.87)
        * np.power(np.asarray(frequency_ghz, dtype=np.float64), -0.12)
        * np.power(np.asarray(path_length_km, dtype=np.float64), 0.48)
        * np.power(percent, -1.04)
    )
