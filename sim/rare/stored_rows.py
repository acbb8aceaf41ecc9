"""Rows of one table in all blocks of a run, read for some services at a time."""

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats, Ints
from hopyears.sim.counting.keyed_table import Columns, read_rows
from hopyears.sim.storage.run_folder import RunFolder

Keys = NDArray[np.int32]

MOST_ROWS = 700_000
"""Rows held at a time, of more than the services asked for (about 55 MiB)."""


class StoredRows:
    """Rows of a table of which the first key numbers services, by which its rows are sorted.

    Parameters
    ----------
    folder : RunFolder
    blocks : sequence of int
        Numbers of its blocks.
    name : str
        The table.
    columns : Columns
        Of the table.
    n_services : int
        Of the run.
    """

    def __init__(
        self, folder: RunFolder, blocks: Sequence[int], name: str, columns: Columns, n_services: int
    ) -> None:
        self._folder, self._blocks, self._name, self._columns = folder, blocks, name, columns
        self._held = np.zeros(n_services, dtype=np.bool_)
        self._first = np.zeros(n_services + 1, dtype=np.int64)
        self._keys, self._values = self._empty(0)

    def of(self, services: Sequence[int]) -> tuple[Ints, Keys, Floats]:
        """Rows of some services: place of each in ``services``, its keys after the place of its block, and
        its values; those of a service by block and then as they are sorted."""
        if not self._held[list(services)].all():
            self._read(services)
        if len(services) == 1:
            own = slice(self._first[services[0]], self._first[services[0] + 1])
            keys, values = self._keys[own], self._values[own]
            return np.zeros(len(keys), dtype=np.int64), keys, values
        rows = [np.arange(self._first[service], self._first[service + 1]) for service in services]
        place = np.repeat(np.arange(len(rows)), [row.size for row in rows])
        here = np.concatenate(rows)
        return place, self._keys[here], self._values[here]

    def columns(self, *names: str) -> Iterator[list[NDArray[Any]]]:
        """Some columns, part after part of every block."""
        for block in self._blocks:
            for part in self._folder.table_parts(block, self._name, columns=names):
                yield [part.column(name).to_numpy() for name in names]

    @cached_property
    def _counts(self) -> Ints:
        """Rows of each service."""
        found = np.zeros(self._held.size, dtype=np.int64)
        for (service,) in self.columns(self._columns.keys[0]):
            found += np.bincount(service, minlength=found.size)
        return found

    def _read(self, services: Sequence[int]) -> None:
        """Hold the rows of some services in place of others, and of the next ones as far as there is room."""
        held = np.zeros_like(self._held)
        held[list(services)] = True
        later = np.flatnonzero(~held[max(services) :]) + max(services)
        room = MOST_ROWS - self._counts[held].sum()
        held[later[np.cumsum(self._counts[later]) <= room]] = True
        self._keys, self._values = self._empty(0)  # not both at once
        self._first = np.concatenate([[0], np.cumsum(np.where(held, self._counts, 0))])
        self._keys, self._values = self._empty(int(self._first[-1]))
        place, wanted = self._first[:-1].copy(), np.flatnonzero(held)
        within = int(wanted[0]), int(wanted[-1])
        for number, block in enumerate(self._blocks):
            for part in self._folder.table_parts(block, self._name, within=within):
                keys, values = read_rows(self._columns, part, np.int32)
                here = held[keys[:, 0]]
                if not here.all():
                    keys, values = keys[here], values[here]
                counts = np.bincount(keys[:, 0], minlength=place.size)
                row = np.arange(len(keys)) + np.repeat(place - np.cumsum(counts) + counts, counts)
                self._keys[row, 0], self._keys[row, 1:], self._values[row] = number, keys, values
                place += counts
        self._held = held

    def _empty(self, n_rows: int) -> tuple[Keys, Floats]:
        columns = self._columns
        return np.empty((n_rows, 1 + len(columns.keys)), np.int32), np.empty((n_rows, len(columns.values)))
