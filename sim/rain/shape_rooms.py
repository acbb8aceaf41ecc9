"""Where the shapes of a block are put as they are drawn: once, in arrays that grow if they are too short."""

from math import exp
from typing import Any

import numpy as np

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.sim.rain.storm_loops import CELL_REACH, SCORES, shapes_near

_WEAK_SCORE = -2.3
_CELLS, _STORMS, _WIDE = 2**20, 2**17, 2**18


class ShapeRooms:
    """Rows of shapes, of some systems after others; room that is not used takes no memory.

    Parameters
    ----------
    room : int or None
        For so many shapes of each kind at first, at least 1; unless given, for some that few blocks pass.
    """

    def __init__(self, room: int | None = None) -> None:
        cells, storms, wide = (room or most for most in (_CELLS, _STORMS, _WIDE))
        self._rows: tuple[Any, ...] = (
            np.empty((cells, 8)),
            np.empty((storms, 7)),
            np.empty(storms, np.int64),
            np.empty((wide, 10)),
            np.empty(wide, np.int64),
        )
        self._counts = np.zeros(5, np.int64)

    def draw(self, systems: Floats, *asked: Any) -> None:
        """Add the shapes of some systems: all that ``shapes_near`` is asked for, but for ``most_of``."""
        self._counts[0], most = 0, most_of(systems, *asked)
        while not shapes_near(systems, *asked, most, self._rows, self._counts):
            self._rows = tuple(_twice(rows) for rows in self._rows)
        self._counts[4] += len(systems)

    @property
    def filled(self) -> tuple[Floats, Floats, Ints, Floats, Ints]:
        """Cells, storms, the system of each, wide shapes, the system of each; see ``shapes_near``."""
        _, n, m, w, _ = self._counts.tolist()
        cells, storms, storm_system, wide, wide_system = self._rows
        return cells[:n], storms[:m], storm_system[:m], wide[:w], wide_system[:w]


def most_of(
    systems: Floats,
    _keys: Any,
    ceilings: Floats,
    days: Floats,
    _region: Floats,
    laws: Floats,
    quantiles: Floats,
    _weather: Floats,
    model: Floats,
    size: Floats,
) -> tuple[Floats, Floats, float, float]:
    """Limits of what ``shapes_near`` is asked for.

    By month the most that any node has of each of the four numbers, and how far cells rain [km], but for the
    weakest one in a hundred; most that a system bears of one kind, and a storm of cells, on average.
    """
    weak = quantiles[:, :, 0, int((_WEAK_SCORE - SCORES[0]) / (SCORES[1] - SCORES[0]))].min(axis=1)
    # Of the library that the loops call, to the last bit: it decides where a storm is looked at.
    widest = np.array([size[0] * exp(-size[1] * each) for each in weak.tolist()])
    most_storms = (ceilings[:, 1] * systems[:, 5] * (1.0 + days[:, 0])).max(initial=0.0)
    return (
        laws.max(axis=1),
        CELL_REACH * model[11] * np.clip(widest, size[2], size[3]),
        float(max(most_storms, (ceilings[:, 2] * systems[:, 5]).max(initial=0.0))),
        float(ceilings[:, 3].max(initial=0.0)),
    )


def _twice(rows: Any) -> Any:
    more = np.empty((2 * len(rows), *rows.shape[1:]), rows.dtype)
    more[: len(rows)] = rows
    return more
