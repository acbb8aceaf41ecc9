"""Adaptive modulation: the ladder of modulations, and when a radio steps down and up."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Floats, Ints

SYMBOL_RATE_PER_SPACING: Final = 0.9
"""Symbol rate over channel spacing (25.2 MBd in 28 MHz): common practice, no source."""

CODE_RATE: Final = 0.9
"""Rate of the error-correcting code: common practice, no source."""

OVERHEAD_SHARE: Final = 0.03
"""Share of the coded rate that framing, pilots and management take: common practice, no source."""


@dataclass(frozen=True)
class Ladder:
    """Modulations a radio can use, lowest first.

    Parameters
    ----------
    states : int array, shape (n_modulations,)
        Points of the constellation, increasing.
    snr_db : array, shape (n_modulations,)
        Signal-to-noise ratio each needs [dB], increasing.
    efficiency_bit_s_hz : array, shape (n_modulations,)
        Bit rate per channel spacing after coding, before framing [bit/s/Hz], increasing.
    back_off_db : array, shape (n_modulations,)
        Transmit power below that of the lowest modulation [dB], at least 0.

    Raises
    ------
    ValueError
        If lengths differ, the ladder is empty, or a column is not in order.
    """

    states: Ints
    snr_db: Floats
    efficiency_bit_s_hz: Floats
    back_off_db: Floats

    def __post_init__(self) -> None:
        n = len(np.atleast_1d(self.states))
        for field in ("states", "snr_db", "efficiency_bit_s_hz", "back_off_db"):
            values = np.array(getattr(self, field))
            if values.shape != (n,) or n == 0:
                raise ValueError(f"{field} is of shape {values.shape}; must be one number per modulation")
            if field != "back_off_db" and np.any(np.diff(values) <= 0):
                raise ValueError(f"{field} is {values.tolist()}; must increase")
            values.setflags(write=False)
            object.__setattr__(self, field, values)
        if np.any(self.back_off_db < 0.0):
            raise ValueError(f"back_off_db is {self.back_off_db.min()}; must be at least 0")


def _default_ladder() -> Ladder:
    bits = np.arange(2, 13)
    return Ladder(
        states=2**bits,
        snr_db=np.array([8.3, 11.4, 14.6, 17.4, 20.2, 23.0, 25.7, 28.4, 31.1, 33.8, 36.5]),
        efficiency_bit_s_hz=np.float64(CODE_RATE * SYMBOL_RATE_PER_SPACING) * bits.astype(np.float64),
        back_off_db=np.array([0.0, 1.0, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 5.75, 6.5]),
    )


DEFAULT_LADDER: Final = _default_ladder()
"""4 to 4096 states at code rate 0.9.

Required ratios: mutual information of uniform QAM at that rate plus 2.5 dB (computed; the 2.5 dB is common
practice). Back-off: 4 states 0 dB, 16: 2, 64: 3, 256: 4, 1024: 5, 4096: 6 to 7 dB (common practice, no
source; interpolated).
"""


@dataclass(frozen=True)
class SwitchRule:
    """When a radio changes modulation (common practice, no source).

    Parameters
    ----------
    guard_db : float
        It steps down this far above the threshold of the modulation in use [dB], at least 0.
    hysteresis_db : float
        It steps up this far above the level at which it stepped down [dB], at least 0.
    hold_s : float
        The level must have been there this long before it steps up [s], at least 0.
    interval_s : float
        From one step up to the next [s], at least 0.
    lowest_guard_db, lowest_hysteresis_db, lowest_hold_s : float
        The same for the lowest modulation: 0, so that outage is the time below its threshold.
    """

    guard_db: float = 1.0
    hysteresis_db: float = 2.0
    hold_s: float = 1.0
    interval_s: float = 0.2
    lowest_guard_db: float = 0.0
    lowest_hysteresis_db: float = 0.0
    lowest_hold_s: float = 0.0

    def __post_init__(self) -> None:
        for field, value in vars(self).items():
            if not value >= 0.0:
                raise ValueError(f"{field} is {value}; must be at least 0")


DEFAULT_RULE: Final = SwitchRule()


def down_depth_db(margin_db: ArrayLike, rule: SwitchRule = DEFAULT_RULE) -> Floats:
    """Depth of fade at which each modulation is lost.

    Parameters
    ----------
    margin_db : array, shape (..., n_modulations)
        Fade margin of each modulation [dB], lowest first: clear-air level above its threshold.
    rule : SwitchRule

    Returns
    -------
    array, shape (..., n_modulations)
        [dB], not increasing from one modulation to the next: one is used only while all below it are.
        Below 0: not usable even in clear air.
    """
    margin = np.asarray(margin_db, dtype=np.float64)
    depth = margin - _by_modulation(margin.shape[-1], rule.guard_db, rule.lowest_guard_db)
    return np.minimum.accumulate(depth, axis=-1)


def up_depth_db(margin_db: ArrayLike, rule: SwitchRule = DEFAULT_RULE) -> Floats:
    """Depth of fade at which each modulation is regained [dB]; as ``down_depth_db``, at most that."""
    margin = np.asarray(margin_db, dtype=np.float64)
    n = margin.shape[-1]
    back = _by_modulation(n, rule.hysteresis_db, rule.lowest_hysteresis_db)
    return np.minimum.accumulate(down_depth_db(margin, rule) - back, axis=-1)


def hold_s(n_modulations: int, rule: SwitchRule = DEFAULT_RULE) -> Floats:
    """Time [s] from where a modulation could be used again to where it is, shape (n_modulations,).

    Steps up are made one at a time, from the lowest modulation on, as after a fade that ends fast. After one
    that ends slowly the highest modulation is counted late by at most (n_modulations - 2) intervals.
    """
    steps_before = np.maximum(np.arange(n_modulations) - 1.0, 0.0)
    hold = _by_modulation(n_modulations, rule.hold_s, rule.lowest_hold_s)
    return np.asarray(hold + rule.interval_s * steps_before)


def _by_modulation(n: int, others: float, lowest: float) -> Floats:
    values = np.full(n, others)
    values[:1] = lowest
    return values
