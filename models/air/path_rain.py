"""What shapes of rain do to a straight hop: rates add, and attenuation is the path integral of k R^alpha.

Along the line of a hop every shape, round or elliptic, is one or two Gaussians, so the path integral of its
rate is a difference of error functions. The power alpha of a sum of shapes has no closed form. It is taken at
a mean rate in which a shape sees itself and the path mean of all others:

    I = sum I_i,   Q = sum I_i r_i + (I^2 - sum I_i^2) / L,   A = k I^(2 - alpha) Q^(alpha - 1)

I_i is the integral of a shape's rate over the length L and r_i its own rate-weighted mean rate. This is exact
for one shape whose r_i is exact, for uniform rain, on short paths and at alpha = 1. Hops are cut in stretches
of at most ``STRETCH_KM``, which keeps the error below 5 % root mean square for alpha of 0.6 to 1.6 and paths
of 0.1 to 60 km (tested against quadrature: 4 % at 1.6, 2 % at 0.6 to 1.25). Our own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import erf

from hopyears.models.air.rain_cell import GAUSSIAN, CellProfile
from hopyears.models.basics.arrays import Floats

STRETCH_KM = (6.0, 20.0)
"""Longest part of a hop over which rates are taken together, for alpha far from 1 and near it."""

_STRETCH_TIMES_POWER_KM = 1.8


@dataclass(frozen=True)
class Chords:
    """Shapes of one profile as the line of a hop cuts them; arrays broadcast, shapes on the first axis.

    Parameters
    ----------
    across_km, along_km : array
        Distance of the centre from the line, and place of the chord's peak along the line from the hop's
        first end [km]; of an ellipse, both from ``ellipse_chord``.
    radius_km : array
        Radius rho at the time [km]; 0 gives no rain.
    log_peak : array
        ln of the peak rate in mm/h.
    profile : CellProfile
        Shape of the rate.
    scale : array
        Spread of the chord along the line over that of a round shape.
    """

    across_km: ArrayLike
    along_km: ArrayLike
    radius_km: ArrayLike
    log_peak: ArrayLike
    profile: CellProfile
    scale: ArrayLike = 1.0


def ellipse_chord(
    ratio: ArrayLike, bearing_rad: ArrayLike, hop_bearing_rad: ArrayLike
) -> tuple[Floats, Floats]:
    """How a line cuts an elliptic Gaussian of standard deviations rho sqrt(ratio) and rho / sqrt(ratio).

    Parameters
    ----------
    ratio : array
        Long over short axis, at least 1.
    bearing_rad, hop_bearing_rad : array
        Bearings of the long axis and of the hop [rad, clockwise from north].

    Returns
    -------
    scale, skew : array
        A centre that lies ``across`` to the left of the line and ``along`` it is, to ``Chords``, at the
        distance ``scale * across`` and at ``along + skew * across``.
    """
    turn = np.asarray(bearing_rad, dtype=np.float64) - np.asarray(hop_bearing_rad, dtype=np.float64)
    along, left = np.cos(turn), -np.sin(turn)
    longest = np.asarray(ratio, dtype=np.float64)
    stiff = along**2 / longest + left**2 * longest
    return 1.0 / np.sqrt(stiff), along * left * (1.0 / longest - longest) / stiff


@lru_cache(maxsize=16384)
def own_mean_share(profile: CellProfile, alpha: float) -> float:
    """Own mean rate of an endless chord through the centre, over the peak: (int f^a / int f)^(1 / (a - 1)).

    Raises
    ------
    ValueError
        If alpha is not 0.3 to 2.5.
    """
    if not 0.3 <= alpha <= 2.5:
        raise ValueError(f"alpha is {alpha}; must be 0.3 to 2.5")
    spread = profile.outer_radius if profile.inner_weight < 1.0 else profile.inner_radius
    radii = np.linspace(0.0, 15.0 * spread, 20_001)
    inner = -0.5 * (radii / profile.inner_radius) ** 2
    outer = -0.5 * (radii / profile.outer_radius) ** 2
    with np.errstate(divide="ignore"):
        weights = np.log([profile.inner_weight, 1.0 - profile.inner_weight])
    log_rate = np.logaddexp(weights[0] + inner, weights[1] + outer)
    rate = np.exp(log_rate)
    if abs(alpha - 1.0) < 1e-4:
        return float(np.exp(np.trapezoid(rate * log_rate, radii) / np.trapezoid(rate, radii)))
    powered = np.trapezoid(np.exp(alpha * log_rate), radii) / np.trapezoid(rate, radii)
    return float(powered ** (1.0 / (alpha - 1.0)))


def n_stretches(path_length_km: float, alpha: float) -> int:
    """Parts of equal length in which a hop is cut: the nearer alpha is to 1, the longer they may be."""
    longest = np.clip(_STRETCH_TIMES_POWER_KM / max(abs(alpha - 1.0), 1e-9), *STRETCH_KM)
    return max(int(np.ceil(path_length_km / longest - 1e-9)), 1)


def hop_numbers(profile: CellProfile, path_length_km: float, k: float, alpha: float) -> tuple[float, ...]:
    """A hop and the showers of this profile in numbers, for compiled loops.

    Length [km], k, alpha, number of stretches; weight, inner and outer radius of the profile,
    ``own_mean_share`` of it and of one Gaussian.
    """
    return (
        float(path_length_km),
        float(k),
        float(alpha),
        float(n_stretches(path_length_km, alpha)),
        float(profile.inner_weight),
        float(profile.inner_radius),
        float(profile.outer_radius),
        own_mean_share(profile, float(alpha)),
        own_mean_share(GAUSSIAN, float(alpha)),
    )


def chord_rain(chords: Chords, start_km: float, end_km: float) -> tuple[Floats, Floats]:
    """Path integral of each shape's rate from start to end [mm/h km], and its greatest rate there [mm/h]."""
    across, along, scale = (
        np.asarray(v, np.float64) for v in (chords.across_km, chords.along_km, chords.scale)
    )
    radius = np.maximum(np.asarray(chords.radius_km, dtype=np.float64), 1e-9)
    peak = np.exp(np.asarray(chords.log_peak, dtype=np.float64))
    beyond = np.maximum(np.maximum(start_km - along, along - end_km), 0.0) / scale
    profile = chords.profile
    parts = ((profile.inner_weight, profile.inner_radius), (1.0 - profile.inner_weight, profile.outer_radius))
    integral: Floats = np.zeros(())
    greatest: Floats = np.zeros(())
    for weight, relative in parts:
        spread = relative * radius
        root = spread * scale * np.sqrt(2.0)
        chord = erf((end_km - along) / root) - erf((start_km - along) / root)
        height = weight * np.exp(-0.5 * (across / spread) ** 2)
        integral = integral + height * root * np.sqrt(np.pi) / 2.0 * chord
        greatest = greatest + height * np.exp(-0.5 * (beyond / spread) ** 2)
    return peak * integral, peak * greatest


def own_mean_rate_mm_h(
    integral: ArrayLike, greatest: ArrayLike, *, length_km: float, mean_share: float
) -> Floats:
    """Own rate-weighted mean rate of a shape on a stretch [mm/h].

    Between the greatest rate, where the shape is flat over the stretch, and ``mean_share`` of it, where the
    stretch cuts the whole shape: by the power 3/2 of the mean rate over the greatest. Our own.
    """
    top = np.asarray(greatest, dtype=np.float64)
    flat = np.clip(np.asarray(integral) / np.maximum(length_km * top, 1e-300), 0.0, 1.0)
    return np.asarray(top * (mean_share + (1.0 - mean_share) * flat**1.5), dtype=np.float64)


def joined_attenuation_db(
    integral: ArrayLike, own_rate: ArrayLike, *, length_km: float, k: float, alpha: float
) -> Floats:
    """Attenuation of a stretch [dB] by all shapes, on the first axis, of these integrals and own rates."""
    each = np.asarray(integral, dtype=np.float64)
    total = each.sum(axis=0)
    seen = (each * np.asarray(own_rate, dtype=np.float64)).sum(axis=0) + (
        total**2 - np.square(each).sum(axis=0)
    ) / length_km
    mean = np.where(total > 1e-30, np.maximum(seen, 1e-60) / np.maximum(total, 1e-30), 1.0)
    return np.asarray(k * total * mean ** (alpha - 1.0), dtype=np.float64)


def hop_attenuation_db(
    shapes: Sequence[Chords], *, path_length_km: float, k: float, alpha: float
) -> tuple[Floats, list[Floats]]:
    """Rain attenuation of a straight hop by all shapes together.

    Parameters
    ----------
    shapes : sequence of Chords
        Arrays of one shape after the first axis.
    path_length_km : float
        Length of the hop [km], above 0.
    k, alpha : float
        Specific attenuation k R^alpha [dB/km] (ITU-R P.838-3).

    Returns
    -------
    attenuation : array
        [dB], without the first axis.
    integrals : list of arrays
        Path integral of the rate of each shape [mm/h km], as ``shapes``.
    """
    n = n_stretches(path_length_km, alpha)
    length = path_length_km / n
    total: Floats = np.zeros(())
    summed: list[Floats] = [np.zeros(())] * len(shapes)
    for part in range(n):
        rain = [chord_rain(chords, part * length, (part + 1) * length) for chords in shapes]
        own = [
            own_mean_rate_mm_h(
                *pair, length_km=length, mean_share=own_mean_share(chords.profile, float(alpha))
            )
            for chords, pair in zip(shapes, rain, strict=True)
        ]
        summed = [before + integral for before, (integral, _) in zip(summed, rain, strict=True)]
        integral = np.concatenate([pair[0] for pair in rain])
        total = total + joined_attenuation_db(
            integral, np.concatenate(own), length_km=length, k=k, alpha=alpha
        )
    return total, summed
