"""Rows of months of many draws, kept column by column in few bytes until the table is made of them."""

from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.sim.counting.keyed_table import Columns
from hopyears.sim.rare.losses import MONTH_FIGURES

MONTHS = Columns(("entity", "stratum", "draw", "side", "year", "month"), (*MONTH_FIGURES, "weight"))
"""What a service loses in a draw of a stratum by calendar month, both ways together, not for a year but as it
came; months without have no row. Of a rare failure put in, ``side`` 0 is the history without it and 1 that
with it, in years in which they differ. ``weight`` is what a year counts for in the figure of its draw, a
year."""

_BITS = dict(zip(MONTHS.keys, (15, 4, 20, 1, 19, 4), strict=True))
"""Bits of each key in the one number that rows are sorted by."""

_TYPES = dict(zip(MONTHS.keys, ("int16", "int8", "int32", "int8", "int32", "int8"), strict=True))


class MonthRows:
    """Rows of ``MONTHS``, each key once, added in any order."""

    def __init__(self) -> None:
        self._place: list[Ints] = []
        self._columns: list[list[Floats]] = [[] for _ in MONTHS.values]

    def add(self, months: Floats, stratum: int, draw: int, weight: float) -> None:
        """Rows of one draw, of figures of shape (n_sides, n_services, n_years, 12, n_month_figures)."""
        at = side, entity, year, month = np.nonzero(months.any(axis=4))
        one = np.ones(entity.size, dtype=np.int64)
        place = np.zeros_like(one)
        for name, key in zip(
            MONTHS.keys, (entity, stratum * one, draw * one, side, year, month), strict=True
        ):
            if np.any(key >> _BITS[name]):
                raise ValueError(f"{name} is {key.max()}; must be below {1 << _BITS[name]}")
            place = place << _BITS[name] | key
        self._place.append(place)
        for column, values in zip(self._columns, (*np.moveaxis(months[at], 1, 0), weight), strict=True):
            # Most draws have no planned work at all, and one weight: that takes no room.
            same = np.ndim(values) == 0 or not values.any()
            column.append(np.broadcast_to(np.ravel(values)[:1], place.shape) if same else values.copy())

    def table(self) -> pa.Table:
        """All of them, sorted by their keys; no row is kept here."""
        place = _joined(self._place, np.int64)
        order = np.argsort(place, kind="stable")
        place, data, shift = place[order], {}, sum(_BITS.values())
        for name, bits in _BITS.items():
            shift -= bits
            data[name] = pa.array((place >> shift & ((1 << bits) - 1)).astype(_TYPES[name]))
        del place
        for name, column in zip(MONTHS.values, self._columns, strict=True):
            data[name] = pa.array(_joined(column, np.float64)[order])
        return pa.table(data)


def _joined(parts: list[NDArray[Any]], kind: type) -> NDArray[Any]:
    """The parts one after another; none is left in the list."""
    found = np.concatenate([np.zeros(0, kind), *parts])
    parts.clear()
    return found
