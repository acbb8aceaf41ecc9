"""Received level and fade margin of every modulation on every receive line of a hop, in clear air."""

from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Floats
from hopyears.models.basics.frozen import frozen
from hopyears.models.equipment.link_states import LinkStructure
from hopyears.models.network.network import Hop, Losses, Network, Radio
from hopyears.models.radio import link_budget
from hopyears.models.radio.combining import CombiningLosses
from hopyears.sim.hops.modulation_steps import Steps


@dataclass(frozen=True)
class RadioLevels:
    """Levels of a hop; arrays are read-only.

    Attributes
    ----------
    gas_loss_db : float
    antenna_discrimination_db : float
        Cross-polar, of the worse antenna.
    fixed_loss_db : float
        What the user states for both ends and the path.
    wet_loss_db : float
        Most that the wet antennas of both ends take together.
    threshold_dbm : float array, shape (n_modulations,)
        With the interference that the user states.
    received_level_dbm : float array, shape (n_lines, n_modulations)
        In clear air at full power, nominal equipment.
    margin_db : float array, shape (n_lines, n_modulations)
        Flat fade margin against noise and stated interference, nominal equipment.
    power_reduction_db : float
        What power control takes off in clear air, on the first line; it is back before a fade takes a margin.

    Notes
    -----
    Power control is taken to raise to full power as fast as a fade deepens (common practice: tens of decibels
    a second), so it changes no margin against rain or multipath. It changes the level received in clear air
    and interference between systems: the hop disturbs others by ``power_reduction_db`` less in clear air, and
    has that much less above its threshold there for a disturber that does not fade.
    """

    gas_loss_db: float
    antenna_discrimination_db: float
    fixed_loss_db: float
    wet_loss_db: float
    threshold_dbm: Floats
    received_level_dbm: Floats
    margin_db: Floats
    power_reduction_db: float


def radio_levels(
    network: Network, hop: Hop, structure: LinkStructure, steps: Steps, length_km: float, gas_loss_db: float
) -> RadioLevels:
    """Levels of a hop of this length, over which the air takes ``gas_loss_db``."""
    antennas = [network.antenna(hop.antenna), network.antenna(hop.antenna_b or hop.antenna)]
    level = _received_level_dbm(network, hop, structure, length_km, gas_loss_db)
    fixed_loss_db = hop.fixed_loss_a_db + hop.fixed_loss_b_db + hop.fixed_loss_path_db
    level_by_step = level[:, None] - steps.backoff_db[None, :] - fixed_loss_db
    threshold_dbm = steps.threshold_dbm + hop.threshold_degradation_db
    margin_db = level_by_step - threshold_dbm[None, :]
    return RadioLevels(
        gas_loss_db=gas_loss_db,
        antenna_discrimination_db=min(antenna.cross_polar_discrimination_db for antenna in antennas),
        fixed_loss_db=fixed_loss_db,
        wet_loss_db=sum(antenna.wet_loss_db for antenna in antennas),
        threshold_dbm=frozen(threshold_dbm),
        received_level_dbm=frozen(level_by_step),
        margin_db=frozen(margin_db),
        power_reduction_db=_power_reduction_db(network.radio(hop.radio), margin_db[0]),
    )


def _power_reduction_db(radio: Radio, margin_db: Floats) -> float:
    """What power control takes off in clear air, from the margin of each modulation at full power."""
    highest = margin_db[margin_db > 0.0][-1:].sum()
    return float(np.clip(highest - radio.power_control_margin_db, 0.0, radio.power_control_range_db))


def combining_losses(losses: Losses, radio: Radio) -> CombiningLosses:
    """The network's coupler losses and the radio's waveguide as the link states take them."""
    return CombiningLosses(
        equal_coupler_db=losses.equal_coupler_db,
        unequal_main_db=losses.unequal_main_db,
        unequal_standby_db=losses.unequal_standby_db,
        transducer_db=losses.transducer_db,
        branching_filter_db=losses.branching_filter_db,
        waveguide_db=radio.waveguide_loss_db,
        second_antenna_db=0.0,
    )


def _received_level_dbm(
    network: Network, hop: Hop, structure: LinkStructure, length_km: float, gas_loss_db: float
) -> Floats:
    """Level of each line in clear air at full power, nominal equipment, shape (n_lines,)."""
    radio = network.radio(hop.radio)
    power_dbm = radio.transmit_power_dbm if hop.transmit_power_dbm is None else hop.transmit_power_dbm
    gains = [
        _gain_dbi(network, antenna, hop.frequency_ghz)
        for antenna in (hop.antenna, hop.antenna_b or hop.antenna)
    ]
    combining_db = np.array(
        [
            structure.nominal_transmit_loss_db[line.channel] + structure.nominal_receive_loss_db[line.index]
            for line in structure.lines
        ]
    )
    return link_budget.received_level_dbm(
        power_dbm,
        transmit_gain_dbi=gains[0],
        receive_gain_dbi=gains[1],
        free_space_loss_db=link_budget.free_space_loss_db(length_km, hop.frequency_ghz),
        gas_loss_db=gas_loss_db,
        other_losses_db=combining_db,
    )


def _gain_dbi(network: Network, antenna_id: str, frequency_ghz: float) -> float:
    antenna = network.antenna(antenna_id)
    if antenna.gain_dbi is not None:
        return antenna.gain_dbi
    assert antenna.diameter_m is not None  # the entry has exactly one of the two
    return float(link_budget.antenna_gain_dbi(antenna.diameter_m, frequency_ghz))
