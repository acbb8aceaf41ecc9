"""Hardware of each scheme against the trade's common practice, and its general rules as properties."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from schemes import schemes

from hopyears.models.equipment.hardware import (
    ITEM_REASONS,
    Mounting,
    bill_of,
    joints_of,
    parts_of_hop,
    ports_of,
)
from hopyears.models.equipment.part_kind import PART_KINDS
from hopyears.models.judging.cause import Cause
from hopyears.models.radio.scheme import Scheme, parse_scheme, radios_of

# Common practice, no source: two outdoor radios on one single-polarised antenna need a hybrid coupler; on
# one dual-polarised antenna an orthomode transducer; four need a dual-polarised coupler; space diversity
# needs two antennas. The rows with filters or three couplers are our own reading of the same practice.
# Columns: single- and dual-polarised antennas, hybrid couplers, transducers, dual-polarised couplers,
# filters, radios, waveguides if split-mounted.
PRACTICE = {
    "1+0": (1, 0, 0, 0, 0, 0, 1, 1),
    "1+1 HSB": (1, 0, 1, 0, 0, 0, 2, 1),
    "1+1 HSB unequal": (1, 0, 1, 0, 0, 0, 2, 1),
    "1+1 FD": (1, 0, 1, 0, 0, 0, 2, 1),
    "1+1 FD DP": (0, 1, 0, 1, 0, 0, 2, 2),
    "1+1 SD": (2, 0, 0, 0, 0, 0, 2, 2),
    "1+1 SD+FD": (2, 0, 0, 0, 0, 0, 2, 2),
    "1+0 SD": (2, 0, 0, 0, 0, 0, 2, 2),
    "2+0": (1, 0, 1, 0, 0, 0, 2, 1),
    "2+0 DP": (0, 1, 0, 1, 0, 0, 2, 2),
    "2+0 XPIC": (0, 1, 0, 1, 0, 0, 2, 2),
    "4+0 DP": (0, 1, 0, 0, 1, 0, 4, 2),
    "4+0 XPIC": (0, 1, 0, 0, 1, 0, 4, 2),
    "1+1 XPIC": (0, 1, 0, 0, 1, 0, 4, 2),
    "1+1 XPIC SD": (0, 2, 0, 2, 0, 0, 4, 4),
    "2+2 HSB DP": (0, 1, 0, 0, 1, 0, 4, 2),
    "1+1 HSB SD+FD": (2, 0, 2, 0, 0, 0, 4, 2),
    "2+2 HSB": (1, 0, 3, 0, 0, 0, 4, 1),
    "4+0": (1, 0, 0, 0, 0, 1, 4, 1),
    "3+1": (1, 0, 0, 0, 0, 1, 4, 1),
    "7+2": (1, 0, 0, 0, 0, 1, 9, 1),
    "7+1 DP": (0, 1, 0, 1, 0, 2, 8, 2),
}
COLUMNS = (
    "antenna_single_polarised",
    "antenna_dual_polarised",
    "hybrid_coupler",
    "orthomode_transducer",
    "two_polarisation_coupler",
    "branching_filter",
    "outdoor_radio",
    "waveguide",
)


@pytest.mark.parametrize("form", PRACTICE)
def test_each_end_has_the_hardware_of_common_practice(form: str) -> None:
    parts = parts_of_hop("mill-ridge", parse_scheme(form), Mounting.WAVEGUIDE, ends=("mill", "ridge"))
    for place in ("mill-ridge/mill", "mill-ridge/ridge"):
        counts = Counter({row.item: row.count for row in bill_of(parts) if row.place == place})
        assert tuple(counts[item] for item in COLUMNS) == PRACTICE[form]
        assert counts["cable"] == counts["modem_port"] == counts["outdoor_radio"]


def test_parts_are_named_by_hop_site_and_place() -> None:
    parts = parts_of_hop("mill-ridge", parse_scheme("1+1 HSB"), ends=("mill", "ridge"))
    assert [part.id for part in parts if part.end == 0] == [
        f"mill-ridge/mill/{name}"
        for name in (
            "antenna-1",
            "coupler-1",
            "radio-1",
            "radio-2",
            "cable-1",
            "cable-2",
            "modem-1",
            "modem-2",
        )
    ]
    assert {part.id.split("/")[1] for part in parts if part.end == 1} == {"ridge"}


def test_bill_says_why() -> None:
    rows = bill_of(parts_of_hop("h", parse_scheme("2+0 XPIC")))
    transducer = next(row for row in rows if row.item == "orthomode_transducer")
    assert (transducer.place, transducer.count) == ("h/a", 1)
    assert transducer.why == "one outdoor radio on each polarisation of an antenna"


@given(schemes(), st.sampled_from(Mounting))
def test_radios_that_share_an_antenna_are_joined_to_it(scheme: Scheme, mounting: Mounting) -> None:
    joints = joints_of(scheme)
    radios = radios_of(scheme)
    for one in radios:
        for other in radios:
            if one.index >= other.index or one.antenna != other.antenna:
                continue
            common = {j.item for j in joints if {one.index, other.index} <= set(j.radios)}
            if one.polarisation == other.polarisation:
                assert common & {"hybrid_coupler", "branching_filter", "two_polarisation_coupler"}
            else:
                assert common & {"orthomode_transducer", "two_polarisation_coupler"}
    lonely = [r for r in radios if sum(o.antenna == r.antenna for o in radios) == 1]
    assert not any(radio.index in joint.radios for radio in lonely for joint in joints)
    parts = parts_of_hop("h", scheme, mounting)
    split = sum(part.kind == "waveguide" for part in parts)
    assert split == (2 * len(ports_of(scheme)) if mounting is Mounting.WAVEGUIDE else 0)


@given(schemes(), st.sampled_from(Mounting))
def test_every_radio_has_a_whole_chain_and_both_ends_are_alike(scheme: Scheme, mounting: Mounting) -> None:
    parts = parts_of_hop("h", scheme, mounting)
    assert len({part.id for part in parts}) == len(parts)
    ends = [[(p.kind, p.item, p.radios, p.channels) for p in parts if p.end == end] for end in (0, 1)]
    assert ends[0] == ends[1]
    wanted = {"antenna", "outdoor_radio", "cable", "modem_card"}
    wanted |= {"waveguide"} if mounting is Mounting.WAVEGUIDE else set()
    for radio in radios_of(scheme):
        kinds = Counter(part.kind for part in parts if part.end == 0 and radio.index in part.radios)
        assert all(kinds[kind] == 1 for kind in wanted)
    for part in parts:
        assert part.cause == PART_KINDS[part.kind].cause != Cause.NONE
        assert part.channels == tuple(sorted({radios_of(scheme)[r].channel for r in part.radios}))
    assert sum(row.count for row in bill_of(parts)) == len(parts)
    assert all(row.why == ITEM_REASONS[row.item] for row in bill_of(parts))


def test_a_standby_keeps_the_names_of_the_parts_that_were_there() -> None:
    before = {part.id for part in parts_of_hop("h", parse_scheme("2+0"))}
    after = {part.id for part in parts_of_hop("h", parse_scheme("2+2 HSB"))}
    assert before < after
