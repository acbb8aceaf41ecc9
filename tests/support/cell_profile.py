"""The profile of a rain cell as it is written, and the area above a rate read from it on a fine grid."""

import numpy as np


def relative_rate(profile, radii):
    """Rain rate at a distance in units of the cell's radius, relative to the peak."""
    square = np.square(np.asarray(radii, dtype=np.float64))
    inner = profile.inner_weight * np.exp(-square / (2.0 * profile.inner_radius**2))
    return inner + (1.0 - profile.inner_weight) * np.exp(-square / (2.0 * profile.outer_radius**2))


def area_above(profile, log_ratio):
    """Area where the rate is above r, in units of rho^2, given ln(M / r); 0 where r is above the peak."""
    square = np.linspace(0.0, 200.0, 400_001)
    depth = -np.log(relative_rate(profile, np.sqrt(square)))
    return np.pi * np.interp(np.maximum(log_ratio, 0.0), depth, square)
