"""Cells of a table by the field that they hold; what cannot be read is noted with its row and column."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol, TypeVar

from hopyears.models.basics.faults import suggestion
from hopyears.sim.importing.cells import angle, modulations, polarisations, protection, scheme
from hopyears.sim.importing.headers import amount
from hopyears.sim.importing.mapping import ColumnUse, TableUse
from hopyears.sim.importing.table_file import Table
from hopyears.sim.importing.vocabulary import MEANINGS, Meaning
from hopyears.sim.inputs.input_errors import shown

T = TypeVar("T")


class Sites(Protocol):
    """Sites by what tables call them."""

    def find(self, *words: str) -> str | None:
        """Id of the site that one of the words names."""

    def names(self) -> list[str]:
        """What readers call them."""


NOTHING = ("", "n/a", "na", "nan", "none", "null", "nil", "tbd", "unknown")
"""Cells that say that there is nothing to say."""


@dataclass
class Findings:
    """What an import has to say: guesses, each with the rows that it was made for, and what was left out."""

    guesses: dict[str, list[str]] = field(default_factory=dict)
    unread: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)

    def guess(self, what: str, where: str) -> None:
        """Note a guess."""
        self.guesses.setdefault(what, []).append(where)


@dataclass(frozen=True)
class RowReader:
    """Cells of a table as values.

    Attributes
    ----------
    table : Table
    uses : mapping
        Field to its column.
    how : TableUse
    meanings : mapping
        What each field may be.
    findings : Findings
        Takes what cannot be read.
    """

    table: Table
    uses: Mapping[str, ColumnUse]
    how: TableUse
    meanings: Mapping[str, Meaning]
    findings: Findings

    def where(self, row: int) -> str:
        """How messages name a row."""
        return f"{self.table.file} row {self.table.numbers[row]}"

    def text(self, row: int, field: str) -> str:
        """Cell of a field; empty where the table has none."""
        use = self.uses.get(field)
        return "" if use is None else self.table.rows[row][self.table.columns.index(use.column)]

    def number(self, row: int, field: str) -> float | None:
        """Number of a field in the unit that it is kept in; None where none is read."""
        meaning = self.meanings[field if field in self.meanings else field.rpartition("_")[0]]
        use = self.uses.get(field)
        if use is None:
            return None

        def read(cell: str) -> float | None:
            value = amount(cell, use.unit, meaning.unit, self.how.decimal)
            return value if value is not None and meaning.low <= value <= meaning.high else None

        unit = f" {meaning.unit}" if meaning.unit else ""
        return self._read(row, field, read, f"a number from {meaning.low:g} to {meaning.high:g}{unit}")

    def angle(self, row: int, field: str) -> float | None:
        """Degrees of a field."""
        limit = 90.0 if field.startswith("latitude") else 180.0

        def read(cell: str) -> float | None:
            value = angle(cell, o_is=self.how.o_means)
            if value is not None and "o" in cell.lower():
                side = "east" if self.how.o_means == "E" else "west"
                self.findings.guess(f"O behind a longitude is {side} (o_means)", self.where(row))
            return value if value is not None and abs(value) <= limit else None

        return self._read(row, field, read, f"degrees from {-limit:g} to {limit:g}")

    def modulations(self, row: int, field: str) -> list[int] | None:
        """Constellations that a cell names, lowest first."""
        return self._read(row, field, lambda cell: modulations(cell) or None, "a modulation as 256QAM")

    def polarisation(self, row: int) -> str:
        """H, V or HV; empty where the table does not say."""
        return self._read(row, "polarisation", lambda cell: polarisations(cell) or None, "H or V") or ""

    def scheme(self, row: int) -> tuple[str, str]:
        """Scheme and what was guessed for it; both empty where the table does not say."""
        found = self._read(
            row, "scheme", lambda cell: read if (read := scheme(cell))[0] else None, "a scheme as 1+1 HSB"
        )
        return found or ("", "")

    def protection(self, row: int) -> tuple[str, str]:
        """Protection of a service and what was guessed for it; both empty where the table does not say."""
        found = self._read(
            row,
            "protection",
            lambda cell: read if (read := protection(cell))[0] else None,
            "none, protected or rerouted",
        )
        return found or ("", "")

    def site(self, row: int, end: str, sites: Sites) -> str | None:
        """Id of the site at an end; None, and noted, where no site is known by what the row says."""
        code, name = self.text(row, f"site_{end}"), self.text(row, f"site_name_{end}")
        found = sites.find(code, name)
        if found is None:
            word = code or name
            field = f"site_{end}" if code or f"site_{end}" in self.uses else f"site_name_{end}"
            column = shown(self.uses[field].column) if field in self.uses else f"end {end}"
            hint = suggestion(word, sites.names())
            text = f"{shown(word)} is no site" if word else "no site"
            self.findings.unread.append(
                f"{self.where(row)}, column {column}: {text}{'. ' + hint if hint else ''}"
            )
        return found

    def _read(self, row: int, field: str, read: Callable[[str], T | None], wanted: str) -> T | None:
        cell = self.text(row, field)
        value = read(cell) if cell else None
        if value is None and cell.strip("-–./? ").lower() not in NOTHING:
            column = shown(self.uses[field].column)
            self.findings.unread.append(f"{self.where(row)}, column {column}: {shown(cell)} is not {wanted}")
        return value


def readers(
    tables: Mapping[str, Table], uses: Mapping[str, Mapping[str, ColumnUse]], hows: Mapping[str, TableUse],
    findings: Findings,
) -> dict[str, RowReader]:  # fmt: skip
    """A reader for each table, by its key in ``MEANINGS``."""
    return {
        key: RowReader(table, uses[key], hows[key], MEANINGS[key], findings) for key, table in tables.items()
    }
