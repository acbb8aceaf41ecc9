"""Names beside points of axes, where there is room for them."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.transforms import Bbox

from hopyears.models.basics.arrays import Floats
from hopyears.sim.report.labels import Box, place_labels
from hopyears.sim.report.scales import figure_of
from hopyears.sim.wording.palette import FAINT, INK

NAME_POINTS = 8.5
"""Size of the names [point]."""


def name_points(
    axes: Axes,
    names: Sequence[str],
    points: Floats,
    segments: Floats,
    *,
    italic: int = 0,
    colour: str = INK,
    most_covered: float = np.inf,
) -> None:
    """Put a name beside each point; one that stands apart gets a thin line, one without room is left out.

    Parameters
    ----------
    axes : Axes
        On a figure whose size is final; what is written on it already is kept clear.
    names : sequence of str
        The most important first, drawn as they are.
    points : float array, shape (n, 2)
    segments : float array, shape (m, 4)
        Lines to be kept clear: both ends.
    italic : int
        So many of the first names are slanted.
    colour : str
        Of the names.
    most_covered : float
        As ``place_labels``.
    """
    figure_of(axes).draw_without_rendering()
    reserved = [_box(text.get_window_extent().padded(4.0)) for text in axes.texts]
    to_pixel = axes.transData
    pixels = to_pixel.transform(points)
    drawn = [
        axes.text(
            0,
            0,
            name,
            parse_math=False,
            fontsize=NAME_POINTS,
            color=colour,
            zorder=6,
            style="italic" if i < italic else "normal",
        )
        for i, name in enumerate(names)
    ]
    boxes = [text.get_window_extent() for text in drawn]
    sizes = np.array([[box.width, box.height] for box in boxes]).reshape(-1, 2)
    found = place_labels(
        pixels,
        sizes,
        segments=to_pixel.transform(segments.reshape(-1, 2)).reshape(-1, 4),
        edges=_box(axes.get_window_extent()),
        reserved=reserved,
        most_covered=most_covered,
    )
    for text, place, pixel, size in zip(drawn, found, pixels, sizes, strict=True):
        if place is None:
            text.remove()
            continue
        corner = (place.x, place.y + 0.22 * size[1])  # from the box's bottom to the baseline
        text.set_position(tuple(to_pixel.inverted().transform(corner)))
        if place.led:
            near = (
                np.clip(pixel[0], place.x, place.x + size[0]),
                np.clip(pixel[1], place.y, place.y + size[1]),
            )
            path = to_pixel.inverted().transform([pixel, near])
            axes.plot(path[:, 0], path[:, 1], color=FAINT, linewidth=0.8, zorder=1)


def _box(extent: Bbox) -> Box:
    return float(extent.x0), float(extent.y0), float(extent.x1), float(extent.y1)
