"""What rain on the antennas themselves takes, beside the rain on the path."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats

GROWTH_DB: Final = 8.0
"""Fade over which the loss of wet antennas comes up to 1 - 1/e of its most [dB] (from memory)."""


def wet_antenna_loss_db(fade_db: ArrayLike, most_db: ArrayLike) -> Floats:
    """Loss of both wet antennas within a fade by rain.

    Parameters
    ----------
    fade_db : float or array
        Fade by rain and wet antennas together [dB]; 0 or less gives 0.
    most_db : float or array
        What both antennas together take at most [dB], at least 0. Shapes broadcast.

    Returns
    -------
    array
        most (1 - exp(-fade/8 dB)) [dB], at most the fade. Where the antennas take more than 8 dB, that takes
        the place of the 8 dB, so that the loss never outruns the fade (our own).

    References
    ----------
    Form and 8 dB: M. M. Z. Kharadly and R. Ross, Effect of wet antenna attenuation on propagation data
    statistics, IEEE Trans. Antennas Propag. 49(8), 2001 (from memory). That the loss has a most, 2.3 dB on a
    link at 38 GHz: M. Schleiss, J. Rieckermann and A. Berne, IEEE Geosci. Remote Sens. Lett. 10(5), 2013.
    """
    most = np.asarray(most_db, dtype=np.float64)
    fade = np.maximum(np.asarray(fade_db, dtype=np.float64), 0.0)
    return np.asarray(-most * np.expm1(-fade / np.maximum(most, GROWTH_DB)))


def path_rain_db(fade_db: ArrayLike, most_db: ArrayLike) -> Floats:
    """Rain attenuation of the path within such a fade: the fade less ``wet_antenna_loss_db`` [dB].

    It rises with the fade, so that a threshold on the one is a threshold on the other.
    """
    return np.asarray(np.asarray(fade_db, dtype=np.float64) - wet_antenna_loss_db(fade_db, most_db))
