"""Colours of the report, and the groups into which causes are put for a reader.

The categories keep apart under the common kinds of colour blindness by lightness as well as by hue; they are
our own.
"""

from dataclasses import dataclass

from hopyears.models.equipment.part_kind import INDOOR, OUTDOOR, POWER, causes_shown_as
from hopyears.models.judging.cause import EQUIPMENT, Cause, cause_label

INK = "#22303a"
"""Text and axes."""

FAINT = "#b9bfc3"
"""Grid lines, and whatever has no figure of its own."""

ACCENT = "#8a3b2e"
"""The simulated figure where it stands beside another."""

SECOND = "#3d6f7d"
"""The other figure."""


@dataclass(frozen=True)
class CauseGroup:
    """Causes shown as one: ``label`` for the reader, ``colour`` and the flags that belong to it."""

    label: str
    colour: str
    members: Cause


LIGHTNING = CauseGroup("lightning", "#d74fab", Cause.LIGHTNING)
"""Lightning, whatever equipment it has damaged."""

SEVERAL = CauseGroup("several at once", "#23222e", Cause.NONE)
"""Seconds lost to causes of more than one group."""

OTHER = CauseGroup("no cause recorded", "#d9d9d9", Cause.NONE)
"""Seconds whose cause belongs to no group."""

CAUSE_GROUPS = (
    CauseGroup("rain", "#2c62b0", Cause.RAIN),
    CauseGroup("clear-air fading", "#61b8eb", Cause.MULTIPATH | Cause.DISPERSION),
    CauseGroup("cross-polar interference", "#12686e", Cause.CROSS_POLAR),
    CauseGroup(OUTDOOR, "#c8502a", causes_shown_as(OUTDOOR)),
    CauseGroup(INDOOR, "#e6b53f", causes_shown_as(INDOOR)),
    LIGHTNING,
    CauseGroup(POWER, "#7d1f35", causes_shown_as(POWER)),
    CauseGroup("switching", "#4fae8c", Cause.SWITCHING),
    CauseGroup("congestion", "#a5a51a", Cause.CONGESTION),
    CauseGroup("planned work", "#a583d0", Cause.MAINTENANCE),
    SEVERAL,
    OTHER,
)
"""Groups in the order in which bars stack them."""

_GROUP_OF = {
    cause_label(flag): group for flag in Cause if flag for group in CAUSE_GROUPS if flag & group.members
}


def cause_group(label: str) -> CauseGroup:
    """Group of a cause label; ``SEVERAL`` where the label joins causes of different groups.

    Equipment that lightning has damaged belongs to ``LIGHTNING``, the one cause behind it.

    Parameters
    ----------
    label : str
        As ``models.judging.cause.cause_label`` gives it, for instance ``power + rain``.
    """
    groups = {_GROUP_OF.get(name, OTHER) for name in label.split(" + ")}
    if LIGHTNING in groups:
        groups = {group for group in groups if not group.members & EQUIPMENT} | {LIGHTNING}
    return groups.pop() if len(groups) == 1 else SEVERAL
