"""Places for names on a drawing: clear of each other and, as far as there is room, of the lines."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hopyears.models.basics.arrays import Floats

Box = tuple[float, float, float, float]
"""Left, bottom, right, top."""

DIRECTIONS = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))
"""From a point to the middle of the near side or corner of its label, in the order of preference."""

DISTANCES = (6.0, 16.0, 30.0)
"""Gaps between point and label that are tried [pixel]."""

SAMPLE_STEP = 3.0
"""Distance of the points by which a line is represented [pixel]."""

COVERED_POINT = 1.0
COVERED_LABEL = 1e4
OUTSIDE = 1e5
FARTHER = 2.0
"""Costs of a label on a point of a line, on another label, beyond the edge, and of each further distance."""


@dataclass(frozen=True)
class Place:
    """Where a label goes: its lower left corner [pixel], and whether a line must lead to its point."""

    x: float
    y: float
    led: bool


def place_labels(
    points: Floats,
    sizes: Floats,
    *,
    segments: Floats,
    edges: Box,
    reserved: Sequence[Box] = (),
    most_covered: float = np.inf,
) -> list[Place | None]:
    """Greedy places, in the order given; None where a label finds no room.

    Parameters
    ----------
    points : float array, shape (n, 2)
        What is named [pixel]. All points are kept clear.
    sizes : float array, shape (n, 2)
        Width and height of the labels [pixel].
    segments : float array, shape (m, 4)
        Lines to be kept clear: x and y of both ends [pixel].
    edges : (left, bottom, right, top)
        Where labels must stay within [pixel].
    reserved : sequence of (left, bottom, right, top)
        Where no label may stand [pixel].
    most_covered : float
        Points, of lines and of what is named, that a label may cover; without a limit it goes where it
        covers fewest, but never onto another label.
    """
    obstacles = np.concatenate([sampled(segments), points, points + 3.0, points - 3.0])
    taken: list[Box] = list(reserved)
    places: list[Place | None] = []
    for point, size in zip(points, sizes, strict=True):
        costs = [
            (_cost(box, obstacles, taken, edges) + FARTHER * far, far, box)
            for far, distance in enumerate(DISTANCES)
            for box in _boxes(point, size, distance)
        ]
        cost, far, box = min(costs, key=lambda each: each[0])
        if cost >= COVERED_LABEL or cost - FARTHER * far > most_covered * COVERED_POINT:
            places.append(None)
            continue
        taken.append(box)
        places.append(Place(box[0], box[1], far > 0))
    return places


def sampled(segments: Floats) -> Floats:
    """Points along line segments, about ``SAMPLE_STEP`` apart; shape (k, 2)."""
    points = [np.zeros((0, 2))]
    for x, y, to_x, to_y in segments:
        n = max(2, int(np.hypot(to_x - x, to_y - y) / SAMPLE_STEP) + 1)
        points.append(np.stack([np.linspace(x, to_x, n), np.linspace(y, to_y, n)], axis=1))
    return np.concatenate(points)


def _boxes(point: Floats, size: Floats, distance: float) -> list[Box]:
    boxes = []
    for right, up in DIRECTIONS:
        gap = distance / (1.4 if right and up else 1.0)
        x = point[0] + right * gap - size[0] * (1 - right) / 2
        y = point[1] + up * gap - size[1] * (1 - up) / 2
        boxes.append((float(x), float(y), float(x + size[0]), float(y + size[1])))
    return boxes


def _cost(box: Box, obstacles: Floats, taken: Sequence[Box], edges: Box) -> float:
    left, bottom, right, top = box
    x, y = obstacles[:, 0], obstacles[:, 1]
    covered = np.count_nonzero((x > left) & (x < right) & (y > bottom) & (y < top))
    overlaps = any(left < b[2] and b[0] < right and bottom < b[3] and b[1] < top for b in taken)
    outside = left < edges[0] or bottom < edges[1] or right > edges[2] or top > edges[3]
    return COVERED_POINT * float(covered) + COVERED_LABEL * overlaps + OUTSIDE * outside
