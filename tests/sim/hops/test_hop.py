"""Timelines of a hop from rain, fades and equipment made by hand."""

from functools import cache
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_networks import triangle

from hopyears.models.equipment.link_states import link_state
from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import Radio
from hopyears.models.radio.modulation import SwitchRule
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.counting.fading_tally import PLAIN
from hopyears.sim.equipment.segments import LinkStates, nominal_segments
from hopyears.sim.hops.hop import EquipmentSegments, FadeFree, hop_history
from hopyears.sim.hops.hop_thresholds import HopThresholds
from hopyears.sim.multipath.fade_kernel import Thresholds
from hopyears.sim.multipath.fades import FadeEvents
from hopyears.sim.rain.anchoring import IDENTITY
from hopyears.sim.rain.rain_kernel import RainKnots

DURATION_S = 10_000.0
FULL = 0.97 * 0.9 * 0.9 * 28.0 * 10
"""Capacity at 1024 states in 28 MHz [Mbit/s]."""


@cache
def thresholds(scheme, rule=PLAIN):
    ready = prepare(triangle(scheme), ModelOptions(rain=False, anchoring=False))
    return HopThresholds(ready.designs[0], IDENTITY, ready.nights[0], rule)


def undisturbed(hop):
    return nominal_segments(LinkStates(hop.design))


def shower(peak_db, start_s=1000.0, end_s=3000.0):
    """Attenuation that rises evenly to a peak and falls again."""
    time_s = np.array([start_s, (start_s + end_s) / 2.0, end_s])
    return RainKnots(time_s, np.array([0.0, peak_db, 0.0]), np.array([0, 3]))


def one_fade(hop, *, depth, speed_per_s=0.001, kind=1, time_s=5000.0):
    """A fade of every line alike, centred on the origin at amplitude ``depth``."""
    n_lines = hop.nominal.fades.usable.shape[1]
    zero = np.zeros((1, n_lines))
    return FadeEvents(
        time_s=np.array([time_s]),
        impact=np.array([depth]),
        speed_per_s=np.array([speed_per_s]),
        dx=zero,
        dy=zero.copy(),
        kind=np.array([kind], dtype=np.int8),
        latest_end_s=np.array([DURATION_S]),
        earliest_start_s=np.array([0.0]),
    )


def timeline(hop, *, equipment=None, rain=None, fades=None):
    return hop_history(hop, equipment or undisturbed(hop), rain, fades, DURATION_S)


def value_at(line, table, time_s):
    return table[line.state[np.searchsorted(line.time_s, time_s, side="right") - 1]]


def seconds_where(line, chosen):
    lasting = np.diff(np.append(line.time_s, DURATION_S))
    return lasting[chosen[line.state]].sum()


def test_undisturbed():
    hop = thresholds("1+0")
    line = timeline(hop)
    assert line.time_s.tolist() == [0.0]
    assert line.capacity_mbit_s == pytest.approx(np.full((1, 2), FULL))
    assert line.causes.tolist() == [0]
    assert line.levels.tolist() == [[5, 5]]


def test_rain_takes_modulations_one_by_one():
    hop = thresholds("1+0")
    margin_db = hop.design.levels.margin_db[0]
    peak_db = margin_db[0] + 5.0
    line = timeline(hop, rain=shower(peak_db))
    # The attenuation passes A at 1000 s A/peak after the start and before the end.
    down_s = 1000.0 + 1000.0 * margin_db[::-1] / peak_db
    up_s = 3000.0 - 1000.0 * margin_db / peak_db
    assert line.time_s == pytest.approx([0.0, *down_s, *up_s])
    assert value_at(line, line.levels, line.time_s + 1e-6)[:, 0].tolist() == [5, 4, 3, 2, 1, 0, 1, 2, 3, 4, 5]
    assert value_at(line, line.causes, 2000.0) == int(Cause.RAIN)
    assert value_at(line, line.capacity_mbit_s, 2000.0).tolist() == [0.0, 0.0]
    assert value_at(line, line.causes, 5000.0) == 0


def test_hysteresis_brings_modulations_back_later():
    rule = SwitchRule(guard_db=1.0, hysteresis_db=2.0, hold_s=0.0)
    plain, slow = thresholds("1+0"), thresholds("1+0", rule)
    rain = shower(plain.design.levels.margin_db[0, 3] + 0.5)
    lost = [timeline(hop, rain=rain) for hop in (plain, slow)]
    below = [seconds_where(line, line.levels[:, 0] < 5) for line in lost]
    assert below[1] > below[0]
    assert all(value_at(line, line.levels, 9000.0)[0] == 5 for line in lost)


def test_a_fade_lasts_as_its_parabola_says():
    hop = thresholds("1+0")
    raw = hop.nominal.fades.down[1, 0, 0]
    depth = np.sqrt(raw[1]) / 2.0
    line = timeline(hop, fades=one_fade(hop, depth=depth))
    for step in (1, 2, 3, 4):
        expected = 2.0 * np.sqrt(raw[step] - depth**2) / 0.001
        assert seconds_where(line, line.levels[:, 0] <= step) == pytest.approx(expected, rel=1e-9)
    assert value_at(line, line.causes, 5000.0) == int(Cause.MULTIPATH)


def test_after_a_fade_modulations_come_back_one_at_a_time():
    """The radio's own rule: a hold, then one step after another."""
    hop = thresholds("1+0", SwitchRule(guard_db=0.0, hysteresis_db=0.0, hold_s=1.0, interval_s=3.0))
    raw = hop.nominal.fades.down[1, 0, 0]
    depth = np.sqrt(raw[1]) / 2.0
    line = timeline(hop, fades=one_fade(hop, depth=depth))
    for step in (1, 2, 3, 4):
        crossed = 2.0 * np.sqrt(raw[step] - depth**2) / 0.001
        held = 1.0 + 3.0 * (step - 1)
        assert seconds_where(line, line.levels[:, 0] <= step) == pytest.approx(crossed + held, rel=1e-9)


def test_dispersion_has_its_own_name():
    hop = thresholds("1+0")
    line = timeline(hop, fades=one_fade(hop, depth=1e-6, kind=2))
    assert value_at(line, line.causes, 5000.0) == int(Cause.DISPERSION)
    expected = 2.0 * np.sqrt(hop.nominal.fades.down[2, 0, 0, 4]) / 0.001
    assert seconds_where(line, line.levels[:, 0] < 5) == pytest.approx(expected, rel=1e-6)


def test_rain_and_fade_at_once_have_both_names():
    hop = thresholds("1+0")
    fades = one_fade(hop, depth=1e-6, time_s=2000.0)
    line = timeline(hop, rain=shower(hop.design.levels.margin_db[0, 2]), fades=fades)
    assert value_at(line, line.causes, 2000.0) == int(Cause.RAIN | Cause.MULTIPATH)
    assert value_at(line, line.levels, 2000.0)[0] == 0


def with_part_down(hop, part_id, start_s, end_s):
    """Equipment in which one part is down from start to end."""
    structure = hop.design.structure
    (bit,) = [i for i, part in enumerate(structure.parts) if part.id.endswith(part_id)]
    states = [link_state(structure, structure.all_up), link_state(structure, structure.all_up & ~(1 << bit))]
    return EquipmentSegments(np.array([0.0, start_s, end_s]), np.array([0, 1, 0]), states)


def test_equipment_that_is_down_leaves_nothing_to_the_rain():
    hop = thresholds("1+0")
    down = with_part_down(hop, "a/radio-1", 1500.0, 2500.0)
    line = timeline(hop, equipment=down, rain=shower(hop.design.levels.margin_db[0, 0] + 5.0))
    assert value_at(line, line.causes, 2000.0) == int(Cause.OUTDOOR_RADIO)
    assert value_at(line, line.capacity_mbit_s, 2000.0).tolist() == [0.0, 0.0]
    # Just before and after it is the rain again, at the level of that moment.
    assert value_at(line, line.causes, 1499.0) == int(Cause.RAIN)
    assert value_at(line, line.causes, 2501.0) == int(Cause.RAIN)
    assert value_at(line, line.levels, 2501.0).tolist() == value_at(line, line.levels, 1499.0).tolist()


def test_one_of_two_channels_down_halves_the_hop():
    hop = thresholds("2+0")
    line = timeline(hop, equipment=with_part_down(hop, "b/radio-2", 100.0, 200.0))
    assert line.capacity_mbit_s[line.state].tolist() == pytest.approx(
        FULL * np.array([[2, 2], [1, 1], [2, 2]])
    )
    assert line.causes[line.state].tolist() == [0, int(Cause.OUTDOOR_RADIO), 0]
    assert line.levels[line.state][1].tolist() == [5, 0, 5, 0]


@pytest.mark.parametrize("scheme", ["1+1 HSB", "2+0", "2+0 XPIC"])
def test_without_fading_the_equipment_alone_makes_the_history(scheme):
    hop = thresholds(scheme)
    free = FadeFree(hop)
    for part, start_s, end_s in (("b/radio-2", 100.0, 200.0), ("a/radio-1", 0.5, 7.0)) * 2:
        down = with_part_down(hop, part, start_s, end_s)
        whole, found = timeline(hop, equipment=down), free.history(down)
        for time_s in (0.0, 0.7, start_s, 150.0, end_s, 9e3):
            for name in ("capacity_mbit_s", "causes"):
                expected = value_at(whole, getattr(whole, name), time_s)
                np.testing.assert_array_equal(value_at(found, getattr(found, name), time_s), expected)
    assert free.history(undisturbed(hop)).causes.tolist() == [0]


def test_a_protection_channel_makes_good_a_working_one():
    hop = thresholds("1+1 FD")
    line = timeline(hop, equipment=with_part_down(hop, "a/radio-1", 100.0, 200.0))
    # Full capacity all along, so nothing is to blame.
    assert line.capacity_mbit_s == pytest.approx(FULL)
    assert (line.causes == 0).all()
    assert line.levels[line.state][1].tolist() == [0, 5, 0, 5]


def test_less_margin_shows_in_the_next_shower():
    hop = thresholds("1+1 HSB unequal")
    structure = hop.design.structure
    (bit,) = [i for i, part in enumerate(structure.parts) if part.id.endswith("a/radio-1")]
    standby = link_state(structure, structure.all_up & ~(1 << bit), ((1,), (0,)))
    equipment = EquipmentSegments(np.zeros(1), np.zeros(1, dtype=np.int64), [standby])
    rain = shower(hop.design.levels.margin_db[0, 0] - 1.0)
    assert value_at(timeline(hop, rain=rain), timeline(hop, rain=rain).levels, 2000.0)[0] == 1
    line = timeline(hop, equipment=equipment, rain=rain)
    assert value_at(line, line.levels, 2000.0)[0] == 0
    assert value_at(line, line.causes, 2000.0) == int(Cause.RAIN | Cause.OUTDOOR_RADIO)
    # In clear air the standby carries everything.
    assert value_at(line, line.causes, 9000.0) == 0


def test_interference_is_named_where_it_sets_the_threshold():
    radio = Radio(id="r", canceller_improvement_db=4.0)
    ready = prepare(triangle("2+0 XPIC", radios=(radio,)), ModelOptions(rain=False, anchoring=False))
    hop = HopThresholds(ready.designs[0], IDENTITY, ready.nights[0], PLAIN)
    limited = hop.nominal.cross_polar_rain[0]
    assert limited[4]
    assert not limited[0]
    first, last = hop.nominal.rain_down_db[0, 4], hop.nominal.rain_down_db[0, 0]
    beyond = value_at(*named(hop, first + 0.5), 2000.0)
    assert beyond == int(Cause.RAIN | Cause.CROSS_POLAR)
    # The deepest rain takes the lowest modulation, which noise alone would take as well.
    assert value_at(*named(hop, last + 0.5), 2000.0) == int(Cause.RAIN)


def named(hop, peak_db):
    line = timeline(hop, rain=shower(peak_db))
    return line, line.causes


@given(st.sampled_from(["1+0", "2+0", "1+1 FD", "3+1", "7+2"]), st.data())
def test_capacity_is_the_best_choice_of_working_channels(scheme, data):
    design = thresholds(scheme).design
    n = len(design.channels)
    levels = np.array(data.draw(st.lists(st.integers(0, 5), min_size=2 * n, max_size=2 * n)))
    by_level = [0.0, *design.steps.capacity_mbit_s]
    expected = [
        max(sum(by_level[x] for x in chosen) for chosen in combinations(way, design.scheme.working))
        for way in (levels[:n], levels[n:])
    ]
    assert design.capacity_of_mbit_s(levels[None, :])[0] == pytest.approx(expected)


def test_arrays_are_read_only():
    line = timeline(thresholds("1+0"))
    with pytest.raises(ValueError, match="read-only"):
        line.time_s[0] = 1.0


def test_events_below_no_threshold_leave_no_trace():
    hop = thresholds("1+0")
    line = timeline(hop, rain=shower(0.5), fades=one_fade(hop, depth=0.9))
    assert line.time_s.tolist() == [0.0]
    assert isinstance(hop.nominal.fades, Thresholds)
