"""The table of kinds of part: the groups that are shown, and what holds where a row says nothing."""

from dataclasses import replace

import pytest

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.equipment.part_kind import (
    INDOOR,
    OUTDOOR,
    PART_KINDS,
    POWER,
    Place,
    causes_at,
    causes_shown_as,
)
from hopyears.models.judging.cause import Cause


def test_every_cause_of_a_part_is_shown_in_one_group():
    groups = {group: causes_shown_as(group) for group in (OUTDOOR, INDOOR, POWER)}
    for kind in PART_KINDS.values():
        assert [group for group, causes in groups.items() if kind.cause & causes] == [kind.shown_as]
    assert groups[POWER] == Cause.POWER


def test_causes_stand_where_their_kinds_do():
    assert causes_at(Place.LINE) == Cause.LINE_CARD
    assert causes_at(Place.ANTENNA, Place.SUPPLY) == (
        Cause.ANTENNA | Cause.COUPLER | Cause.WAVEGUIDE | Cause.POWER
    )


def test_what_a_row_leaves_out_is_seen_at_once_and_stops_traffic():
    mast = PART_KINDS["mast"]
    assert (mast.latent_share, mast.affecting_share, mast.infant_share, mast.outdoor) == (
        0.0,
        1.0,
        0.0,
        False,
    )
    assert mast.spare is None
    assert not mast.outdoor


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"latent_share": 1.1}, "latent_share is 1.1; must be 0 to 1"),
        ({"infant_share": -0.1}, "infant_share is -0.1; must be 0 to 1"),
        ({"life": Law.exponential(0.0)}, "life mean_h is 0.0; must be above 0"),
    ],
)
def test_impossible_kinds_are_refused(changes, message):
    with pytest.raises(ValueError, match=message):
        replace(PART_KINDS["mast"], **changes)
