"""Losses between an outdoor radio and its antenna: couplers, transducers, filters, waveguides."""

from dataclasses import dataclass

from hopyears.models.equipment.hardware import Mounting, is_branched, ports_of
from hopyears.models.radio.scheme import Coupler, RadioRole, Scheme, radios_of


@dataclass(frozen=True)
class CombiningLosses:
    """Losses between a radio and its antenna, each at every end where the device stands.

    Defaults stand in the network's entries ``losses`` and ``radios``.

    Parameters
    ----------
    equal_coupler_db : float
        Each arm of an equal hybrid coupler [dB]; 3 dB of split and its excess.
    unequal_main_db, unequal_standby_db : float
        Main and standby arm of an unequal coupler [dB]; split of 6 dB and its excess.
    transducer_db : float
        Orthomode transducer, alone or inside a coupler for two polarisations [dB].
    branching_filter_db : float
        Filters that join more than two channels on one polarisation [dB].
    waveguide_db : float
        Waveguide of radios that stand apart from the antenna [dB].
    second_antenna_db : float
        Gain of the main antenna less that of the second [dB]; may be negative.

    Notes
    -----
    Split of a lossless coupler: main arm -10 log10(1 - 10^(-c/10)) dB where the standby arm loses c dB.
    """

    equal_coupler_db: float
    unequal_main_db: float
    unequal_standby_db: float
    transducer_db: float
    branching_filter_db: float
    waveguide_db: float
    second_antenna_db: float


def combining_loss_db(scheme: Scheme, mounting: Mounting, losses: CombiningLosses) -> tuple[float, ...]:
    """Loss between each radio of one end and the air [dB], in the order of ``radios_of``."""
    ports = ports_of(scheme)
    polarisations = {antenna: [a for a, _ in ports].count(antenna) for antenna, _ in ports}
    return tuple(
        _radio_loss_db(radio, ports[radio.antenna, radio.polarisation], scheme.coupler, losses)
        + (losses.transducer_db if polarisations[radio.antenna] == 2 else 0.0)
        + (losses.waveguide_db if mounting is Mounting.WAVEGUIDE else 0.0)
        for radio in radios_of(scheme)
    )


def _radio_loss_db(
    radio: RadioRole, port: tuple[RadioRole, ...], coupler: Coupler, losses: CombiningLosses
) -> float:
    arms = {
        Coupler.EQUAL: (losses.equal_coupler_db, losses.equal_coupler_db),
        Coupler.UNEQUAL: (losses.unequal_main_db, losses.unequal_standby_db),
    }
    paired = sum(other.channel == radio.channel for other in port) > 1
    crowded = len({other.channel for other in port}) > 1
    pair_db = arms[coupler][radio.order] if paired else 0.0
    joining_db = losses.branching_filter_db if is_branched(port) else losses.equal_coupler_db
    return pair_db + (joining_db if crowded else 0.0) + (losses.second_antenna_db if radio.antenna else 0.0)
