"""Every column of the result tables: its unit, what it says, and what it says where only a bound is known.

The one place where columns are described is ``guide/columns.csv``, a row each; which table has which stands
in ``sim.counting.result_tables``.
"""

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from hopyears.sim.counting.result_tables import ENDS, TABLES


class Column(NamedTuple):
    """Unit (empty for text, counts, shares and truth values), meaning, and what stands for nothing seen."""

    unit: str
    meaning: str
    unseen: str = ""


NOTHING_SEEN = "0 where nothing was seen: the truth is at most the upper limit"
_ALL_SEEN = "1 where nothing was seen: the truth is at least the lower limit"
_UNSEEN = {"at most": NOTHING_SEEN, "at least": _ALL_SEEN}
"""Short words of the file, and what they stand for."""


def _read() -> Iterator[tuple[str, str, Column]]:
    path = Path(__file__).parents[1] / "guide" / "columns.csv"
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            unseen = _UNSEEN.get(row["unseen"], row["unseen"])
            yield row["table"], row["column"], Column(row["unit"], row["meaning"], unseen)


_ROWS = [*_read()]
COLUMNS = {name: words for table, name, words in _ROWS if not table}
IN_TABLE = {(table, name): words for table, name, words in _ROWS if table}
"""Words of a column that means something of its own in one table."""


def head_of(name: str) -> str:
    """Head of a column for readers, its unit as it is written: ``received level dBm``, ``total min/year``."""
    unit = COLUMNS[name].unit if name in COLUMNS else ""
    ending = "_" + unit.lower().replace("/year", "_per_year").replace("/", "_")
    if unit and name.endswith(ending):
        return f"{name.removesuffix(ending).replace('_', ' ')} {unit}"
    return name.replace("_", " ")


def described(table: str) -> Iterator[tuple[str, Column]]:
    """Every column of a table in its order, limits of intervals included, with its words.

    Raises
    ------
    KeyError
        If there is no such table.
    """
    interval = "interval at the confidence asked for" if table == "promise" else "95 % interval"
    for word in TABLES[table].columns.split():
        name = word.removesuffix("*")
        words = IN_TABLE.get((table, name)) or COLUMNS[name]
        yield name, words
        if name != word:
            for end, limit in zip(ENDS, ("lower", "upper"), strict=True):
                none = f"; not a number where {name} says so" if "not a number" in words.meaning else ""
                usual = Column(words.unit, f"{limit} limit of the {interval} of {name}{none}")
                yield f"{name}{end}", IN_TABLE.get((table, f"{name}{end}"), usual)
