"""The kinds of part that fail, with their defaults in one table.

All numbers are common practice, no source, unless said otherwise: no published table of microwave
equipment failure rates could be read. Field values are often a half to a third of calculated ones.
"""

from dataclasses import dataclass
from enum import IntEnum

from hopyears.models.equipment.lifetimes import Law
from hopyears.models.judging.cause import Cause


class Repair(IntEnum):
    """Who mends a part: a crew indoors, a crew that climbs, or somebody at a distance."""

    INDOOR = 0
    OUTDOOR = 1
    REMOTE = 2


@dataclass(frozen=True)
class PartKind:
    """A kind of part: how it fails, who mends it, and what that needs.

    Parameters
    ----------
    key : str
        Name, as in the network file.
    cause : Cause
        Flag that a failure of the part gives to lost traffic.
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
    """

    key: str
    cause: Cause
    life: Law
    repair: Repair
    mend: Law
    latent_share: float = 0.0
    affecting_share: float = 1.0
    spare: str | None = None
    outdoor: bool = False
    infant_share: float = 0.0
    infant_mean_h: float = 1000.0

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

UNITS_PER_SPARE = 25
"""Installed units for each spare in a depot (range 20-30). Common practice, no source."""


def _kind(
    key: str, cause: Cause, mtbf_h: float, repair: Repair, mend: Law, **more: float | str | bool
) -> PartKind:
    return PartKind(key, cause, Law.exponential(mtbf_h), repair, mend, **more)  # type: ignore[arg-type]


_IN, _OUT, _FAR = Repair.INDOOR, Repair.OUTDOOR, Repair.REMOTE

PART_KINDS: dict[str, PartKind] = {
    kind.key: kind
    for kind in (
        _kind("antenna", Cause.ANTENNA, 3e6, _OUT, Law.lognormal(4.0, 0.5), spare="antenna"),
        _kind("coupler", Cause.COUPLER, 1e7, _OUT, OUTDOOR_SWAP, spare="coupler"),
        _kind(
            "outdoor_radio", Cause.OUTDOOR_RADIO, 350e3, _OUT, OUTDOOR_SWAP,
            latent_share=0.1, spare="outdoor_radio", outdoor=True,
        ),
        _kind("waveguide", Cause.WAVEGUIDE, 1.5e6, _OUT, OUTDOOR_SWAP, spare="waveguide"),
        _kind("cable", Cause.CABLE, 1.5e6, _OUT, OUTDOOR_SWAP, spare="cable"),
        _kind("modem_card", Cause.MODEM_CARD, 500e3, _IN, INDOOR_SWAP, latent_share=0.1, spare="modem_card"),
        _kind(
            "common_unit", Cause.COMMON_UNIT, 400e3, _IN, INDOOR_SWAP,
            affecting_share=0.2, spare="common_unit",
        ),
        _kind(
            "controller", Cause.COMMON_UNIT, 500e3, _IN, INDOOR_SWAP,
            affecting_share=0.2, spare="common_unit",
        ),
        _kind("chassis", Cause.COMMON_UNIT, 2e6, _IN, Law.lognormal(2.0, 0.5), spare="common_unit"),
        _kind("fan", Cause.COMMON_UNIT, 200e3, _IN, INDOOR_SWAP, affecting_share=0.1, spare="common_unit"),
        _kind("line_card", Cause.LINE_CARD, 700e3, _IN, INDOOR_SWAP, spare="line_card"),
        _kind("rectifier", Cause.POWER, 250e3, _IN, INDOOR_SWAP, spare="rectifier"),
        _kind("power_distribution", Cause.POWER, 800e3, _IN, Law.lognormal(2.0, 0.5)),
        _kind("mast", Cause.MAST, 5e6, _OUT, Law.lognormal(24.0, 0.5)),
        _kind("software", Cause.SOFTWARE, 60e3, _FAR, REMOTE_FIX),
    )
}  # fmt: skip
"""Default of each part kind. Common practice, no source; usual ranges of the mean time between failures:
outdoor radio 150-900, modem card 250-1 000, common unit 200-1 000, line card 300-1 500, rectifier module
100-500, power distribution 400-2 000, antenna and feeder 1 000-10 000 thousand hours; software or
configuration fault of a site that touches traffic 40-80 thousand hours."""


def stock_for_units(n_units: int) -> int:
    """Spares that a depot keeps for ``n_units`` installed units: one per 25, at least one if any."""
    return -(-n_units // UNITS_PER_SPARE)
