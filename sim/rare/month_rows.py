"""Rows of months of many draws, compressed until they are stored: no block has its whole table at once."""

from collections.abc import Iterator, Sequence
from itertools import chain

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.sim.counting.keyed_table import Columns
from hopyears.sim.rare.strata import MONTH_FIGURES
from hopyears.sim.storage.table_files import COMPRESSION, PART_ROWS

MONTHS = Columns(("entity", "stratum", "draw", "side", "year", "month"), (*MONTH_FIGURES, "weight"))
"""What a service loses in a draw of a stratum by calendar month, both ways together, not for a year but as it
came; months without have no row. Of a rare failure put in, ``side`` 0 is the history without it and 1 that
with it, in years in which they differ. ``weight`` is what a year counts for in the figure of its draw, a
year."""

_BITS = dict(zip(MONTHS.keys, (31, 4, 16, 1, 7, 4), strict=True))
"""Bits of each key in the one number that rows are sorted by."""

_SCHEMA = pa.schema(
    [
        *zip(MONTHS.keys, (pa.int32(), pa.int8(), pa.int32(), pa.int8(), pa.int8(), pa.int8()), strict=True),
        *((name, pa.float64()) for name in MONTHS.values),
    ]
)

_TOGETHER = 16
"""Services whose rows are sorted together."""


class MonthRows:
    """Rows of ``MONTHS``, each key once, added in any order."""

    def __init__(self) -> None:
        self._parts: dict[int, bytearray] = {}

    def add(self, months: Floats, stratum: int, draw: int, weight: float) -> None:
        """Rows of one draw, of figures of shape (n_sides, n_services, n_years, 12, n_month_figures)."""
        for first in range(0, months.shape[1], _TOGETHER):
            some = months[:, first : first + _TOGETHER]
            at = side, entity, year, month = np.nonzero(some.any(axis=4))
            if not entity.size:
                continue
            one = np.ones(entity.size, dtype=np.int64)
            keys = (entity + first, stratum * one, draw * one, side, year, month)
            values = np.column_stack([some[at], weight * one])
            rows = np.ascontiguousarray(np.vstack([_place(keys), values.T.view(np.int64)]))
            packed = pa.compress(rows, COMPRESSION, asbytes=True)
            sizes = np.array([entity.size, len(packed)], dtype=np.int64)
            self._parts.setdefault(first, bytearray()).extend(sizes.tobytes() + packed)

    def stored(self) -> bytes:
        """All of them as a Parquet file, sorted by their keys; no row is kept here."""
        sink = pa.BufferOutputStream()
        with pq.ParquetWriter(sink, _SCHEMA, compression=COMPRESSION) as writer:
            for first in sorted(self._parts):
                rows = np.concatenate(list(_read(self._parts.pop(first))), axis=1)
                order = np.argsort(rows[0], kind="stable")
                # Column by column: not all of them are there as whole numbers and sorted at once.
                columns = chain(_keys(rows[0, order]), (row[order].view(np.float64) for row in rows[1:]))
                arrays = [pa.array(column, kind) for column, kind in zip(columns, _SCHEMA.types, strict=True)]
                writer.write_table(pa.Table.from_arrays(arrays, schema=_SCHEMA), PART_ROWS)
        return bytes(sink.getvalue())


def _read(part: bytearray) -> Iterator[Ints]:
    """A row of places and one of each value, as whole numbers, of each draw."""
    at = 0
    while at < len(part):
        n, packed = np.frombuffer(part, np.int64, 2, at).tolist()
        size = 8 * (1 + len(MONTHS.values)) * n
        found = pa.decompress(memoryview(part)[at + 16 : at + 16 + packed], size, COMPRESSION)
        yield np.frombuffer(found, dtype=np.int64).reshape(1 + len(MONTHS.values), n)
        at += 16 + packed


def _place(keys: Sequence[Ints]) -> Ints:
    """One number of all keys, which rises as they do."""
    place = np.zeros_like(keys[0])
    for (name, bits), key in zip(_BITS.items(), keys, strict=True):
        if np.any(key >> bits):
            raise ValueError(f"{name} is {key.max()}; must be below {1 << bits}")
        place = place << bits | key
    return place


def _keys(place: Ints) -> Iterator[Ints]:
    """The keys of each place."""
    later = sum(_BITS.values())
    for bits in _BITS.values():
        later -= bits
        yield place >> later & ((1 << bits) - 1)
