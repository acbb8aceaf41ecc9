"""What is kept of a block of years: tables that add, so that blocks can be joined in any number.

Zero is the identity. Tallies of different runs, of other services or hops, and a block seen twice refuse
to add. Directions are 0 forward, 1 backward, 2 both; a service or hop is known by its number in the run.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Self

import numpy as np
from numpy.typing import NDArray

from hopyears.models.basics.arrays import Floats
from hopyears.models.judging.cause import cause_label
from hopyears.sim.counting import tally_rows as rows_of
from hopyears.sim.counting.keyed_table import Columns, KeyedTable
from hopyears.sim.counting.tally_rows import BOTH, Block, Rows, Ways
from hopyears.sim.hops.hop_history import HopHistory
from hopyears.sim.services.service_data import ServiceDemand, ServiceHistory

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow

TABLES: Mapping[str, Columns] = MappingProxyType(
    {
        "service_total": rows_of.TOTAL,
        "service_month": rows_of.SERVICE_MONTH,
        "service_cause": rows_of.CAUSE,
        "service_outage": rows_of.OUTAGE,
        "service_traffic": rows_of.TRAFFIC,
        "service_undelivered": rows_of.UNDELIVERED,
        "service_throughput": rows_of.THROUGHPUT,
        "hop_total": rows_of.TOTAL,
        "hop_month": rows_of.MONTH,
        "hop_cause": rows_of.CAUSE,
        "hop_capacity": rows_of.CAPACITY,
        "hop_state_cause": rows_of.STATE_CAUSE,
        "hop_level": rows_of.LEVEL,
    }
)
"""Columns of each table of a tally. Unavailable and severely errored seconds follow the ten-second rule
(a hop by itself is down while it carries nothing); ``down_s`` is time below the required rate without
that rule; ``service_outage`` holds outages of both ways together."""


MANY_ARRAYS = 1_000
"""Arrays of rows that are held apart while a block is counted, at most about so many a table."""


@dataclass(frozen=True)
class Run:
    """What tallies must have in common to be added.

    Attributes
    ----------
    id : str
        Digest of all that decides the numbers of the run.
    n_years : int
        Years in each block, at least 1.
    service_ids, hop_ids : tuple of str
        Names, in the order of their numbers.
    """

    id: str
    n_years: int
    service_ids: tuple[str, ...]
    hop_ids: tuple[str, ...]


@dataclass(frozen=True)
class Tally:
    """Sums over some blocks of one run.

    Attributes
    ----------
    run : Run or None
        None for zero only.
    blocks : tuple of int
        Numbers of the blocks in it, sorted.
    tables : mapping of str to KeyedTable
        As ``TABLES``.
    """

    run: Run | None = None
    blocks: tuple[int, ...] = ()
    tables: Mapping[str, KeyedTable] = field(
        default_factory=lambda: MappingProxyType({name: KeyedTable.empty(c) for name, c in TABLES.items()})
    )

    @property
    def years(self) -> int:
        """Years observed."""
        return 0 if self.run is None else self.run.n_years * len(self.blocks)

    def __add__(self, other: Self) -> Self:
        return self.joined((self, other))

    @classmethod
    def joined(cls, tallies: "Sequence[Self]") -> Self:
        """Sum of any number of tallies, in one join of their tables.

        Raises
        ------
        ValueError
            If they are of different runs, or two hold the same block.
        """
        held = [tally for tally in tallies if tally.run is not None]
        if len(held) < 2:
            return held[0] if held else cls()
        run = held[0].run
        blocks: set[int] = set()
        for tally in held:
            if tally.run != run:
                raise ValueError(f"run is {tally.run.id}; must be {run.id} as the tally it is added to")  # type: ignore[union-attr]
            twice = sorted(blocks.intersection(tally.blocks))
            if twice:
                raise ValueError(f"blocks holds {twice[0]}; must be blocks that are not in the tally yet")
            blocks.update(tally.blocks)
        tables = {
            name: KeyedTable.joined(columns, [tally.tables[name] for tally in held])
            for name, columns in TABLES.items()
        }
        return cls(run, tuple(sorted(blocks)), MappingProxyType(tables))

    def to_arrow(self) -> "dict[str, pyarrow.Table]":
        """Its tables in Arrow form, for storage."""
        return {name: table.to_arrow() for name, table in self.tables.items()}

    @classmethod
    def from_arrow(cls, run: Run, blocks: Sequence[int], tables: "Mapping[str, pyarrow.Table]") -> Self:
        """The tally whose tables ``to_arrow`` gave.

        Raises
        ------
        ValueError
            If a table lacks or has other columns.
        """
        missing = sorted(set(TABLES) - set(tables))
        if missing:
            raise ValueError(f"tables lacks {missing[0]}; must hold {', '.join(TABLES)}")
        read = {name: KeyedTable.from_arrow(columns, tables[name]) for name, columns in TABLES.items()}
        return cls(run, tuple(sorted(blocks)), MappingProxyType(read))

    def to_frame(self, name: str) -> "pd.DataFrame":
        """One table for reading: names for numbers, and a readable label beside a set of causes."""
        import pandas as pd

        table = self.tables[name]
        frame = pd.DataFrame({key: table.key(key) for key in table.columns.keys})
        frame = frame.join(pd.DataFrame({value: table.value(value) for value in table.columns.values}))
        if self.run is None:
            return frame
        kind = name.split("_")[0]
        ids = np.array(self.run.hop_ids if kind == "hop" else self.run.service_ids, dtype=object)
        frame.insert(0, kind, ids[frame.pop("entity").to_numpy()] if len(frame) else [])
        if "direction" in frame:
            frame["direction"] = np.array(["forward", "backward", "both"], dtype=object)[frame["direction"]]
        if "causes" in frame:
            labels = [cause_label(int(causes)) for causes in frame["causes"]]
            frame.insert(list(frame.columns).index("causes") + 1, "cause", labels)
        return frame


def add_tallies(tallies: Sequence[Tally]) -> Tally:
    """Sum of tallies in the order of their blocks, so that its bytes do not depend on who finished first."""
    return Tally.joined(sorted(tallies, key=lambda tally: tally.blocks))


def by_month(tally: Tally, table: str, value: str, *, direction: int = BOTH) -> Floats:
    """One value of every service (or hop) in every month of a tally.

    Parameters
    ----------
    tally : Tally
        Not zero.
    table : str
        ``service_month`` or ``hop_month``.
    value : str
        One of its value columns.
    direction : int
        0 forward, 1 backward, 2 both.

    Returns
    -------
    float array, shape (n_entities, n_blocks, n_years, 12)
        Blocks in the order of ``tally.blocks``; summed over its last axis the value of each year.

    Raises
    ------
    ValueError
        If the tally is zero.
    """
    if tally.run is None:
        raise ValueError("tally is zero; must hold at least one block")
    n_entities = len(tally.run.hop_ids if table.startswith("hop") else tally.run.service_ids)
    found = tally.tables[table]
    here = found.key("direction") == direction
    block = np.searchsorted(tally.blocks, found.key("block")[here])
    place = (found.key("entity")[here], block, found.key("year")[here], found.key("month")[here])
    out = np.zeros((n_entities, len(tally.blocks), tally.run.n_years, 12))
    out[place] = found.value(value)[here]
    return out


def tally_block(
    run: Run,
    block_number: int,
    *,
    services: Sequence[ServiceDemand],
    histories: Sequence[ServiceHistory],
    hops: Sequence[HopHistory],
    channels_at_level: Sequence[NDArray[np.int_] | None] | None = None,
    lost: Sequence[Ways] | None = None,
) -> Tally:
    """Tally of one block of years.

    Parameters
    ----------
    run : Run
        What the block is part of.
    block_number : int
        Number of the block, at least 0.
    services, histories : sequences, in the order of ``run.service_ids``
        What each service asks for and what it got.
    hops : sequence of HopHistory, in the order of ``run.hop_ids``
        Histories of the hops.
    channels_at_level : sequence of int arrays, shape (n_states, 2, n_levels), optional
        For each hop the channels at each modulation level, in each state and direction; level 0 is
        the channels that are down.
    lost : sequence, optional
        Lost seconds of each service, where they are at hand.

    Raises
    ------
    ValueError
        If the numbers of services or hops are not those of the run, or a history differs from the block in
        length.
    """
    block = Block(block_number, run.n_years)
    if not (len(services) == len(histories) == len(run.service_ids) and len(hops) == len(run.hop_ids)):
        found = f"{len(services)} services, {len(histories)} histories, {len(hops)} hops"
        raise ValueError(
            f"block has {found}; must have {len(run.service_ids)} services, {len(run.hop_ids)} hops"
        )
    rows: dict[str, Rows] = {name: [] for name in TABLES}
    for number, (service, history) in enumerate(zip(services, histories, strict=True)):
        if history.duration_s != block.duration_s:
            raise ValueError(f"duration_s is {history.duration_s}; must be {block.duration_s} as the block")
        ways = rows_of.three_ways(history, block.duration_s) if lost is None else lost[number]
        _add_outages(rows, "service", number, ways, block)
        rows["service_month"] += [
            rows_of.service_month_rows(number, direction, own, history, block)
            for direction, own in enumerate(ways)
        ]
        traffic = rows_of.traffic_rows(number, service, history)
        for name in ("service_traffic", "service_undelivered", "service_throughput"):
            rows[name] += traffic[TABLES[name]]
        _put_together(rows)
    for number, hop in enumerate(hops):
        _add_outages(rows, "hop", number, rows_of.three_ways(hop, block.duration_s), block)
        levels = None if channels_at_level is None else channels_at_level[number]
        state = rows_of.hop_rows(number, hop, block.duration_s, levels)
        for name in ("hop_capacity", "hop_state_cause", "hop_level"):
            rows[name] += state[TABLES[name]]
        _put_together(rows)
    tables = {name: _collect(columns, rows.pop(name)) for name, columns in TABLES.items()}
    return Tally(run, (block_number,), MappingProxyType(tables))


def _add_outages(rows: dict[str, Rows], kind: str, number: int, ways: Ways, block: Block) -> None:
    for direction, lost in enumerate(ways):
        rows[f"{kind}_total"].append(rows_of.total_row(number, direction, lost))
        if kind == "hop":
            rows["hop_month"].append(rows_of.month_rows(number, direction, lost, block))
        if direction == BOTH and kind == "service":
            rows["service_outage"].append(rows_of.outage_rows(number, lost, block))
    # A row for each piece of lost time: of the same causes they are one before others come beside them.
    causes = _collect(
        rows_of.CAUSE, [rows_of.cause_rows(number, direction, lost) for direction, lost in enumerate(ways)]
    )
    rows[f"{kind}_cause"].append((causes.keys, causes.values))


def _put_together(rows: dict[str, Rows]) -> None:
    """Make one array of many small ones, without rows of zeros."""
    for name, own in rows.items():
        if len(own) > MANY_ARRAYS:
            keys, values = (np.concatenate(column) for column in zip(*own, strict=True))
            some = values.any(axis=1)
            rows[name] = [(keys[some], values[some])]


def _collect(columns: Columns, rows: Rows) -> KeyedTable:
    if not rows:
        return KeyedTable.empty(columns)
    keys, values = zip(*rows, strict=True)
    return KeyedTable.collect(columns, np.concatenate(keys), np.concatenate(values))
