"""Numbered uniform draws of many named things, taken one at a time.

Draw number ``count`` for a purpose of a thing is always the same number, whatever else happens in the
block: a plan that changes one part moves no other draw.
"""

from collections.abc import Iterable, Sequence
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.sim.streams import Streams, keyed_uniforms

_STRIDE = 1 << 32
_KEPT = 3
_LEAST_ROW = 16


class Purpose(IntEnum):
    """What a draw decides; each purpose of a thing has its own numbered draws."""

    LIFE = 0
    LATENT = 1
    AFFECTING = 2
    NOTICE = 3
    MEND = 4
    RESUPPLY = 5
    INFANT = 6
    FOUND = 7
    SWITCH = 8
    MANUAL = 9
    PHASE = 10
    START = 11
    DURATION = 12
    GENERATOR = 13
    DAMAGE = 14
    STRIKE = 15
    WINDOW = 16
    WINDOW_LENGTH = 17
    SUN = 18
    ERROR = 19
    ERROR_PART = 20
    ERROR_LENGTH = 21


_PART_PURPOSES = 8


class Draws:
    """Uniform draws of a list of things, those of the busy ones made in one go.

    Parameters
    ----------
    streams : Streams
        Streams of the block.
    names : sequence of tuples
        Name of each thing.
    """

    def __init__(self, streams: Streams, names: Sequence[tuple[str | int, ...]]) -> None:
        self.keys = streams.keys(names) if names else np.zeros(0, dtype=np.uint64)
        self._place: dict[int, int] = {}
        self._kept: list[float] = []
        self._grown: dict[tuple[int, int], list[float]] = {}

    def keep(self, things: Iterable[int]) -> None:
        """Make the first draws of these things now, together, because they will be asked for."""
        fresh = [thing for thing in things if thing not in self._place]
        counters = _counters(np.arange(_PART_PURPOSES)[:, None], np.arange(_KEPT)).ravel()
        first, size = len(self._kept), len(counters)
        self._place.update(zip(fresh, range(first, first + size * len(fresh), size), strict=True))
        self._kept += keyed_uniforms(self.keys[fresh], counters).ravel().tolist()

    def uniform(self, thing: int, purpose: Purpose, count: int) -> float:
        """Draw number ``count`` of a thing for a purpose, in (0, 1)."""
        if purpose < _PART_PURPOSES and count < _KEPT and thing in self._place:
            return self._kept[self._place[thing] + purpose * _KEPT + count]
        row = self._grown.get((thing, purpose), [])
        if count >= len(row):
            numbers = _counters(purpose, np.arange(max(_LEAST_ROW, 2 * count)))
            row = self._grown[thing, purpose] = self._of(thing, numbers).tolist()
        return row[count]

    def numbered(self, thing: int, purpose: Purpose, counts: Ints) -> Floats:
        """Draws of these numbers (below 2^32) of a thing for a purpose, shape (n,)."""
        return self._of(thing, _counters(purpose, counts))

    def first(self, purpose: Purpose) -> Floats:
        """First draw of every thing for a purpose, shape (n,)."""
        return self.matrix(purpose, 1)[:, 0]

    def matrix(self, purpose: Purpose, n_draws: int, things: Ints | None = None) -> Floats:
        """First ``n_draws`` draws of every thing (or of some) for a purpose, shape (n, n_draws)."""
        keys = self.keys if things is None else self.keys[things]
        return np.asarray(keyed_uniforms(keys, _counters(purpose, np.arange(n_draws))))

    def _of(self, thing: int, counters: NDArray[np.uint64]) -> Floats:
        return np.asarray(keyed_uniforms(self.keys[thing : thing + 1], counters)[0])


def _counters(purpose: int | Ints, counts: Ints) -> NDArray[np.uint64]:
    """Numbers in a thing's stream of these draws for a purpose; shapes broadcast."""
    return np.asarray(purpose * _STRIDE + counts, dtype=np.uint64)
