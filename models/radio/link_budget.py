"""Levels on a path in clear air: free space, antennas, noise, margins."""

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.units import db_from_ratio

SPEED_OF_LIGHT_M_S = 299_792_458.0
BOLTZMANN_J_K = 1.380649e-23
REFERENCE_TEMPERATURE_K = 290.0


def free_space_loss_db(path_length_km: ArrayLike, frequency_ghz: ArrayLike) -> Floats:
    """Basic transmission loss in free space, 20 log10(4 pi d/lambda) [dB]; shapes broadcast.

    References
    ----------
    ITU-R P.525-4 (2019), equation (2): 92.45 + 20 log10 d + 20 log10 f with d in km and f in GHz.
    """
    d_m = 1e3 * np.asarray(path_length_km, dtype=np.float64)
    return 2.0 * db_from_ratio(4.0 * np.pi * d_m / _wavelength_m(frequency_ghz))


def antenna_gain_dbi(
    diameter_m: ArrayLike, frequency_ghz: ArrayLike, *, efficiency: ArrayLike = 0.6
) -> Floats:
    """Gain of a round dish over an isotropic antenna, 10 log10(efficiency (pi D/lambda)^2) [dBi].

    Parameters
    ----------
    diameter_m : float or array
        [m], above 0.
    frequency_ghz : float or array
        [GHz], above 0.
    efficiency : float or array
        Aperture efficiency, 0 to 1. The 20 log10(D/lambda) + 7.7 of ITU-R F.699 is an efficiency of 0.597.

    References
    ----------
    ITU-R F.699-8 (2018), recommends 3 (gain from diameter); the aperture formula of any antenna handbook.
    """
    ratio = np.pi * np.asarray(diameter_m, dtype=np.float64) / _wavelength_m(frequency_ghz)
    return db_from_ratio(efficiency) + 2.0 * db_from_ratio(ratio)


def noise_level_dbm(noise_figure_db: ArrayLike, symbol_rate_mbd: ArrayLike) -> Floats:
    """Noise of a receiver in the band of its symbol rate, 10 log10(k 290 K B) + F [dBm]; shapes broadcast.

    10 log10(k 290 K) is -173.98 dBm in 1 Hz.
    """
    bandwidth_hz = 1e6 * np.asarray(symbol_rate_mbd, dtype=np.float64)
    thermal_w = BOLTZMANN_J_K * REFERENCE_TEMPERATURE_K * bandwidth_hz
    return db_from_ratio(1e3 * thermal_w) + np.asarray(noise_figure_db, dtype=np.float64)


def receiver_threshold_dbm(
    noise_figure_db: ArrayLike, required_snr_db: ArrayLike, *, symbol_rate_mbd: ArrayLike
) -> Floats:
    """Lowest level at which a modulation still works [dBm]: noise plus required signal-to-noise ratio."""
    return noise_level_dbm(noise_figure_db, symbol_rate_mbd) + np.asarray(required_snr_db, dtype=np.float64)


def gas_loss_db(path_length_km: ArrayLike, gas_db_per_km: ArrayLike) -> Floats:
    """Loss in oxygen and water vapour on a terrestrial path, gamma d [dB]; ITU-R P.676-12, Annex 1, (10)."""
    return np.asarray(path_length_km, dtype=np.float64) * np.asarray(gas_db_per_km, dtype=np.float64)


def received_level_dbm(
    transmit_power_dbm: ArrayLike,
    *,
    transmit_gain_dbi: ArrayLike,
    receive_gain_dbi: ArrayLike,
    free_space_loss_db: ArrayLike,
    gas_loss_db: ArrayLike = 0.0,
    other_losses_db: ArrayLike = 0.0,
) -> Floats:
    """Level at the receiver in clear air [dBm]: power and gains less losses; shapes broadcast.

    ``other_losses_db`` are couplers, waveguides and the like at both ends together.
    """
    gains = np.asarray(transmit_gain_dbi, dtype=np.float64) + np.asarray(receive_gain_dbi, dtype=np.float64)
    losses = np.asarray(free_space_loss_db, dtype=np.float64) + np.asarray(gas_loss_db, dtype=np.float64)
    losses = losses + np.asarray(other_losses_db, dtype=np.float64)
    return np.asarray(transmit_power_dbm, dtype=np.float64) + gains - losses


def _wavelength_m(frequency_ghz: ArrayLike) -> Floats:
    return SPEED_OF_LIGHT_M_S / (1e9 * np.asarray(frequency_ghz, dtype=np.float64))
