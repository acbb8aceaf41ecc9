"""What each equipment state leaves: hand-worked losses, and a slow walk along the chain as second opinion."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from link_walk import best_transmitting
from schemes import schemes

from hopyears.models.equipment.hardware import Mounting, joints_of, parts_of_hop, ports_of
from hopyears.models.equipment.link_states import NOBODY, LinkState, LinkStructure, link_state, link_structure
from hopyears.models.judging.cause import Cause
from hopyears.models.network.network import Losses, Radio
from hopyears.models.radio.combining import CombiningLosses, combining_loss_db
from hopyears.models.radio.scheme import Coupler, Scheme, lines_of, parse_scheme, radios_of
from hopyears.sim.hops.radio_levels import combining_losses

LOSSES = combining_losses(Losses(), Radio(id="r"))


def structure_of(form: str, losses: CombiningLosses = LOSSES) -> LinkStructure:
    scheme = parse_scheme(form)
    return link_structure(scheme, parts_of_hop("h", scheme), losses)


def without(structure: LinkStructure, *ids: str) -> int:
    known = [part.id for part in structure.parts]
    return structure.all_up & ~sum(1 << known.index(f"h/{name}") for name in ids)


# Losses by arithmetic on the defaults (common practice, no source): coupler 3.5 dB, unequal 1.6 dB on the
# main arm, transducer 0.4 dB, filter 1.5 dB. Columns: transmit and receive loss of every channel and line.
@pytest.mark.parametrize(
    ("form", "loss_db"),
    [
        ("1+0", 0.0),
        ("1+1 HSB", 3.5),
        ("1+1 HSB unequal", 1.6),
        ("1+1 FD", 3.5),
        ("1+1 SD", 0.0),
        ("1+1 SD+FD", 0.0),
        ("2+0", 3.5),
        ("2+0 DP", 0.4),
        ("2+0 XPIC", 0.4),
        ("4+0 XPIC", 3.9),
        ("1+1 XPIC", 3.9),
        ("1+1 XPIC SD", 0.4),
        ("2+2 HSB", 7.0),
        ("3+1", 1.5),
        ("7+1 DP", 1.9),
    ],
)
def test_nominal_losses(form: str, loss_db: float) -> None:
    structure = structure_of(form)
    assert structure.nominal_transmit_loss_db == pytest.approx([loss_db] * structure.scheme.n_channels)
    assert structure.nominal_receive_loss_db == pytest.approx([loss_db] * len(structure.lines))
    parts = parts_of_hop("h", structure.scheme, Mounting.WAVEGUIDE)
    split = link_structure(structure.scheme, parts, replace(LOSSES, waveguide_db=0.7))
    assert split.nominal_transmit_loss_db == pytest.approx([loss_db + 0.7] * structure.scheme.n_channels)


@pytest.mark.parametrize(("standby_split_db", "main_db"), [(6.0, 1.26), (10.0, 0.46)])
def test_unequal_coupler_default_holds_the_lossless_split(standby_split_db: float, main_db: float) -> None:
    # Lossless reciprocal three-port: main arm -10 log10(1 - 10^(-c/10)); the defaults add 0.3 to 0.5 dB.
    ideal_db = -10 * np.log10(1 - 10 ** (-standby_split_db / 10))
    assert ideal_db == pytest.approx(main_db, abs=0.005)
    if standby_split_db == 6.0:
        assert 0.3 <= LOSSES.unequal_main_db - ideal_db <= 0.5
        assert 0.3 <= LOSSES.unequal_standby_db - standby_split_db <= 0.5
    assert 0.3 <= LOSSES.equal_coupler_db - 10 * np.log10(2) <= 0.8


def test_equal_coupler_hides_the_loss_of_one_radio_once_switched() -> None:
    structure = structure_of("1+1 HSB")
    up = without(structure, "a/radio-1")
    assert best_transmitting(structure, up) == ((1,), (0,))
    state = link_state(structure, up, ((1,), (0,)))
    assert state.extra_loss_db.tolist() == [0.0, 0.0]
    assert state.causes.tolist() == [[0], [0]]


def test_unswitched_standby_is_blamed_on_radio_and_switch() -> None:
    structure = structure_of("1+1 HSB")
    state = link_state(structure, without(structure, "a/radio-1"))
    assert state.transmitter_up.tolist() == [[False], [True]]
    assert state.line_up.tolist() == [False, True]
    assert state.causes.tolist() == [[Cause.OUTDOOR_RADIO | Cause.SWITCHING], [0]]


def test_while_nobody_transmits_the_failed_radio_is_blamed_with_the_switch() -> None:
    structure = structure_of("1+1 HSB")
    state = link_state(structure, without(structure, "a/radio-1"), ((NOBODY,), (0,)))
    assert state.causes.tolist() == [[Cause.OUTDOOR_RADIO | Cause.SWITCHING], [0]]
    both = link_state(structure, without(structure, "a/radio-1", "a/cable-2"), ((NOBODY,), (0,)))
    assert both.causes[0].tolist() == [Cause.OUTDOOR_RADIO | Cause.CABLE]


def test_standby_of_an_unequal_coupler_has_less_margin_both_ways() -> None:
    structure = structure_of("1+1 HSB unequal")
    state = link_state(structure, without(structure, "a/cable-1"), ((1,), (0,)))
    assert state.extra_loss_db == pytest.approx([4.8, 4.8])
    assert state.causes.tolist() == [[Cause.CABLE], [Cause.CABLE]]
    # Mended but not reverted: the main receiver hears again, the standby still transmits.
    mended = link_state(structure, structure.all_up, ((1,), (0,)))
    assert mended.extra_loss_db == pytest.approx([4.8, 0.0])
    assert mended.causes.tolist() == [[Cause.SWITCHING], [0]]


def test_failed_radio_takes_its_diversity_line_with_it() -> None:
    structure = structure_of("1+1 SD")
    state = link_state(structure, without(structure, "b/radio-2"))
    up = {(x.direction, x.antenna): bool(state.line_up[x.index]) for x in structure.lines}
    assert up == {(0, 0): True, (0, 1): False, (1, 0): True, (1, 1): True}
    assert state.extra_loss_db[[0, 2, 3]].tolist() == [0.0, 0.0, 0.0]
    assert state.line_causes.tolist() == [0, Cause.OUTDOOR_RADIO, 0, 0]
    assert state.causes.tolist() == [[Cause.OUTDOOR_RADIO], [0]]


def test_standby_transmits_from_the_second_antenna() -> None:
    structure = structure_of("1+1 SD", replace(LOSSES, second_antenna_db=1.2))
    assert structure.nominal_receive_loss_db == pytest.approx([0.0, 1.2, 0.0, 1.2])
    state = link_state(structure, without(structure, "a/antenna-1"), ((1,), (0,)))
    assert state.extra_loss_db == pytest.approx([1.2, 1.2, np.inf, 0.0])
    assert state.causes.tolist() == [[Cause.ANTENNA], [Cause.ANTENNA]]


def test_shared_parts_take_all_that_hangs_on_them() -> None:
    structure = structure_of("1+1 XPIC")
    for name, cause in (("a/antenna-1", Cause.ANTENNA), ("b/coupler-1", Cause.COUPLER)):
        up = without(structure, name)
        state = link_state(structure, up, best_transmitting(structure, up))
        assert not state.line_up.any()
        assert (state.causes == cause).all()
    one = without(structure, "a/modem-1", "a/modem-3")
    state = link_state(structure, one, best_transmitting(structure, one))
    assert state.line_up.tolist() == [False, True, False, True]
    assert state.working == 2


def test_protection_channel_stays_when_a_working_one_is_down() -> None:
    structure = structure_of("3+1")
    state = link_state(structure, without(structure, "a/radio-2"))
    assert state.line_up.reshape(2, 4).tolist() == [[True, False, True, True]] * 2
    assert state.working == 3


def test_causes_from_outside_hold_radios_down() -> None:
    structure = structure_of("1+1 HSB")
    dark = ((int(Cause.POWER),) * 2, (0, 0))
    assert best_transmitting(structure, structure.all_up, dark) == ((NOBODY,), (0,))
    state = link_state(
        structure, structure.all_up, best_transmitting(structure, structure.all_up, dark), dark
    )
    assert not state.line_up.any()
    assert state.causes.tolist() == [[Cause.POWER], [Cause.POWER]]
    half = ((int(Cause.COMMON_UNIT), 0), (0, 0))
    state = link_state(structure, structure.all_up, ((1,), (0,)), half)
    assert state.line_up.all()


def test_nobody_transmits_during_a_changeover() -> None:
    structure = structure_of("1+1 HSB")
    state = link_state(structure, structure.all_up, ((NOBODY,), (0,)))
    assert state.line_up.tolist() == [False, True]
    assert state.causes.tolist() == [[Cause.SWITCHING], [0]]
    alone = structure_of("1+0")
    down = without(alone, "a/radio-1")
    state = link_state(alone, down, best_transmitting(alone, down))
    assert state.causes.tolist() == [[Cause.OUTDOOR_RADIO], [Cause.OUTDOOR_RADIO]]


def test_states_are_read_only() -> None:
    state = link_state(structure_of("1+0"), 0)
    with pytest.raises(ValueError, match="read-only"):
        state.extra_loss_db[0] = 0.0


@given(schemes(), st.sampled_from(Mounting))
def test_equal_losses_are_those_of_the_joints_on_the_way(scheme: Scheme, mounting: Mounting) -> None:
    """Second opinion: add up the devices that a radio's power passes, one by one."""
    if scheme.coupler is Coupler.UNEQUAL:
        return
    passed = {"hybrid_coupler": 3.5, "orthomode_transducer": 0.4, "branching_filter": 1.5}
    ports = ports_of(scheme)
    for radio, loss_db in zip(radios_of(scheme), combining_loss_db(scheme, mounting, LOSSES), strict=True):
        mine = [joint.item for joint in joints_of(scheme) if radio.index in joint.radios]
        expected_db = sum(passed.get(item, 0.0) for item in mine)
        if (
            "two_polarisation_coupler" in mine
        ):  # a transducer, and a coupler where this polarisation is shared
            expected_db += 0.4 + (3.5 if len(ports[radio.antenna, radio.polarisation]) > 1 else 0.0)
        expected_db += LOSSES.waveguide_db if mounting is Mounting.WAVEGUIDE else 0.0
        assert loss_db == pytest.approx(expected_db)


def slow_lines(
    structure: LinkStructure, up: Sequence[bool], sends: tuple[tuple[int, ...], ...]
) -> list[float]:
    """Extra loss of each line [dB], by walking every part of every radio: the obvious way."""
    scheme, loss_db = structure.scheme, structure.radio_loss_db

    def works(end: int, radio: int) -> bool:
        return all(
            is_up for part, is_up in zip(structure.parts, up, strict=True)
            if part.end == end and radio in part.radios
        )  # fmt: skip

    found = []
    for line in lines_of(scheme):
        here = [r for r in radios_of(scheme) if r.channel == line.channel]
        hears = [r.index for r in here if r.antenna == line.antenna]
        order = sends[line.direction][line.channel]
        sender = [
            r.index for r in here if r.order == order and r.transmits and works(line.direction, r.index)
        ]
        ears = [loss_db[r] for r in hears if works(1 - line.direction, r)]
        nominal_db = loss_db[line.channel] + min(loss_db[r] for r in hears)
        found.append(loss_db[sender[0]] + min(ears) - nominal_db if sender and ears else np.inf)
    return found


@given(schemes(4, 3), st.data())
def test_a_slow_walk_along_the_chain_agrees(scheme: Scheme, data: st.DataObject) -> None:
    structure = link_structure(scheme, parts_of_hop("h", scheme), replace(LOSSES, second_antenna_db=0.9))
    n = len(structure.parts)
    down = data.draw(st.sets(st.integers(0, n - 1), max_size=4))
    up = [i not in down for i in range(n)]
    orders = st.tuples(*[st.sampled_from([0, 1, NOBODY])] * scheme.n_channels)
    sends = (data.draw(orders), data.draw(orders))
    state = link_state(structure, sum(1 << i for i in range(n) if up[i]), sends)
    assert state.extra_loss_db == pytest.approx(slow_lines(structure, up, sends))
    check_state(structure, state)


def check_state(structure: LinkStructure, state: LinkState) -> None:
    """Laws of every state: who is down is blamed, who is not worse than nominal is not."""
    assert (np.isinf(state.extra_loss_db) == ~state.line_up).all()
    assert ((state.line_causes != 0) == (state.extra_loss_db > 1e-12)).all()
    for line in structure.lines:
        causes = int(state.causes[line.direction, line.channel])
        assert causes & int(state.line_causes[line.index]) == state.line_causes[line.index]
        assert state.transmitter_up[line.direction, line.channel] or not state.line_up[line.index]


@given(schemes(4, 3), st.data())
def test_another_failure_never_brings_anything_back(scheme: Scheme, data: st.DataObject) -> None:
    structure = link_structure(scheme, parts_of_hop("h", scheme), LOSSES)
    indices = st.integers(0, len(structure.parts) - 1)
    few = sum(1 << i for i in data.draw(st.sets(indices, max_size=3)))
    more = few | 1 << data.draw(indices)
    some, less = (
        link_state(structure, up, best_transmitting(structure, up))
        for up in (structure.all_up & ~few, structure.all_up & ~more)
    )
    assert (some.line_up | ~less.line_up).all()
    assert (less.extra_loss_db >= some.extra_loss_db - 1e-12).all()
