"""The modulation ladder, and when a radio steps."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.optimize import brentq

from hopyears.models.radio import modulation
from hopyears.models.radio.modulation import DEFAULT_LADDER, Ladder, SwitchRule

margins = hnp.arrays(np.float64, st.integers(1, 12), elements=st.floats(-10, 60))


def test_net_rate_of_a_hertz():
    assert DEFAULT_LADDER.efficiency_bit_s_hz[[0, 6]] == pytest.approx([1.62, 6.48])


def test_required_ratio_stays_above_shannon():
    shannon = 10.0 * np.log10(2.0 ** (0.9 * np.log2(DEFAULT_LADDER.states)) - 1.0)
    assert np.all(DEFAULT_LADDER.snr_db > shannon)


def mutual_information_bits(levels, snr):
    """Of square QAM with this many equally likely levels an axis, by Gauss-Hermite quadrature: textbook."""
    points = 2.0 * np.arange(levels) - (levels - 1)
    points = points / np.sqrt(2.0 * (points**2).mean())
    nodes, weights = np.polynomial.hermite.hermgauss(60)
    noise = nodes / np.sqrt(snr)
    apart = points[:, None, None] - points[None, :, None]
    likely = np.exp(-snr * ((apart + noise) ** 2 - noise**2)).sum(axis=1)
    return 2.0 * (np.log2(levels) - (np.log2(likely) @ weights).mean() / np.sqrt(np.pi))


def test_required_ratios_are_those_of_the_mutual_information():
    """Square constellations at rate 0.9 and 2.5 dB; the others lie between, an odd number of bits."""
    computed = []
    for bits in (2, 4, 6, 8, 10, 12):
        needed = brentq(
            lambda db, b=bits: mutual_information_bits(2 ** (b // 2), 10.0 ** (db / 10.0)) - 0.9 * b, -5, 50
        )
        computed.append(needed + 2.5)
    np.testing.assert_allclose(DEFAULT_LADDER.snr_db[::2], computed, atol=0.06)
    between = 0.5 * (np.array(computed[1:]) + computed[:-1])
    np.testing.assert_allclose(DEFAULT_LADDER.snr_db[1::2], between, atol=0.06)


@given(margins)
def test_order_of_steps(margin):
    down, up = modulation.down_depth_db(margin), modulation.up_depth_db(margin)
    assert np.all(up <= down)
    assert np.all(np.diff(down) <= 0)
    assert np.all(np.diff(up) <= 0)
    assert np.all(down <= margin)


def test_guard_and_hysteresis():
    margin = np.array([40.0, 30.0, 20.0])
    assert modulation.down_depth_db(margin).tolist() == [40.0, 29.0, 19.0]
    assert modulation.up_depth_db(margin).tolist() == [40.0, 27.0, 17.0]
    assert modulation.hold_s(3).tolist() == [0.0, 1.0, 1.2]


def test_steps_up_are_made_one_at_a_time():
    rule = SwitchRule(hold_s=2.0, interval_s=0.5, lowest_hold_s=0.1)
    assert modulation.hold_s(5, rule).tolist() == [0.1, 2.0, 2.5, 3.0, 3.5]
    assert modulation.hold_s(1, rule).tolist() == [0.1]


def test_refuses():
    with pytest.raises(ValueError, match=r"snr_db is .*must increase"):
        Ladder(np.array([4, 16]), np.array([8.0, 7.0]), np.array([1.0, 2.0]), np.zeros(2))
    with pytest.raises(ValueError, match=r"back_off_db is -1.0; must be at least 0"):
        Ladder(np.array([4]), np.array([8.0]), np.array([1.0]), np.array([-1.0]))
    with pytest.raises(ValueError, match=r"snr_db is of shape .*one number per modulation"):
        Ladder(np.array([4]), np.array([8.0, 9.0]), np.array([1.0]), np.zeros(1))
    with pytest.raises(ValueError, match=r"hold_s is -1; must be at least 0"):
        SwitchRule(hold_s=-1)
