"""A table that adds: rows known by whole-number keys, sums and maxima as values."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import ArrayLike

from hopyears.models.basics.arrays import Bools, Floats, Ints

if TYPE_CHECKING:
    import pyarrow


@dataclass(frozen=True)
class Columns:
    """Names of the columns of a table: keys, values that add, and values of which the largest is kept."""

    keys: tuple[str, ...]
    sums: tuple[str, ...]
    maxima: tuple[str, ...] = ()

    @property
    def values(self) -> tuple[str, ...]:
        """Names of all values, the sums first."""
        return self.sums + self.maxima


@dataclass(frozen=True)
class KeyedTable:
    """Rows sorted by their keys, each key once; a row that is absent stands for zeros.

    Attributes
    ----------
    columns : Columns
        What each column is.
    keys : int array, shape (n_rows, n_keys)
        Sorted, all different.
    values : float array, shape (n_rows, n_values)
        At least 0 where the column is a maximum.
    """

    columns: Columns
    keys: Ints
    values: Floats

    def __post_init__(self) -> None:
        self.keys.setflags(write=False)
        self.values.setflags(write=False)

    @classmethod
    def empty(cls, columns: Columns) -> Self:
        """The table without rows: added to another it changes nothing."""
        return cls(columns, np.zeros((0, len(columns.keys)), np.int64), np.zeros((0, len(columns.values))))

    @classmethod
    def collect(cls, columns: Columns, keys: ArrayLike, values: ArrayLike) -> Self:
        """Table of rows in any order, those of one key joined; rows of zeros alone are left out.

        Raises
        ------
        ValueError
            If the numbers of rows or columns do not fit.
        """
        keys = np.asarray(keys, dtype=np.int64).reshape(-1, len(columns.keys))
        values = np.asarray(values, dtype=np.float64).reshape(-1, len(columns.values))
        if len(keys) != len(values):
            raise ValueError(f"values has {len(values)} rows; must have {len(keys)} as keys")
        some = values.any(axis=1)
        if not some.all():
            keys, values = keys[some], values[some]
        # A stable order: rows of one key are always added first to last, so the bytes do not vary.
        order = np.lexsort(keys.T[::-1])
        keys = np.ascontiguousarray(keys[order])  # one after the other: not both are there twice at once
        values = np.ascontiguousarray(values[order])
        other = _rises(keys)
        if other.all():
            return cls(columns, keys, values)
        first = np.flatnonzero(np.append(True, other))
        n_sums = len(columns.sums)
        sums = np.add.reduceat(values[:, :n_sums], first, axis=0)
        maxima = np.maximum.reduceat(values[:, n_sums:], first, axis=0)
        return cls(columns, keys[first], np.concatenate([sums, maxima], axis=1))

    @classmethod
    def joined(cls, columns: Columns, tables: "Sequence[KeyedTable]") -> Self:
        """Sum of any number of tables, values of one key added in their order.

        Raises
        ------
        ValueError
            If a table has other columns.
        """
        return cls.drained(columns, list(tables))

    @classmethod
    def drained(cls, columns: Columns, tables: "list[KeyedTable]") -> Self:
        """The same of tables that are taken out of their list one by one, so that few are there twice."""
        for table in tables:
            if table.columns != columns:
                raise ValueError(f"columns is {table.columns}; must be {columns} as the table it is added to")
        n_rows, end = sum(len(table.keys) for table in tables), 0
        keys = np.empty((n_rows, len(columns.keys)), dtype=np.int64)
        values = np.empty((n_rows, len(columns.values)))
        while tables:
            table = tables.pop(0)
            begin, end = end, end + len(table.keys)
            keys[begin:end], values[begin:end] = table.keys, table.values
        return cls.collect(columns, keys, values)

    def __add__(self, other: Self) -> Self:
        return self.joined(self.columns, (self, other))

    def scaled(self, factor: float) -> Self:
        """The table with every value so many times as large."""
        return type(self)(self.columns, self.keys.copy(), self.values * factor)

    def key(self, name: str) -> Ints:
        """One column of keys."""
        return self.keys[:, self.columns.keys.index(name)]

    def value(self, name: str) -> Floats:
        """One column of values."""
        return self.values[:, self.columns.values.index(name)]

    @cached_property
    def _first_key(self) -> Ints:
        return np.ascontiguousarray(self.keys[:, 0])

    def of(self, number: int) -> Self:
        """Rows of one number of the first key."""
        begin, end = np.searchsorted(self._first_key, [number, number + 1])
        return type(self)(self.columns, self.keys[begin:end], self.values[begin:end])

    def spread(self, name: str, shape: tuple[int, ...], **fixed: int) -> Floats:
        """One value as an array over the keys that are not fixed, zero where there is no row.

        Parameters
        ----------
        name : str
            Value column, summed over rows that fall together.
        shape : tuple of int
            Length of each key that is not fixed, in the order of the columns.
        **fixed : int
            Keys that must have a given value.
        """
        here = np.ones(self.keys.shape[0], dtype=bool)
        for key, wanted in fixed.items():
            here &= self.key(key) == wanted
        free = [k for k, key in enumerate(self.columns.keys) if key not in fixed]
        out = np.zeros(shape)
        np.add.at(out, tuple(self.keys[here][:, k] for k in free), self.value(name)[here])
        return out

    def to_arrow(self) -> "pyarrow.Table":
        """The table in Arrow form: whole-number keys, then values."""
        import pyarrow as pa

        data: dict[str, Any] = {name: pa.array(self.key(name)) for name in self.columns.keys}
        data |= {name: pa.array(self.value(name)) for name in self.columns.values}
        return pa.table(data)

    @classmethod
    def from_arrow(cls, columns: Columns, table: "pyarrow.Table") -> Self:
        """The table that ``to_arrow`` gave.

        Raises
        ------
        ValueError
            If the columns are not those expected.
        """
        if tuple(table.column_names) != columns.keys + columns.values:
            raise ValueError(
                f"columns is {table.column_names}; must be {list(columns.keys + columns.values)}"
            )
        keys, values = read_rows(columns, table, np.int64)
        if _rises(keys).all():
            return cls(columns, keys, values)
        return cls.collect(columns, keys, values)


def read_rows(columns: Columns, table: "pyarrow.Table", whole: type[np.integer[Any]]) -> tuple[Any, Floats]:
    """Keys, of a type of whole numbers, and values of a table of ``to_arrow``, row by row."""
    keys = np.empty((table.num_rows, len(columns.keys)), whole)
    values = np.empty((table.num_rows, len(columns.values)))
    for names, rows in ((columns.keys, keys), (columns.values, values)):
        for place, name in enumerate(names):
            rows[:, place] = table.column(name).to_numpy()
    return keys, values


def _rises(keys: Ints) -> Bools:
    """Whether each row of keys but the first comes after the one before it, and is not the same."""
    later, same = np.zeros(max(len(keys) - 1, 0), bool), np.ones(max(len(keys) - 1, 0), bool)
    for column in keys.T:
        later |= same & (column[1:] > column[:-1])
        same &= column[1:] == column[:-1]
    return later
