"""The mapping of tables: read from its file, or proposed from their headers and cells."""

import re
from collections.abc import Mapping as Pairs
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from hopyears.models.basics.faults import suggestion
from hopyears.sim.importing.cells import decimal_mark
from hopyears.sim.importing.headers import Use, headers_of, propose
from hopyears.sim.importing.mapping import ColumnUse, Mapping, TableUse, mapping_text
from hopyears.sim.importing.table_file import Table, read_tables
from hopyears.sim.importing.vocabulary import HOPS, SITES
from hopyears.sim.inputs.input_errors import InputError, shown


@dataclass(frozen=True)
class Source:
    """Tables of an import with their mapping.

    ``whys`` says what a proposal rests on, ``refused`` why columns are not used; both are empty for one
    of a file.
    """

    tables: dict[str, Table]
    mapping: Mapping
    whys: dict[str, dict[str, Use]]
    refused: dict[str, dict[str, str]]

    def text(self) -> str:
        """The mapping as a file to edit."""
        columns = {key: table.columns for key, table in self.tables.items()}
        files = {key: table.file for key, table in self.tables.items()}
        return mapping_text(self.mapping, self.whys, columns, files, self.refused)


def with_mapping(files: Pairs[str, Path], mapping: Mapping, name: str) -> Source:
    """Tables read as a mapping file says.

    Raises
    ------
    InputError
        If a table lacks a column that the mapping names.
    """
    tables = {}
    for key, path in files.items():
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
    return Source(tables, mapping, {}, {})


def proposed(files: Pairs[str, Path]) -> Source:
    """Tables with the mapping that their headers and cells suggest."""
    tables: dict[str, Table] = {}
    whys: dict[str, dict[str, Use]] = {}
    refused: dict[str, dict[str, str]] = {}
    usual = ""
    sites: list[str] = []
    for key in (key for key in ("sites", "hops") if key in files):
        table = tables[key] = _likeliest(key, read_tables(files[key]), usual)
        usual = _decimal(table, usual)
        whys[key], refused[key] = propose(table, _MEANINGS[key], usual, sites)
        if key == "sites":
            named = [use.column for field, use in whys[key].items() if field in ("id", "name")]
            sites = [cell for column in named for cell in table.cells(column) if cell]
    uses = {key: _columns(found) for key, found in whys.items()}
    hows = {
        f"{key}_table": TableUse(
            sheet=table.sheet, encoding=table.encoding, header_row=table.header_row,
            separator=table.separator,  # type: ignore[arg-type]
            decimal="," if _decimal(table, usual) == "," else ".", o_means=_o_means(table),
        )
        for key, table in tables.items()
    }  # fmt: skip
    return Source(tables, Mapping(**uses, **hows), whys, refused)  # type: ignore[arg-type]


_MEANINGS = {"sites": SITES, "hops": HOPS}


def _likeliest(key: str, tables: list[Table], usual: str) -> Table:
    """Of several tables in a file the one in which most fields are found; hops have ends, sites have none."""

    def rank(table: Table) -> tuple[bool, int]:
        ends = any(header.end for header in headers_of(table.columns))
        return ends == (key == "hops"), len(propose(table, _MEANINGS[key], _decimal(table, usual)).uses)

    return max(tables, key=rank)


def with_points(files: Pairs[str, Path]) -> dict[str, Path]:
    """Files of an import; points in a GeoJSON file of hops are its sites unless another file has them."""
    found = dict(files)
    alone = "sites" not in found and found["hops"].suffix.lower() in (".geojson", ".json")
    if alone and any(table.sheet == "points" for table in read_tables(found["hops"])):
        found["sites"] = found["hops"]
    return {key: found[key] for key in ("sites", "hops") if key in found}


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
