"""The modulations that a hop uses, with threshold, capacity and signature of each resolved to numbers."""

from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.models.basics.frozen import frozen
from hopyears.models.network.network import Hop, Modulation, Radio
from hopyears.models.radio import link_budget
from hopyears.models.radio.modulation import DEFAULT_LADDER, SYMBOL_RATE_PER_SPACING, SwitchRule

SIGNATURE_DEPTH_DB = ((8, 24.0), (128, 20.0), (1 << 30, 17.0))
"""Depth of the signature of modulations up to so many states [dB] (common practice, no source)."""


@dataclass(frozen=True)
class Steps:
    """Modulations in use on a hop, lowest first; every array has shape (n_modulations,).

    Attributes
    ----------
    states : int array
        Points of the constellation.
    required_snr_db, threshold_dbm : float array
    capacity_mbit_s : float array
        Net, of one carrier.
    backoff_db : float array
        Transmit power below the radio's.
    signature_width_ghz, signature_depth_db : float array
        Equipment signature of P.530.
    """

    states: Ints
    required_snr_db: Floats
    threshold_dbm: Floats
    capacity_mbit_s: Floats
    backoff_db: Floats
    signature_width_ghz: Floats
    signature_depth_db: Floats

    def __len__(self) -> int:
        return len(self.states)


def steps_of(hop: Hop, radio: Radio) -> Steps:
    """Modulations of a hop: all of its radio's, or its reference modulation where the radio is not adaptive.

    A threshold or capacity stated for another channel width is scaled: the threshold with the noise
    bandwidth, the capacity in proportion. What is not stated takes the defaults of
    ``models.radio.modulation``.
    """
    width_mhz = hop.channel_width_mhz
    stated_mhz = radio.channel_width_mhz or width_mhz
    chosen = radio.modulations
    if not radio.adaptive:
        reference = hop.reference_states or chosen[0].states
        chosen = tuple(step for step in chosen if step.states == reference)
    states = np.array([step.states for step in chosen], dtype=np.int64)
    bits = np.log2(states)
    snr = _either(chosen, "required_snr_db", _required_snr_db(bits))
    noise_threshold = link_budget.receiver_threshold_dbm(
        radio.noise_figure_db, snr, symbol_rate_mbd=SYMBOL_RATE_PER_SPACING * width_mhz
    )
    bandwidth_db = 10.0 * np.log10(width_mhz / stated_mhz)
    threshold = _either(chosen, "threshold_dbm", noise_threshold - bandwidth_db) + bandwidth_db
    efficiency = DEFAULT_LADDER.efficiency_bit_s_hz[0] * bits / np.log2(DEFAULT_LADDER.states[0])
    default_capacity = (1.0 - radio.overhead_share) * efficiency * stated_mhz
    capacity = _either(chosen, "capacity_mbit_s", default_capacity) * width_mhz / stated_mhz
    return Steps(
        states=frozen(states),
        required_snr_db=frozen(snr),
        threshold_dbm=frozen(threshold),
        capacity_mbit_s=frozen(capacity),
        backoff_db=frozen(_either(chosen, "transmit_backoff_db", _backoff_db(bits))),
        signature_width_ghz=frozen(
            _either(chosen, "signature_width_mhz", np.full(len(chosen), width_mhz)) / 1000.0
        ),
        signature_depth_db=frozen(_either(chosen, "signature_depth_db", _signature_depth_db(states))),
    )


def switch_rule(radio: Radio) -> SwitchRule:
    """When the radio steps down and up."""
    return SwitchRule(
        guard_db=radio.step_guard_db,
        hysteresis_db=radio.step_hysteresis_db,
        hold_s=radio.step_hold_s,
        interval_s=radio.step_interval_s,
    )


def _required_snr_db(bits: Floats) -> Floats:
    """Of the default ladder; beyond its ends the last step between neighbours goes on."""
    known, snr = np.log2(DEFAULT_LADDER.states), DEFAULT_LADDER.snr_db
    below = np.minimum(bits - known[0], 0.0) * (snr[1] - snr[0]) / (known[1] - known[0])
    above = np.maximum(bits - known[-1], 0.0) * (snr[-1] - snr[-2]) / (known[-1] - known[-2])
    return np.asarray(np.interp(bits, known, snr) + below + above)


def _backoff_db(bits: Floats) -> Floats:
    """Of the default ladder, whose ends hold beyond it."""
    return np.asarray(np.interp(bits, np.log2(DEFAULT_LADDER.states), DEFAULT_LADDER.back_off_db))


def _signature_depth_db(states: Ints) -> Floats:
    return np.array([next(depth for top, depth in SIGNATURE_DEPTH_DB if n <= top) for n in states])


def _either(chosen: tuple[Modulation, ...], field: str, default: Floats) -> Floats:
    stated = [getattr(step, field) for step in chosen]
    return np.array(
        [fallback if value is None else value for value, fallback in zip(stated, default, strict=True)]
    )
