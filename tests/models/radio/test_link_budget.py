import numpy as np
import pytest

from hopyears.models.radio import link_budget


def test_free_space_loss_by_the_published_constant():
    # ITU-R P.525-4, equation (4) in GHz and km: 92.4 (92.45 to two digits)
    assert link_budget.free_space_loss_db(1.0, 1.0) == pytest.approx(92.45, abs=0.005)
    assert link_budget.free_space_loss_db([10.0, 20.0], 18.0) == pytest.approx([137.55, 143.57], abs=0.01)


def test_antenna_gain_is_that_of_f699_at_its_efficiency():
    # ITU-R F.699-8: gain = 20 log10(D/lambda) + 7.7, an efficiency of 10^0.77/pi^2
    diameter, frequency = np.array([0.3, 0.6, 1.2, 2.4]), 18.0
    wavelength = 0.299792458 / frequency
    by_f699 = 20 * np.log10(diameter / wavelength) + 7.7
    found = link_budget.antenna_gain_dbi(diameter, frequency, efficiency=10**0.77 / np.pi**2)
    assert found == pytest.approx(by_f699, abs=1e-9)
    assert link_budget.antenna_gain_dbi(diameter, frequency) == pytest.approx(by_f699, abs=0.05)


def test_noise_in_one_hertz_is_minus_174():
    assert link_budget.noise_level_dbm(0.0, 1e-6) == pytest.approx(-173.975, abs=1e-3)


def test_thresholds_of_a_28_mhz_carrier():
    # By hand, -174 + 10 log10(25.2e6) + 6 + SNR: 8.3, 20.2, 31.1 dB give -85.7, -73.8, -62.9 dBm.
    found = link_budget.receiver_threshold_dbm(6.0, [8.3, 20.2, 31.1], symbol_rate_mbd=25.2)
    assert found == pytest.approx([-85.7, -73.8, -62.9], abs=0.06)


def test_level_and_margin_of_one_path_by_hand():
    loss = link_budget.free_space_loss_db(10.0, 18.0)
    gas = link_budget.gas_loss_db(10.0, 0.06)
    level = link_budget.received_level_dbm(
        20.0,
        transmit_gain_dbi=39.0,
        receive_gain_dbi=38.0,
        free_space_loss_db=loss,
        gas_loss_db=gas,
        other_losses_db=[0.0, 7.0],
    )
    assert level == pytest.approx([20 + 77 - 137.55 - 0.6, 20 + 77 - 137.55 - 0.6 - 7.0], abs=0.01)
