"""Colours of the report, and the groups into which causes are put for a reader.

The categories keep apart under the common kinds of colour blindness by lightness as well as by hue, and
the ramp runs evenly from light to dark; both are our own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    CauseGroup("clear-air fading", "#a5c8e5", Cause.MULTIPATH | Cause.DISPERSION),
    CauseGroup("cross-polar interference", "#12686e", Cause.CROSS_POLAR),
    CauseGroup(OUTDOOR, "#c8502a", causes_shown_as(OUTDOOR)),
    CauseGroup(INDOOR, "#e6b53f", causes_shown_as(INDOOR)),
    LIGHTNING,
    CauseGroup(POWER, "#7d1f35", causes_shown_as(POWER)),
    CauseGroup("switching", "#4fae8c", Cause.SWITCHING),
    CauseGroup("congestion", "#e9e7b0", Cause.CONGESTION),
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


RAMP_ENDS = ((0.87, 0.020, 0.085), (0.62, 0.110, 0.065), (0.27, 0.095, -0.045))
"""Lightness and the two colour axes of OKLab at the light end, the middle and the dark end of the ramp."""


def oklab_to_rgb(colour: NDArray[np.float64]) -> NDArray[np.float64]:
    """Display colour (sRGB, 0 to 1) of OKLab colours, shape (..., 3); what no display shows is clipped.

    References
    ----------
    B. Ottosson, A perceptual color space for image processing (2020); sRGB transfer of IEC 61966-2-1:1999.
    Coefficients from memory, held by the tests to white, black and an even rise of lightness.
    """
    to_cones = np.array(
        [
            [1.0, 0.3963377774, 0.2158037573],
            [1.0, -0.1055613458, -0.0638541728],
            [1.0, -0.0894841775, -1.2914855480],
        ]
    )
    to_linear = np.array(
        [
            [4.0767416621, -3.3077115913, 0.2309699292],
            [-1.2684380046, 2.6097574011, -0.3413193965],
            [-0.0041960863, -0.7034186147, 1.7076147010],
        ]
    )
    linear = np.clip((colour @ to_cones.T) ** 3 @ to_linear.T, 0.0, 1.0)
    rgb: NDArray[np.float64] = np.where(
        linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055
    )
    return rgb


def ramp(share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Colours (sRGB, 0 to 1), shape (n, 3), of a scale from light (0) to dark (1), even in lightness."""
    ends = np.array(RAMP_ENDS)
    lightness = ends[0, 0] + np.asarray(share, dtype=np.float64) * (ends[-1, 0] - ends[0, 0])
    axes = [np.interp(-lightness, -ends[:, 0], ends[:, i]) for i in (1, 2)]
    return oklab_to_rgb(np.stack([lightness, *axes], axis=-1))


def steps(n: int) -> Sequence[tuple[float, float, float]]:
    """Colours of ``n`` ordered steps, from dark (worst) to light (best); n is at least 1."""
    at = np.linspace(1.0, 0.0, n) if n > 1 else np.zeros(1)
    return [(float(red), float(green), float(blue)) for red, green, blue in ramp(at)]
