"""The kinds of part that fail, each one row of one table: where it stands, how it fails, who mends it.

A new kind is one new row of ``PART_KINDS``: it is built where its ``place`` says, fails and is mended by its
laws, and is shown in the colour of ``shown_as``. Only on the antenna side must the chain of a hop end
(``hardware``) say, too, which radios hang on it, since that follows from the scheme.

All numbers are common practice, no source, unless said otherwise: no published table of microwave
equipment failure rates could be read. Field values are often a half to a third of calculated ones.
"""

from dataclasses import dataclass
from enum import IntEnum, StrEnum
from functools import reduce
from operator import or_

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.judging.cause import Cause


class Repair(IntEnum):
    """Who mends a part: a crew indoors, a crew that climbs, or somebody at a distance."""

    INDOOR = 0
    OUTDOOR = 1
    REMOTE = 2


class Place(StrEnum):
    """Where parts of a kind stand, and so what falls with one of them."""

    ANTENNA = "antenna side of a hop end, as its scheme asks"
    RADIO = "hop end, one for each radio"
    UNIT = "indoor unit"
    LINE = "indoor unit, one for each line card"
    SITE = "site, one at each"
    SUPPLY = "supply of a site"


OUTDOOR, INDOOR, POWER = "outdoor equipment", "indoor equipment", "power"
"""Groups in which lost time is shown to a reader, each with a colour of its own."""


@dataclass(frozen=True)
class PartKind:
    """A kind of part: where it stands, how it fails, who mends it, and what that needs.

    Parameters
    ----------
    key : str
        Name, as in the network file.
    cause : Cause
        Flag that a failure of the part gives to lost traffic.
    place : Place
        Where parts of the kind stand.
    shown_as : str
        ``OUTDOOR``, ``INDOOR`` or ``POWER``: the group in which a reader sees its cause.
    life : Law
        Time from new to failure [h].
    repair : Repair
        Indoor, outdoor (a climb: no storm, perhaps daylight) or remote.
    mend : Law
        Hands-on time of the swap [h].
    latent_share : float
        Share of the failures of a muted standby that nobody sees until test or call. 0 to 1.
    affecting_share : float
        Share of the failures that stop traffic. 0 to 1; the others only need a visit.
    spare : str or None
        Spare drawn from a depot for a swap, None if no spare is needed.
    outdoor : bool
        Electronics on the mast, which lightning can damage (antennas, couplers, waveguides and cables are
        passive and mostly outlast it: common practice, no source).
    infant_share, infant_mean_h : float
        Share of replaced parts that fail early and their mean life [h]; 0 turns it off (the default).
    name : str
        In the ids of parts, where it is not ``key``.
    """

    key: str
    cause: Cause
    place: Place
    shown_as: str
    life: Law
    repair: Repair
    mend: Law
    latent_share: float = 0.0
    affecting_share: float = 1.0
    spare: str | None = None
    outdoor: bool = False
    infant_share: float = 0.0
    infant_mean_h: float = 1000.0
    name: str = ""

    def __post_init__(self) -> None:
        for name in ("latent_share", "affecting_share", "infant_share"):
            value = getattr(self, name)
            if not 0.0 <= value <= 1.0:
                raise ValueError(f"{name} is {value}; must be 0 to 1")
        if not self.life.mean_h > 0.0:
            raise ValueError(f"life mean_h is {self.life.mean_h}; must be above 0")


INDOOR_SWAP = Law.lognormal(0.5, 0.5)
"""Indoor swap, mean 0.5 h (range 0.3-1 h). Common practice, no source."""

OUTDOOR_SWAP = Law.lognormal(2.0, 0.5)
"""Outdoor swap with a climb, mean 2 h (range 1-6 h). Common practice, no source."""

REMOTE_FIX = Law.lognormal(1.0, 0.5)
"""Remote repair of a software fault, mean 1 h (range 0.5-2 h). Common practice, no source."""

_IN, _OUT, _FAR = Repair.INDOOR, Repair.OUTDOOR, Repair.REMOTE


def _kind(
    key: str,
    cause: Cause,
    place: Place,
    shown_as: str,
    mtbf_h: float,
    repair: Repair,
    mend: Law,
    **more: float | str | bool,
) -> PartKind:
    return PartKind(key, cause, place, shown_as, Law.exponential(mtbf_h), repair, mend, **more)  # type: ignore[arg-type]


PART_KINDS: dict[str, PartKind] = {
    kind.key: kind
    for kind in (
        _kind(
            "antenna", Cause.ANTENNA, Place.ANTENNA, OUTDOOR, 3e6, _OUT, Law.lognormal(4.0, 0.5),
            spare="antenna",
        ),
        _kind("coupler", Cause.COUPLER, Place.ANTENNA, OUTDOOR, 1e7, _OUT, OUTDOOR_SWAP, spare="coupler"),
        _kind(
            "outdoor_radio", Cause.OUTDOOR_RADIO, Place.RADIO, OUTDOOR, 350e3, _OUT, OUTDOOR_SWAP,
            latent_share=0.1, spare="outdoor_radio", outdoor=True, name="radio",
        ),
        _kind(
            "waveguide", Cause.WAVEGUIDE, Place.ANTENNA, OUTDOOR, 1.5e6, _OUT, OUTDOOR_SWAP,
            spare="waveguide",
        ),
        _kind("cable", Cause.CABLE, Place.RADIO, OUTDOOR, 1.5e6, _OUT, OUTDOOR_SWAP, spare="cable"),
        _kind(
            "modem_card", Cause.MODEM_CARD, Place.RADIO, INDOOR, 500e3, _IN, INDOOR_SWAP,
            latent_share=0.1, spare="modem_card", name="modem",
        ),
        _kind(
            "controller", Cause.COMMON_UNIT, Place.UNIT, INDOOR, 500e3, _IN, INDOOR_SWAP,
            affecting_share=0.2, spare="controller",
        ),
        _kind(
            "chassis", Cause.COMMON_UNIT, Place.UNIT, INDOOR, 2e6, _IN, Law.lognormal(2.0, 0.5),
            spare="chassis",
        ),
        _kind(
            "fan", Cause.COMMON_UNIT, Place.UNIT, INDOOR, 200e3, _IN, INDOOR_SWAP,
            affecting_share=0.1, spare="fan",
        ),
        _kind("line_card", Cause.LINE_CARD, Place.LINE, INDOOR, 700e3, _IN, INDOOR_SWAP, spare="line_card"),
        _kind("rectifier", Cause.POWER, Place.SUPPLY, POWER, 250e3, _IN, INDOOR_SWAP, spare="rectifier"),
        _kind("power_distribution", Cause.POWER, Place.SITE, POWER, 800e3, _IN, Law.lognormal(2.0, 0.5)),
        _kind("mast", Cause.MAST, Place.SITE, OUTDOOR, 5e6, _OUT, Law.lognormal(24.0, 0.5)),
        _kind("software", Cause.SOFTWARE, Place.SITE, INDOOR, 60e3, _FAR, REMOTE_FIX),
    )
}  # fmt: skip
"""Default of each part kind. Common practice, no source; usual ranges of the mean time between failures:
outdoor radio 150-900, modem card 250-1 000, common part of an indoor unit 200-1 000, line card 300-1 500,
rectifier module 100-500, power distribution 400-2 000, antenna and feeder 1 000-10 000 thousand hours;
software or configuration fault of a site that touches traffic 40-80 thousand hours."""


def kinds_at(*places: Place) -> tuple[PartKind, ...]:
    """Kinds of part that stand at one of these places, in the order of the table."""
    return tuple(kind for kind in PART_KINDS.values() if kind.place in places)


def causes_at(*places: Place) -> Cause:
    """Cause flags of the kinds that stand at one of these places."""
    return reduce(or_, (kind.cause for kind in kinds_at(*places)), Cause.NONE)


def causes_shown_as(group: str) -> Cause:
    """Cause flags of the kinds that a reader sees in a group."""
    return reduce(or_, (kind.cause for kind in PART_KINDS.values() if kind.shown_as == group), Cause.NONE)
