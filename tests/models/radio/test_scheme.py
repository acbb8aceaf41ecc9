"""Short forms of the trade, and the channels, radios and lines that follow from a scheme."""

import re
from dataclasses import asdict

import pytest
from hypothesis import given
from schemes import schemes

from hopyears.models.radio.scheme import (
    Coupler,
    Diversity,
    Scheme,
    channels_of,
    lines_of,
    parse_scheme,
    radios_of,
)

# Meaning of each form: common practice, no source. Columns: working, protection and standby; space diversity;
# polarisations; co-channel; diversity; radios and antennas of an end; receive lines of the hop.
MEANINGS = {
    "1+0": (1, 0, 0, False, 1, False, Diversity.NONE, 1, 1, 2),
    "1+1 HSB": (1, 0, 1, False, 1, False, Diversity.NONE, 2, 1, 2),
    "1+1 FD": (1, 1, 0, False, 1, False, Diversity.FREQUENCY, 2, 1, 4),
    "1+1 SD": (1, 0, 1, True, 1, False, Diversity.SPACE, 2, 2, 4),
    "1+1 SD+FD": (1, 1, 0, True, 1, False, Diversity.BOTH, 2, 2, 4),
    "2+0": (2, 0, 0, False, 1, False, Diversity.NONE, 2, 1, 4),
    "2+0 DP": (2, 0, 0, False, 2, False, Diversity.NONE, 2, 1, 4),
    "2+0 XPIC": (2, 0, 0, False, 2, True, Diversity.NONE, 2, 1, 4),
    "4+0": (4, 0, 0, False, 1, False, Diversity.NONE, 4, 1, 8),
    "4+0 XPIC": (4, 0, 0, False, 2, True, Diversity.NONE, 4, 1, 8),
    "1+1 XPIC": (2, 0, 1, False, 2, True, Diversity.NONE, 4, 1, 4),
    "3+1": (3, 1, 0, False, 1, False, Diversity.FREQUENCY, 4, 1, 8),
    "7+2": (7, 2, 0, False, 1, False, Diversity.FREQUENCY, 9, 1, 18),
    "1+1 HSB SD+FD": (1, 1, 1, True, 1, False, Diversity.BOTH, 4, 2, 8),
}


@pytest.mark.parametrize("form", MEANINGS)
def test_short_form_means_what_the_trade_means(form: str) -> None:
    s = parse_scheme(form)
    found = (s.working, s.protection, s.standby, s.space_diversity, s.polarisations, s.co_channel)
    assert (*found, s.diversity, s.n_radios, s.n_antennas, len(lines_of(s))) == MEANINGS[form]


@pytest.mark.parametrize(
    ("spelling", "form"),
    [
        (" 1 + 1 hsb ", "1+1 HSB"),
        ("1+1 HSB equal", "1+1 HSB"),
        ("1+1,HSB,UNEQUAL", "1+1 HSB unequal"),
        ("1+1 HSB SD", "1+1 SD"),
        ("1+1 FD SD", "1+1 SD+FD"),
        ("2+0 CCDP", "2+0 XPIC"),
        ("1+1 XPIC SD", "1+1 SD XPIC"),
        ("2+0 acap", "2+0 DP"),
        ("2+2 HSB XPIC", "1+1 XPIC"),
        ("1+1 FD XPIC", "2+2 XPIC"),
        ("3+1 FD", "3+1"),
    ],
)
def test_other_spellings(spelling: str, form: str) -> None:
    assert parse_scheme(spelling) == parse_scheme(form)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", 'scheme is ""; must be N+0 or N+M'),
        ("double", 'scheme is "double"; must be N+0 or N+M'),
        ("1+1+1", 'scheme is "1+1+1"; must be N+0 or N+M'),
        ("1+1 HBS", 'scheme is "1+1 HBS", where "HBS" is unknown; must be N+0 or N+M'),
        ("1+1", 'scheme is "1+1"; must be consistent (1+1 needs one of HSB, FD, SD, SD+FD, XPIC)'),
        ("2+1 HSB", "HSB has a standby for each channel: 2+2, not 2+1"),
        ("1+0 FD", "FD needs a protection channel"),
        ("0+1", "working is 0; must be 1 to 12"),
        ("13+0", "working is 13; must be 1 to 12"),
        ("7+6", "protection is 6; must be 0 to 5 with 7 working"),
        ("3+0 XPIC", "co_channel is True; must be false unless carriers pair up"),
        ("1+1 HSB DP", "polarisations is 2; must be 1 where there is one channel only"),
        ("1+1 SD unequal", "coupler is unequal; must be equal unless a hot standby shares the main antenna"),
        ("1+0 unequal", "coupler is unequal; must be equal unless"),
        ("1+1 HSB equal unequal", "the coupler is either equal or unequal"),
        ("1+0 equal unequal", "the coupler is either equal or unequal"),
    ],
)
def test_bad_form_is_refused_by_name(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=re.escape(said)) as refusal:
        parse_scheme(text)
    assert f'scheme is "{text}"' in str(refusal.value)


@pytest.mark.parametrize(
    ("field", "value"),
    [("working", 0), ("protection", -1), ("standby", 2), ("polarisations", 3), ("co_channel", True)],
)
def test_contradictory_fields_are_refused(field: str, value: object) -> None:
    with pytest.raises(ValueError, match=rf"^{field} is {value}; must be "):
        Scheme(**{**asdict(Scheme()), field: value})


def test_unequal_coupler_is_part_of_the_scheme() -> None:
    assert parse_scheme("1+1 HSB unequal").coupler is Coupler.UNEQUAL
    assert parse_scheme("1+1 HSB").coupler is Coupler.EQUAL


@given(schemes())
def test_channels_share_a_frequency_only_as_co_channel_partners(scheme: Scheme) -> None:
    channels = channels_of(scheme)
    assert len(channels) == scheme.working + scheme.protection
    assert sum(channel.is_protection for channel in channels) == scheme.protection
    for channel in channels:
        others = {c.index for c in channels if c.frequency_index == channel.frequency_index} - {channel.index}
        assert others == (set() if channel.partner is None else {channel.partner})
        if channel.partner is not None:
            assert channels[channel.partner].polarisation != channel.polarisation
    assert {channel.polarisation for channel in channels} == set(range(scheme.polarisations))


@given(schemes())
def test_lines_are_what_the_radios_hear(scheme: Scheme) -> None:
    radios, lines = radios_of(scheme), lines_of(scheme)
    assert [radio.index for radio in radios] == list(range(len(radios)))
    assert [line.index for line in lines] == list(range(len(lines)))
    heard = {(radio.channel, radio.antenna) for radio in radios}
    for direction in (0, 1):
        assert {(x.channel, x.antenna) for x in lines if x.direction == direction} == heard
    assert len(lines) == 2 * len(heard)
    assert {radio.antenna for radio in radios} == set(range(scheme.n_antennas))
    for channel in range(scheme.n_channels):
        able = [radio for radio in radios if radio.channel == channel and radio.transmits]
        assert len(able) == 1 + scheme.standby
        assert [radio.order for radio in able] == list(range(1 + scheme.standby))


@given(schemes(6, 3))
def test_main_radios_keep_their_place_when_a_standby_is_added(scheme: Scheme) -> None:
    with_standby = Scheme(**{**asdict(scheme), "standby": 1, "space_diversity": False})
    mains = [(r.index, r.channel) for r in radios_of(scheme) if r.order == 0]
    assert [(r.index, r.channel) for r in radios_of(with_standby) if r.order == 0] == mains
