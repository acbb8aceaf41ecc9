"""Thresholds of equipment states: couplers, polarisations, cross-polar interference, clear air, order."""

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from schemes import SHORT_FORMS
from small_networks import triangle

from hopyears.models.air import cross_polar, multipath
from hopyears.models.equipment.link_states import NOBODY, link_state
from hopyears.models.network.network import Modulation, Radio
from hopyears.models.radio.modulation import SwitchRule
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.fading_tally import PLAIN
from hopyears.sim.hops.hop_design import design_hops
from hopyears.sim.hops.hop_thresholds import HopThresholds, line_set_index
from hopyears.sim.rain.anchoring import IDENTITY, Anchor


@cache
def prepared(scheme, canceller_db):
    radio = Radio(id="r", canceller_improvement_db=canceller_db)
    return prepare(triangle(scheme, radios=(radio,)), ModelOptions(rain=False, anchoring=False))


@cache
def thresholds(scheme, rule=PLAIN, canceller_db=20.0):
    """Of the long 7 GHz hop, vertically polarised, without guard or hysteresis."""
    ready = prepared(scheme, canceller_db)
    return HopThresholds(ready.designs[0], IDENTITY, ready.nights[0], rule)


def state_without(hop, *part_ids, transmitting=None, causes=None):
    """Link state of a hop with some parts down, named by the ends of their ids."""
    structure = hop.design.structure
    up = structure.all_up
    for wanted in part_ids:
        (bit,) = [i for i, part in enumerate(structure.parts) if part.id.endswith(wanted)]
        up &= ~(1 << bit)
    return link_state(structure, up, transmitting, causes)


def test_margins_are_those_of_the_link_budget():
    hop = thresholds("1+0")
    table = hop.nominal
    assert table.ceiling.tolist() == [5, 5]
    assert table.rain_down_db == pytest.approx(hop.design.levels.margin_db)
    assert table.rain_up_db == pytest.approx(hop.design.levels.margin_db)
    assert not table.cross_polar_rain.any()
    assert table.causes.tolist() == [0, 0]


def test_couplers_cost_their_loss_at_both_ends():
    alone, pair = thresholds("1+0").nominal, thresholds("1+1 HSB").nominal
    assert alone.rain_down_db - pair.rain_down_db == pytest.approx(7.0)
    unequal = thresholds("1+1 HSB unequal").nominal
    assert alone.rain_down_db - unequal.rain_down_db == pytest.approx(3.2)


def test_the_standby_of_an_unequal_coupler_has_less_margin():
    hop = thresholds("1+1 HSB unequal")
    # The main radio at one end is down: its standby sends, and hears, through 6.4 dB in place of 1.6.
    state = state_without(hop, "a-b/a/radio-1", transmitting=((1,), (0,)))
    table = hop.of(state)
    assert hop.nominal.rain_down_db - table.rain_down_db == pytest.approx(np.full((2, 5), 4.8))
    assert (table.causes != 0).all()
    assert (table.ceiling == 5).all()


def test_a_hop_without_its_only_radio_has_nothing():
    hop = thresholds("1+0")
    table = hop.of(state_without(hop, "a-b/a/radio-1"))
    assert table.ceiling.tolist() == [0, 0]
    assert not table.fades.usable.any()
    assert hop.lowest_rain_db([state_without(hop, "a-b/a/radio-1")]) == np.inf


def test_the_other_polarisation_is_read_on_the_reference():
    hop = thresholds("2+0 DP")
    design = hop.design
    assert [channel.polarisation for channel in design.channels] == [0, 1]
    # ITU-R P.530-18, 2.4.4: vertical has 300 A/(335 + A) where horizontal has A.
    margin_db = design.levels.margin_db[1]
    expected = 300.0 * margin_db / (335.0 + margin_db)
    assert hop.nominal.rain_down_db[0] == pytest.approx(design.levels.margin_db[0])
    assert hop.nominal.rain_down_db[1] == pytest.approx(expected)
    assert (expected < design.levels.margin_db[0]).all()


def test_the_anchor_is_undone():
    curve = Anchor(np.array([0.0, 10.0, 100.0]), np.array([0.0, 20.0, 120.0]))
    design = thresholds("1+0").design
    hop = HopThresholds(design, curve, None, PLAIN)
    margin_db = design.levels.margin_db[0]
    expected = np.where(margin_db < 20.0, margin_db / 2.0, 10.0 + (margin_db - 20.0) * 0.9)
    assert hop.nominal.rain_down_db[0] == pytest.approx(expected)


def test_co_channel_carriers_are_limited_until_the_partner_is_off():
    hop = thresholds("2+0 XPIC", canceller_db=8.0)
    design = hop.design
    margin_db = design.levels.margin_db[0]
    both = hop.nominal
    assert (both.rain_down_db[0] < margin_db - 0.3).all()
    # Noise and interference at the threshold: together they just leave the required ratio.
    for step, limit_db in enumerate(both.rain_down_db[0]):
        required = design.steps.required_snr_db[step]
        clear = margin_db[step] + required
        xpd = cross_polar.rain_discrimination_db(limit_db, frequency_ghz=7.0)
        leak = 10.0 ** (-xpd / 10.0) + 10.0 ** (-design.levels.antenna_discrimination_db / 10.0)
        total = 10.0 ** ((limit_db - clear) / 10.0) + leak / 10.0**0.8
        assert total == pytest.approx(10.0 ** (-required / 10.0), rel=1e-6)
    # The partner's transmitter towards end b is silent: only noise is left that way, not the other way.
    alone = hop.of(state_without(hop, "a-b/a/radio-2"))
    assert alone.rain_down_db[0] == pytest.approx(margin_db)
    # The other way the partner goes on, but its receiver is the dead radio's: nothing is cancelled there.
    assert alone.ceiling.tolist() == [5, 0, 4, 0]
    assert not alone.cross_polar_rain[0].any()


def test_a_canceller_needs_the_receiver_of_the_other_polarisation():
    # It subtracts what that receiver hears: with it dead, all interference stays (common practice).
    hop = thresholds("2+0 XPIC", canceller_db=20.0)
    uncancelled = thresholds("2+0 XPIC", canceller_db=0.0)
    deaf = hop.of(state_without(hop, "a-b/b/radio-2"))
    # Towards end b the far transmitter of channel 2 goes on, and nothing hears it.
    assert deaf.rain_down_db[0] == pytest.approx(uncancelled.nominal.rain_down_db[0])
    assert (deaf.rain_down_db[0] < hop.nominal.rain_down_db[0] - 3.0).all()
    usable = deaf.ceiling[0]
    assert (deaf.fades.down[0, 0, 0, :usable] > hop.nominal.fades.down[0, 0, 0, :usable]).all()
    # Towards end a channel 2 is silent: noise alone.
    assert deaf.rain_down_db[2] == pytest.approx(hop.design.levels.margin_db[0])


def test_cross_polar_thresholds_are_named_where_interference_rules():
    hop = thresholds("2+0 XPIC", canceller_db=4.0)
    gap_db = hop.design.levels.margin_db[0] - hop.nominal.rain_down_db[0]
    named = hop.nominal.cross_polar_rain[0]
    assert (named == (gap_db > 3.0)).all()
    assert named.any()
    assert not named.all()


def test_clear_air_sets_a_ceiling():
    weak = Radio(id="r", transmit_power_dbm=-15.0)
    ready = prepare(triangle(radios=(weak,)), ModelOptions(rain=False, anchoring=False))
    hop = HopThresholds(ready.designs[0], IDENTITY, ready.nights[0], PLAIN)
    usable = int((ready.designs[0].levels.margin_db[0] > 0.0).sum())
    assert 0 < usable < 5
    assert hop.nominal.ceiling.tolist() == [usable, usable]
    # What clear air does not allow is never lost or won by itself.
    lowest = hop.nominal.rain_down_db[0, usable - 1]
    assert (hop.nominal.rain_down_db[0, usable:] == lowest).all()
    deepest = hop.nominal.fades.down[:, 0, 0, usable - 1]
    assert (hop.nominal.fades.down[:, 0, 0, usable:] == deepest[:, None]).all()


def test_guard_and_hysteresis_move_the_thresholds():
    rule = SwitchRule(guard_db=1.0, hysteresis_db=2.0, lowest_guard_db=0.5, lowest_hysteresis_db=1.5)
    plain, guarded = thresholds("1+0").nominal, thresholds("1+0", rule).nominal
    lost = plain.rain_down_db - guarded.rain_down_db
    assert lost[0] == pytest.approx([0.5, 1.0, 1.0, 1.0, 1.0])
    assert (guarded.rain_down_db - guarded.rain_up_db)[0] == pytest.approx([1.5, 2.0, 2.0, 2.0, 2.0])


def test_back_off_lowers_the_margin_of_its_modulation_only():
    steps = (Modulation(states=4), Modulation(states=64, transmit_backoff_db=3.0))
    plain = (Modulation(states=4), Modulation(states=64, transmit_backoff_db=0.0))
    margins = []
    for modulations in (plain, steps):
        design = design_hops(triangle(radios=(Radio(id="r", modulations=modulations),)))[0]
        margins.append(HopThresholds(design, IDENTITY, None, PLAIN).nominal.rain_down_db[0])
    assert margins[0] - margins[1] == pytest.approx([0.0, 3.0])


def test_fades_are_lost_as_often_as_the_standard_says():
    hop = thresholds("1+0")
    table, nights = hop.nominal, hop.nights
    # In the worst month the raw law is 1 - exp(-p0 x), which the depth map makes P.530's.
    share = -np.expm1(-nights.depth_map.raw_threshold(hop.design.levels.margin_db[0])[1] * 1.0)
    assert share.shape == (5,)
    wanted = multipath.exceedance(nights.occurrence_worst, hop.design.levels.margin_db[0])
    found = nights.occurrence_worst * table.fades.down[1, 0, 0]
    deep = hop.design.levels.margin_db[0] > 30.0
    assert found[deep] == pytest.approx(wanted[deep], rel=0.05)
    assert deep.any()


def test_dispersion_does_not_depend_on_losses():
    hop = thresholds("1+1 HSB unequal")
    state = state_without(hop, "a-b/a/radio-1", transmitting=((1,), (0,)))
    assert (hop.of(state).fades.down[2] == hop.nominal.fades.down[2]).all()


def test_a_second_antenna_is_a_line_of_its_own():
    hop = thresholds("1+1 SD")
    assert line_set_index(hop.design) == [0, 2, 1, 3]
    # Without the receiver on the second antenna its line cannot be used.
    table = hop.of(state_without(hop, "a-b/b/radio-2"))
    assert hop.nominal.fades.usable[0].tolist() == [True, False, True, False]
    assert table.fades.usable[0].tolist() == [True, False, False, False]


def test_both_polarisations_of_a_frequency_share_their_lines():
    assert line_set_index(thresholds("2+0 XPIC").design) == [0, 0, 1, 1]
    assert line_set_index(thresholds("2+0").design) == [0, 1 + 1, 1, 1 + 2]


def test_hops_without_multipath_have_no_fades():
    hop = HopThresholds(thresholds("1+0").design, IDENTITY, None, PLAIN)
    assert hop.nominal.fades is None
    assert hop.highest_power([]) == (0.0, 0.0)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(SHORT_FORMS), st.data())
def test_thresholds_are_in_order_in_every_state(scheme, data):
    hop = thresholds(scheme, SwitchRule())
    structure = hop.design.structure
    down = data.draw(st.sets(st.integers(0, len(structure.parts) - 1), max_size=3))
    channels = structure.scheme.n_channels
    orders = st.tuples(*[st.sampled_from((NOBODY, 0, 1)) for _ in range(channels)])
    up = structure.all_up & ~sum(1 << part for part in down)
    table = hop.of(link_state(structure, up, data.draw(st.tuples(orders, orders))))
    usable = table.ceiling > 0
    assert (np.diff(table.rain_down_db[usable], axis=1) <= 1e-9).all()
    assert (table.rain_up_db <= table.rain_down_db + 1e-9).all()
    assert (table.ceiling <= hop.nominal.ceiling).all() or structure.scheme.co_channel
    assert (np.diff(table.fades.down, axis=-1) >= 0.0).all()
    assert (table.fades.up >= table.fades.down).all()
    assert (table.fades.usable.any(axis=1) == usable).all()
    if not structure.scheme.co_channel:
        # Nothing that fails gives margin.
        assert (table.rain_down_db[usable] <= hop.nominal.rain_down_db[usable] + 1e-9).all()


def test_a_margin_within_the_hysteresis_still_lets_a_modulation_come_back():
    margin = float(thresholds("1+0").design.levels.margin_db.min())
    rule = SwitchRule(guard_db=0.0, hysteresis_db=2.0)
    for left_db, steps in ((1.0, 5), (0.05, 4)):
        radio = Radio(id="r", transmit_power_dbm=20.0 - margin + left_db)
        ready = prepare(triangle("1+0", radios=(radio,)), ModelOptions(rain=False, anchoring=False))
        hop = HopThresholds(ready.designs[0], IDENTITY, ready.nights[0], rule)
        assert hop.nominal.ceiling.tolist() == [steps, steps]
        assert hop.lowest_rain_db([state_without(hop)]) > 0.0
