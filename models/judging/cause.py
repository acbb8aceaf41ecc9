"""Why traffic is lost: one bit a cause, so that several causes at once are one number."""

from enum import IntFlag
from functools import lru_cache


class Cause(IntFlag):
    """Cause flags of a hop state or of a lost second; ``|`` joins them, 0 is no cause."""

    NONE = 0
    RAIN = 1 << 0
    MULTIPATH = 1 << 1
    DISPERSION = 1 << 2
    CROSS_POLAR = 1 << 3
    ANTENNA = 1 << 4
    COUPLER = 1 << 5
    OUTDOOR_RADIO = 1 << 6
    WAVEGUIDE = 1 << 7
    CABLE = 1 << 8
    MODEM_CARD = 1 << 9
    COMMON_UNIT = 1 << 10
    LINE_CARD = 1 << 11
    POWER = 1 << 12
    MAST = 1 << 13
    SOFTWARE = 1 << 14
    SWITCHING = 1 << 15
    CONGESTION = 1 << 16
    MAINTENANCE = 1 << 17
    LIGHTNING = 1 << 18


FADING = Cause.RAIN | Cause.MULTIPATH | Cause.DISPERSION | Cause.CROSS_POLAR
"""Everything that the atmosphere does to a beam."""

EQUIPMENT = (
    Cause.ANTENNA
    | Cause.COUPLER
    | Cause.OUTDOOR_RADIO
    | Cause.WAVEGUIDE
    | Cause.CABLE
    | Cause.MODEM_CARD
    | Cause.COMMON_UNIT
    | Cause.LINE_CARD
    | Cause.MAST
    | Cause.SOFTWARE
    | Cause.LIGHTNING
)
"""Everything that breaks and is mended."""


_NAMES = {Cause.MAINTENANCE: "planned work"}
"""Causes that people call by another name than their flag's."""


@lru_cache(maxsize=65536)
def cause_label(causes: int) -> str:
    """Readable name of a set of causes: ``rain``, ``outdoor radio``, or ``power + rain`` for several."""
    names = [_NAMES.get(flag, (flag.name or "").lower().replace("_", " ")) for flag in Cause if flag & causes]
    return " + ".join(sorted(names)) if names else "none"
