"""The mapping of tables: read from its file, or proposed from their headers and cells."""

import re
from collections.abc import Iterable
from collections.abc import Mapping as Pairs
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from hopyears.models.basics.faults import suggestion
from hopyears.sim.importing.cells import decimal_mark
from hopyears.sim.importing.headers import Use, headers_of, propose
from hopyears.sim.importing.mapping import ColumnUse, Mapping, TableUse, mapping_text, table_lines
from hopyears.sim.importing.table_file import Table, read_tables
from hopyears.sim.importing.vocabulary import MEANINGS
from hopyears.sim.inputs.input_errors import InputError, shown


@dataclass(frozen=True)
class Source:
    """Tables of an import with their mapping.

    ``whys`` says what a proposal rests on, ``refused`` why columns are not used; both are empty for a table
    whose mapping stood in a file.
    """

    tables: dict[str, Table]
    mapping: Mapping
    whys: dict[str, dict[str, Use]]
    refused: dict[str, dict[str, str]]

    def text(self) -> str:
        """The mapping as a file to edit."""
        return mapping_text(self.mapping, self.whys, *self._said(self.tables), self.refused)

    def added_text(self) -> str:
        """What a mapping file that is there lacks: the tables that were proposed."""
        lines = table_lines(self.mapping, self.whys, *self._said(self.whys), self.refused)
        return "\n".join(lines) + "\n" if lines else ""

    def _said(self, keys: Iterable[str]) -> tuple[dict[str, tuple[str, ...]], dict[str, str]]:
        """Columns and file of each table."""
        held = {key: self.tables[key] for key in keys}
        return {key: each.columns for key, each in held.items()}, {
            key: each.file for key, each in held.items()
        }


def with_mapping(files: Pairs[str, Path], mapping: Mapping, name: str) -> Source:
    """Tables read as a mapping file says; what it has no columns for is proposed.

    Raises
    ------
    InputError
        If a table lacks a column that the mapping names.
    """
    tables = {}
    for key, path in files.items():
        if not getattr(mapping, key):
            continue
        how: TableUse = getattr(mapping, f"{key}_table")
        found = read_tables(path, encoding=how.encoding, separator=how.separator, header_row=how.header_row)
        tables[key] = next(
            (table for table in found if how.sheet and table.sheet == how.sheet), None
        ) or _likeliest(key, found, "")
        for field, use in getattr(mapping, key).items():
            if use.column not in tables[key].columns:
                hint = suggestion(use.column, tables[key].columns)
                raise InputError.one(
                    f"{name}: {key}: {field} is {shown(use.column)}; must be a column of "
                    f"{tables[key].file}. {hint}"
                )
    return _proposed(files, Source(tables, mapping, {}, {}))


def proposed(files: Pairs[str, Path]) -> Source:
    """Tables with the mapping that their headers and cells suggest."""
    return _proposed(files, Source({}, Mapping(), {}, {}))


def _proposed(files: Pairs[str, Path], source: Source) -> Source:
    """A source with a mapping also for the tables that it lacks."""
    usual, sites = "", list[str]()
    for key in (key for key in MEANINGS if key in files):
        if key not in source.tables:
            source = _with_proposal(key, files[key], source, usual, sites)
        table, uses = source.tables[key], getattr(source.mapping, key)
        usual = _decimal(table, usual)
        if key != "services":
            wanted = ("id", "name") if key == "sites" else tuple(uses.keys() & SITES_OF_HOPS)
            named = [use.column for field, use in uses.items() if field in wanted]
            sites += [cell for column in named for cell in table.cells(column) if cell]
    return source


SITES_OF_HOPS = {f"{field}_{end}" for field in ("site", "site_name") for end in "ab"}
"""Fields of hops that name sites."""


def _with_proposal(key: str, path: Path, source: Source, usual: str, sites: list[str]) -> Source:
    table = _likeliest(key, read_tables(path), usual)
    decimal = _decimal(table, usual)
    uses, refused = propose(table, MEANINGS[key], decimal, sites)
    how = TableUse(
        sheet=table.sheet, encoding=table.encoding, header_row=table.header_row,
        separator=table.separator,
        decimal="," if decimal == "," else ".", o_means=_o_means(table),
    )  # fmt: skip
    mapping = source.mapping.model_copy(update={key: _columns(uses), f"{key}_table": how})
    return Source(
        {**source.tables, key: table}, mapping, {**source.whys, key: uses}, {**source.refused, key: refused}
    )


def _likeliest(key: str, tables: list[Table], usual: str) -> Table:
    """Of several tables in a file the one in which most fields are found; of sites it has no ends."""

    def rank(table: Table) -> tuple[bool, int]:
        ends = any(header.end for header in headers_of(table.columns))
        return ends == (key != "sites"), len(propose(table, MEANINGS[key], _decimal(table, usual)).uses)

    return max(tables, key=rank)


def with_points(files: Pairs[str, Path]) -> dict[str, Path]:
    """Files of an import; points in a GeoJSON file of hops are its sites unless another file has them."""
    found = dict(files)
    alone = "sites" not in found and found["hops"].suffix.lower() in (".geojson", ".json")
    if alone and any(table.sheet == "points" for table in read_tables(found["hops"])):
        found["sites"] = found["hops"]
    return {key: found[key] for key in MEANINGS if key in found}


def _decimal(table: Table, usual: str) -> str:
    return decimal_mark([cell for row in table.rows[:300] for cell in row], table.separator, usual)


def _columns(found: Pairs[str, Use]) -> dict[str, ColumnUse]:
    return {field: ColumnUse(column=use.column, unit=use.unit) for field, use in found.items()}


def _o_means(table: Table) -> Literal["E", "W"]:
    """What the letter O behind a longitude stands for: east in a table with German or Dutch headers."""
    german = any(
        re.search(r"(?i)l[äa]e?nge|breite|h[öo]e?he|lengte|hoogte", column) for column in table.columns
    )
    return "E" if german else "W"
