"""Protection of a hop as data: channels, radios and receive lines, and the trade's short forms for them.

A hop has ``working`` channels that carry its capacity and ``protection`` channels on frequencies of their
own; any ``working`` of them will do. A channel has one radio at each end, or two: a hot standby that may
transmit in its place, or with space diversity a receiver on a second antenna. Everything else (hardware,
losses, what is left in each state) is read from the tables made here, with no case per scheme.
"""

import re
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

MAXIMUM_CHANNELS = 12
"""Working and protection channels together: the most that common channel plans offer in one band."""


class Diversity(StrEnum):
    """What a fade on one receive line leaves to another."""

    NONE = "none"
    SPACE = "space"
    FREQUENCY = "frequency"
    BOTH = "both"


class Coupler(StrEnum):
    """How the hybrid coupler of a hot-standby pair splits power between main and standby."""

    EQUAL = "equal"
    UNEQUAL = "unequal"


@dataclass(frozen=True)
class Scheme:
    """Protection scheme of a hop.

    Parameters
    ----------
    working : int
        Channels that carry the capacity, 1 to 12.
    protection : int
        Added channels on frequencies of their own, 0 to 12 less ``working``.
    standby : int
        Hot-standby radios per channel and end, 0 or 1.
    space_diversity : bool
        A second antenna at each end.
    polarisations : int
        1, or 2: channels alternate between the two.
    co_channel : bool
        Two carriers on each frequency, one per polarisation, held apart by a canceller.
    coupler : Coupler
        Split of a hot-standby pair's coupler.

    Raises
    ------
    ValueError
        If the fields contradict each other; the message names the field, what was found and what is allowed.

    Notes
    -----
    Where the second antenna serves (common practice, no source): the standby radio stands on it, without a
    coupler, and transmits from it; else, with protection channels, these stand on it (space and frequency
    diversity with one receiver per channel); else each channel has a receiver of its own on it.
    """

    working: int = 1
    protection: int = 0
    standby: int = 0
    space_diversity: bool = False
    polarisations: int = 1
    co_channel: bool = False
    coupler: Coupler = Coupler.EQUAL

    def __post_init__(self) -> None:
        """Refuse contradictory fields."""
        for field, ok, allowed in self._rules():
            if not ok:
                raise ValueError(f"{field} is {getattr(self, field)}; must be {allowed}")

    def _rules(self) -> tuple[tuple[str, bool, str], ...]:
        total = self.n_channels
        spare = MAXIMUM_CHANNELS - self.working
        pairs = total % 2 == 0 and self.working >= 2
        return (
            ("working", 1 <= self.working <= MAXIMUM_CHANNELS, f"1 to {MAXIMUM_CHANNELS}"),
            ("protection", 0 <= self.protection <= spare, f"0 to {spare} with {self.working} working"),
            ("standby", self.standby in (0, 1), "0 or 1 radio per channel"),
            ("polarisations", self.polarisations in (1, 2), "1 or 2"),
            ("polarisations", self.polarisations <= total, "1 where there is one channel only"),
            ("co_channel", not self.co_channel or self.polarisations == 2, "false on one polarisation"),
            ("co_channel", not self.co_channel or pairs, "false unless carriers pair up, two working"),
            (
                "coupler",
                self.coupler is Coupler.EQUAL or (self.standby == 1 and not self.space_diversity),
                "equal unless a hot standby shares the main antenna",
            ),
        )

    @property
    def n_channels(self) -> int:
        """Working and protection channels together."""
        return self.working + self.protection

    @property
    def diversity(self) -> Diversity:
        """Space with a second antenna, frequency with a protection channel, or both."""
        if self.space_diversity:
            return Diversity.BOTH if self.protection else Diversity.SPACE
        return Diversity.FREQUENCY if self.protection else Diversity.NONE

    @property
    def n_antennas(self) -> int:
        """Antennas at each end."""
        return 2 if self.space_diversity else 1

    @property
    def n_radios(self) -> int:
        """Outdoor radios at each end."""
        return len(radios_of(self))


@dataclass(frozen=True)
class Channel:
    """A carrier of a hop, both ways: its frequency, polarisation (0 or 1) and co-channel partner."""

    index: int
    frequency_index: int
    polarisation: int
    is_protection: bool
    partner: int | None


@dataclass(frozen=True)
class RadioRole:
    """What an outdoor radio does at one end of a scheme; both ends are alike.

    ``order`` is 0 for a channel's main radio and 1 for its standby or diversity receiver; ``antenna`` is 0
    for the main antenna, 1 for the second; ``transmits`` is false for a diversity receiver.
    """

    index: int
    channel: int
    order: int
    antenna: int
    polarisation: int
    transmits: bool


@dataclass(frozen=True)
class Line:
    """A receive line: a channel heard by one antenna in one direction (0 from end 0 to 1, 1 back)."""

    index: int
    channel: int
    frequency_index: int
    polarisation: int
    antenna: int
    direction: int


@lru_cache(maxsize=1024)
def channels_of(scheme: Scheme) -> tuple[Channel, ...]:
    """Channels of a scheme, working ones first; co-channel carriers are neighbours in the list."""
    per_frequency = 2 if scheme.co_channel else 1
    return tuple(
        Channel(
            index=i,
            frequency_index=i // per_frequency,
            polarisation=i % scheme.polarisations,
            is_protection=i >= scheme.working,
            partner=i ^ 1 if scheme.co_channel else None,
        )
        for i in range(scheme.n_channels)
    )


@lru_cache(maxsize=1024)
def radios_of(scheme: Scheme) -> tuple[RadioRole, ...]:
    """Outdoor radios of one end: the main radio of every channel, then the second radios.

    The order does not move when a scheme grows by a standby, a receiver or a protection channel, so that
    a part keeps its name from plan to plan.
    """
    channels = channels_of(scheme)
    protection_on_second = scheme.space_diversity and not scheme.standby
    places = [(c, 0, int(protection_on_second and c.is_protection), True) for c in channels]
    if scheme.standby:
        places += [(c, 1, int(scheme.space_diversity), True) for c in channels]
    elif scheme.space_diversity and not scheme.protection:
        places += [(c, 1, 1, False) for c in channels]
    return tuple(
        RadioRole(i, channel.index, order, antenna, channel.polarisation, transmits)
        for i, (channel, order, antenna, transmits) in enumerate(places)
    )


@lru_cache(maxsize=1024)
def lines_of(scheme: Scheme) -> tuple[Line, ...]:
    """Receive lines of a hop, by direction, then channel, then antenna.

    Two receivers behind one coupler hear the same line; a receiver on a second antenna has its own.
    """
    heard = sorted({(r.channel, r.antenna) for r in radios_of(scheme)})
    channels = channels_of(scheme)
    places = [(direction, channels[c], antenna) for direction in (0, 1) for c, antenna in heard]
    return tuple(
        Line(i, channel.index, channel.frequency_index, channel.polarisation, antenna, direction)
        for i, (direction, channel, antenna) in enumerate(places)
    )


_ALLOWED = (
    "N+0 or N+M (N working, M protection channels), then any of HSB (a standby each, M = N), FD, SD, "
    "XPIC or DP, equal or unequal; for instance 1+0, 1+1 HSB, 1+1 HSB unequal, 1+1 FD, 1+1 SD, 1+1 SD+FD, "
    "2+0, 2+0 DP, 2+0 XPIC, 1+1 XPIC, 4+0 XPIC, 3+1, 7+2"
)

_HEAD = re.compile(r"\s*(\d{1,3})\s*\+\s*(\d{1,3})(?![\d+])")

_WORDS = {
    "HSB": "HSB",
    "SD": "SD",
    "FD": "FD",
    "XPIC": "XPIC",
    "CCDP": "XPIC",  # co-channel dual polarisation
    "DP": "DP",
    "ACAP": "DP",  # adjacent channels, alternate polarisations
    "EQUAL": "EQUAL",
    "UNEQUAL": "UNEQUAL",
}


@lru_cache(maxsize=1024)
def parse_scheme(text: str) -> Scheme:
    """Scheme of a short form of the trade.

    Parameters
    ----------
    text : str
        ``N+M`` and, in any order and case, separated by blanks, commas or ``+``: ``HSB`` (hot standby),
        ``FD`` (frequency diversity), ``SD`` (space diversity), ``XPIC`` or ``CCDP`` (co-channel carriers on
        two polarisations), ``DP`` or ``ACAP`` (channels alternate polarisations), ``equal`` or ``unequal``
        (coupler of the hot standby). ``1+1`` needs HSB, FD, SD or XPIC to say which it is; ``1+1 SD`` is a
        hot standby on a second antenna and ``1+1 XPIC`` two co-channel carriers, each with a hot standby.
        Larger ``N+M`` without HSB are frequency protection.

    Raises
    ------
    ValueError
        If the text is no such form, or its parts contradict each other; names the text and what is allowed.
    """
    head = _HEAD.match(text)
    if head is None:
        raise _refusal(text, _ALLOWED)
    first, second = int(head.group(1)), int(head.group(2))
    words = _words(text, text[head.end() :])
    try:
        return _scheme_of(first, second, words)
    except ValueError as fault:
        raise _refusal(text, f"consistent ({fault})") from None


def _refusal(text: str, allowed: str) -> ValueError:
    return ValueError(f'scheme is "{text}"; must be {allowed}')


def _words(text: str, tail: str) -> frozenset[str]:
    found = [word for word in re.split(r"[\s,+]+", tail.upper()) if word]
    unknown = [word for word in found if word not in _WORDS]
    if unknown:
        raise ValueError(f'scheme is "{text}", where "{unknown[0]}" is unknown; must be {_ALLOWED}')
    return frozenset(_WORDS[word] for word in found)


def _scheme_of(first: int, second: int, words: frozenset[str]) -> Scheme:
    hot = "HSB" in words
    both, frequency, space = "XPIC" in words, "FD" in words, "SD" in words
    if first == second == 1:
        hot = hot or ((both or space) and not frequency)
        if not hot and not frequency:
            raise ValueError("1+1 needs one of HSB, FD, SD, SD+FD, XPIC")
        if both:
            first = second = 2
    if hot and not frequency and first != second:
        raise ValueError(f"HSB has a standby for each channel: {first}+{first}, not {first}+{second}")
    if frequency and not second:
        raise ValueError("FD needs a protection channel")
    if {"EQUAL", "UNEQUAL"} <= words:
        raise ValueError("the coupler is either equal or unequal")
    return Scheme(
        working=first,
        protection=0 if hot and not frequency else second,
        standby=int(hot),
        space_diversity=space,
        polarisations=2 if both or "DP" in words else 1,
        co_channel=both,
        coupler=Coupler.UNEQUAL if "UNEQUAL" in words else Coupler.EQUAL,
    )
