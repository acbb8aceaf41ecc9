"""Modulations of a hop resolved to numbers: defaults, stated values, other channel widths."""

import numpy as np
import pytest
from small_networks import hop

from hopyears.models.network.network import Modulation, Radio
from hopyears.models.radio.modulation import DEFAULT_RULE, SwitchRule
from hopyears.sim.hops.modulation_steps import steps_of, switch_rule


def radio(*steps, **more):
    return Radio(id="r", modulations=tuple(Modulation(**step) for step in steps), **more)


def test_defaults_by_hand():
    steps = steps_of(hop("x", "a", "b", 18.0), Radio(id="r"))
    assert steps.states.tolist() == [4, 16, 64, 256, 1024]
    # Code rate 0.9, 0.9 symbols per hertz of spacing, 28 MHz, the bits of a symbol, less 3 % overhead.
    assert steps.capacity_mbit_s == pytest.approx(0.97 * 0.9 * 0.9 * 28.0 * np.array([2, 4, 6, 8, 10]))
    # Noise -173.98 dBm/Hz in 25.2 MBd with a figure of 6 dB; the ladder's 8.3 dB for 4 states and so on.
    noise_dbm = -173.975 + 10.0 * np.log10(0.9 * 28e6) + 6.0
    assert steps.threshold_dbm == pytest.approx(
        noise_dbm + np.array([8.3, 14.6, 20.2, 25.7, 31.1]), abs=0.001
    )
    assert steps.signature_width_ghz == pytest.approx(0.028)
    assert steps.signature_depth_db.tolist() == [24.0, 20.0, 20.0, 17.0, 17.0]
    assert steps.backoff_db.tolist() == [0.0, 2.0, 3.0, 4.0, 5.0]
    assert len(steps) == 5
    # Beyond the ladder's ends its last values hold.
    ends = steps_of(hop("x", "a", "b", 18.0), radio({"states": 2}, {"states": 16384}))
    assert ends.backoff_db.tolist() == [0.0, 6.5]


def test_overhead_is_taken_off_capacities_that_are_not_stated():
    steps = steps_of(
        hop("x", "a", "b", 18.0),
        radio({"states": 4, "capacity_mbit_s": 40.0}, {"states": 16}, overhead_share=0.1),
    )
    assert steps.capacity_mbit_s == pytest.approx([40.0, 0.9 * 0.81 * 28.0 * 4])


def test_steps_up_and_down_are_the_radios():
    assert switch_rule(Radio(id="r")) == DEFAULT_RULE
    own = radio(
        {"states": 4}, step_guard_db=2.0, step_hysteresis_db=3.0, step_hold_s=4.0, step_interval_s=0.5
    )
    assert switch_rule(own) == SwitchRule(2.0, 3.0, 4.0, 0.5)


def test_stated_values_go_before_defaults():
    steps = steps_of(
        hop("x", "a", "b", 18.0),
        radio(
            {"states": 4, "threshold_dbm": -88.0, "capacity_mbit_s": 40.0, "transmit_backoff_db": 1.5},
            {"states": 16, "transmit_backoff_db": 0.0},
            {"states": 64, "required_snr_db": 22.0, "signature_width_mhz": 20.0, "signature_depth_db": 19.0},
        ),
    )
    assert steps.threshold_dbm[0] == -88.0
    assert steps.capacity_mbit_s[0] == 40.0
    assert steps.backoff_db.tolist() == [1.5, 0.0, 3.0]
    assert steps.required_snr_db[2] == 22.0
    assert steps.threshold_dbm[2] == pytest.approx(-173.975 + 10 * np.log10(25.2e6) + 6.0 + 22.0, abs=0.001)
    assert (steps.signature_width_ghz[2], steps.signature_depth_db[2]) == (0.020, 19.0)


def test_values_stated_for_another_width_are_scaled():
    steps = steps_of(
        hop("x", "a", "b", 18.0, channel_width_mhz=56.0),
        radio({"states": 4, "threshold_dbm": -88.0, "capacity_mbit_s": 40.0}, channel_width_mhz=28.0),
    )
    assert steps.threshold_dbm[0] == pytest.approx(-88.0 + 3.0103, abs=1e-4)
    assert steps.capacity_mbit_s[0] == 80.0


def test_defaults_do_not_depend_on_the_width_that_others_are_stated_for():
    other = hop("x", "a", "b", 18.0, channel_width_mhz=56.0)
    plain, scaled = (steps_of(other, Radio(id="r", channel_width_mhz=w)) for w in (None, 28.0))
    assert plain.threshold_dbm == pytest.approx(scaled.threshold_dbm)
    assert plain.capacity_mbit_s == pytest.approx(scaled.capacity_mbit_s)


def test_a_radio_that_does_not_adapt_keeps_one():
    fixed = Radio(id="r", adaptive=False)
    assert steps_of(hop("x", "a", "b", 18.0), fixed).states.tolist() == [4]
    assert steps_of(hop("x", "a", "b", 18.0, reference_states=256), fixed).states.tolist() == [256]


def test_beyond_the_ladder_the_ratio_goes_on():
    steps = steps_of(hop("x", "a", "b", 18.0), radio({"states": 2}, {"states": 4096}, {"states": 16384}))
    assert steps.required_snr_db == pytest.approx([8.3 - 3.1, 36.5, 36.5 + 2 * 2.7])
    assert (np.diff(steps.threshold_dbm) > 0).all()


def test_arrays_are_read_only():
    with pytest.raises(ValueError, match="read-only"):
        steps_of(hop("x", "a", "b", 18.0), Radio(id="r")).threshold_dbm[0] = 0.0
