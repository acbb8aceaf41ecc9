"""CSV tables of sites, hops and services: rows of text turned into entries as TOML would give them."""

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from hopyears.models.basics.faults import Fault, nearest, one_of, some_of
from hopyears.models.network.entry import Entry
from hopyears.sim.inputs.input_errors import FaultList, InputError, elsewhere, json_schema, printable
from hopyears.sim.inputs.input_text import read_text

csv.field_size_limit(1 << 20)

OTHER_SEPARATORS = {";": "semicolons", "\t": "tabs", "|": "bars"}
IMPORT_READS = "hopyears import reads such tables"
FEW = 3
"""Columns of unknown name that get a sentence each; a table with more is one of another kind."""

_WHOLE = re.compile(r"[+-]?[0-9]{1,300}", re.ASCII)
_NUMBER = re.compile(
    r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,4})?|[+-]?(nan|inf)", re.ASCII | re.IGNORECASE
)
_BETWEEN_ITEMS = re.compile(r"[;\s]+")


class TableRow(NamedTuple):
    """One row: where it stands, and its cells as typed values by field name."""

    file: str
    line: int
    values: dict[str, Any]


def read_table(path: Path, model: type[Entry], faults: FaultList) -> list[TableRow]:
    """Rows of a CSV file whose first row names fields of an entry; empty cells are left out.

    Parameters
    ----------
    path : Path
        Comma-separated, UTF-8. Cells of a list hold items separated by blanks or semicolons; cells of a
        table hold ``key=number`` pairs, likewise separated.
    model : type
        What the rows describe.
    faults : FaultList
        Takes what is wrong with the table as such; the values are for ``model`` to judge.
    """
    try:
        text = read_text(path)
    except InputError as error:
        faults.add(*str(error).partition(": ")[::2])
        return []
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        header = [cell.strip() for cell in next(reader, [])]
        kinds = _cell_kinds(model)
        problems = list(_header_faults(header, kinds))
        for problem in problems:
            faults.add(path.name, problem)
        return [] if problems else list(_rows(reader, header, kinds, path.name, faults))
    except csv.Error as error:
        allowed = "comma-separated cells, names in the first row"
        faults.add(path.name, Fault("", "text", f"not CSV (line {reader.line_num}: {error})", allowed))
        return []


def _rows(
    reader: Any, header: Sequence[str], kinds: Mapping[str, str], file: str, faults: FaultList
) -> Iterator[TableRow]:
    for cells in reader:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            allowed = f"{len(header)}, as in the first row"
            faults.add(file, Fault(f"line {reader.line_num}", "number of cells", f"{len(cells)}", allowed))
            continue
        values = {
            column: _typed(cell.strip(), kinds[column])
            for column, cell in zip(header, cells, strict=True)
            if cell.strip()
        }
        yield TableRow(file, reader.line_num, values)


def _header_faults(header: Sequence[str], kinds: Mapping[str, str]) -> Iterator[Fault | str]:
    """What is wrong with the first row; a table of another kind in one sentence."""
    if not any(header):
        yield Fault("", "first row", "missing", f"names of columns, of {some_of(kinds)}")
        return
    if len(header) == 1 and (sign := next((sign for sign in OTHER_SEPARATORS if sign in header[0]), "")):
        yield f"cells are parted by {OTHER_SEPARATORS[sign]}; must be by commas. {IMPORT_READS}"
        return
    unknown = [column for column in header if column not in kinds]
    if len(unknown) > FEW:
        names = ", ".join(f'"{printable(column, 30)}"' for column in unknown[:FEW])
        yield (
            f"{len(unknown)} columns are none of a network file ({names}, ...); must be {one_of(kinds)}. "
            f"{IMPORT_READS}"
        )
        return
    for number, column in enumerate(header, start=1):
        if column not in kinds:
            hint = "" if nearest(column, kinds) else elsewhere(column)
            found = f'"{printable(column, 60)}"'
            yield Fault("", "column", found, one_of(kinds), hint, sought=column, known=kinds)
        elif column in header[: number - 1]:
            yield Fault("", "column", f'"{column}" again, as number {number}', "named once")


def _cell_kinds(model: type[Entry]) -> dict[str, str]:
    """Type of each field in the words of JSON Schema, by its name in a file."""
    kinds = {}
    for field, rule in json_schema(model)["properties"].items():
        choices = [rule, *rule.get("anyOf", [])]
        kinds[field] = next(choice["type"] for choice in choices if choice.get("type", "null") != "null")
    return kinds


def _typed(cell: str, kind: str) -> Any:
    """Value of a cell; the text itself where it is none of its kind, for the entry to refuse."""
    match kind:
        case "integer" if _WHOLE.fullmatch(cell):
            return int(cell)
        case "number" if _NUMBER.fullmatch(cell):
            return float(cell)
        case "boolean" if cell.lower() in ("true", "false"):
            return cell.lower() == "true"
        case "array":
            return [item for item in _BETWEEN_ITEMS.split(cell) if item]
        case "object":
            return _pairs(cell)
    return cell


def _pairs(cell: str) -> Any:
    pairs = [item.partition("=") for item in _BETWEEN_ITEMS.split(cell) if item]
    if not all(equals for _, equals, _ in pairs):
        return cell
    return {key: _typed(value, "number") for key, _, value in pairs}
