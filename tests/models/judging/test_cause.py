"""Flags of causes: one bit each, since stored runs join them by their numbers, and each in one family."""

from hopyears.models.equipment.part_kind import PART_KINDS
from hopyears.models.judging.cause import EQUIPMENT, FADING, Cause, cause_label


def test_every_cause_has_a_bit_of_its_own():
    flags = [flag for name, flag in Cause.__members__.items() if name != "NONE"]
    assert sorted(map(int, flags)) == [2**bit for bit in range(len(flags))]
    assert int(Cause.NONE) == 0


def test_families_of_causes_share_none_and_leave_none_out():
    others = Cause.POWER | Cause.SWITCHING | Cause.CONGESTION | Cause.MAINTENANCE
    assert sum(map(int, (FADING, EQUIPMENT, others))) == sum(map(int, Cause))
    broken = {kind.cause for kind in PART_KINDS.values()} - {Cause.POWER}
    assert {flag for flag in Cause if flag & EQUIPMENT} == broken | {Cause.LIGHTNING}
    assert {flag.name for flag in Cause if flag & FADING} == {
        "RAIN",
        "MULTIPATH",
        "DISPERSION",
        "CROSS_POLAR",
    }


def test_labels_name_each_cause_once_in_the_order_of_the_alphabet():
    assert cause_label(0) == "none"
    assert cause_label(int(Cause.OUTDOOR_RADIO)) == "outdoor radio"
    assert cause_label(int(Cause.RAIN | Cause.MAINTENANCE | Cause.POWER)) == "planned work + power + rain"
    labels = [cause_label(int(flag)) for flag in Cause if flag]
    assert len(set(labels)) == len(labels) == 19
