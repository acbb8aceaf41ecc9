"""Tables as they lie on disk: CSV of any separator and encoding, workbooks, GeoJSON; cells as text."""

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from hopyears.models.basics.faults import without_steering
from hopyears.sim.importing.geojson_in import is_geojson, tables_of_geojson
from hopyears.sim.inputs.input_errors import InputError, printable
from hopyears.sim.inputs.input_text import read_bytes

WORKBOOKS = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")
SAMPLE_LINES = 60
"""Lines of a text from which its separator is told."""
SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
ENCODINGS = ["cp1252", "cp1250", "cp1251", "cp1253", "cp1254", "mac_roman", "cp850", "cp437", "utf_16"]
"""Encodings looked for beside UTF-8, the commonest first (common practice, no source)."""

_UNIT_CELL = re.compile(
    r"[\[(]?\s*(°|deg|m|km|ft|cm|mm|mi|[kmgt]?hz|dbm|dbi?|m?w|mbps|mbit/s|h|v/h|-)\s*[\])]?", re.I
)


@dataclass(frozen=True)
class Table:
    """Cells of a table as text.

    Attributes
    ----------
    file : str
        Name of the file, with the sheet where it has several, for messages.
    columns : tuple of str
        Names in the header row, each once.
    rows : list of list of str
        Cells below it, as many as there are columns; rows without any are left out.
    numbers : list of int
        Row of the file in which each row stands, counted from 1.
    encoding, separator, sheet : str
        How it was read, the separator by its name; empty where that says nothing. The sheets of a GeoJSON
        file are "points" and "lines".
    header_row : int
        Counted from 1.
    """

    file: str
    columns: tuple[str, ...]
    rows: list[list[str]]
    numbers: list[int]
    encoding: str = ""
    separator: str = ""
    sheet: str = ""
    header_row: int = 1

    def cells(self, column: str) -> list[str]:
        """All cells of a column."""
        place = self.columns.index(column)
        return [row[place] for row in self.rows]


def read_tables(path: Path, *, encoding: str = "", separator: str = "", header_row: int = 0) -> list[Table]:
    """Every table of a file: one of a CSV file, one a sheet of a workbook, points and lines of GeoJSON.

    Parameters
    ----------
    path : Path
    encoding, separator : str
        Of a CSV file, the separator by its name in ``SEPARATORS``; empty to find out.
    header_row : int
        Row of the names, counted from 1; 0 to find out.

    Raises
    ------
    InputError
        If the file cannot be read, or holds no table.
    """
    if path.suffix.lower() in WORKBOOKS:
        found = list(_sheets(path, header_row))
    else:
        data = read_bytes(path)
        text, encoding = _decoded(data, path.name, encoding)
        if is_geojson(text):
            found = [
                Table(path.name, *table, sheet=sheet)
                for sheet, table in zip(("points", "lines"), tables_of_geojson(text, path.name), strict=True)
            ]
        else:
            separator = separator or _separator(text)
            found = [
                _table(
                    path.name,
                    *_csv_rows(text, SEPARATORS[separator], path.name),
                    header_row,
                    encoding,
                    separator,
                )
            ]
    found = [table for table in found if table.rows]
    if not found:
        raise InputError.one(f"{path.name}: table is empty; must be names of columns and rows below them")
    return found


def _decoded(data: bytes, name: str, encoding: str) -> tuple[str, str]:
    if not encoding:
        try:
            return data.decode("utf-8-sig"), "utf-8"
        except UnicodeDecodeError:
            encoding = _likely_encoding(data)
    try:
        return data.decode(encoding), encoding
    except (UnicodeDecodeError, LookupError):
        found = printable(encoding, 40)
        raise InputError.one(
            f'{name}: encoding is not "{found}"; must be the one it was written in'
        ) from None


def _likely_encoding(data: bytes) -> str:
    """Of encodings in which a text looks sound, the one with fewest signs inside words, or the commonest."""
    from charset_normalizer import from_bytes

    found = list(from_bytes(data, cp_isolation=ENCODINGS))
    least = min((each.chaos for each in found), default=0.0)
    signs = re.compile(r"(?<=[^\W\d_])[^\w\x00-\x7f]|[^\w\x00-\x7f](?=[^\W\d_])")
    ranks = [
        (len(signs.findall(str(each))), ENCODINGS.index(each.encoding), each.encoding)
        for each in found
        if each.chaos <= least + 0.01 and each.encoding in ENCODINGS
    ]
    likeliest = min(ranks)[2] if ranks else ENCODINGS[0]
    return next(each for each in ENCODINGS if _reads_alike(data, each, likeliest))


def _reads_alike(data: bytes, encoding: str, other: str) -> bool:
    try:
        return encoding == other or data.decode(encoding) == data.decode(other)
    except UnicodeDecodeError:
        return False


def _separator(text: str) -> str:
    """What parts the cells, told from the first lines."""
    from clevercsv import Sniffer
    from clevercsv.exceptions import Error

    sample = "\n".join(text.splitlines()[:SAMPLE_LINES])
    try:
        dialect = Sniffer().sniff(sample, delimiters=list(SEPARATORS.values()))
    except Error:
        return "comma"
    found = dialect.delimiter if dialect is not None else ","
    return next((name for name, sign in SEPARATORS.items() if sign == found), "comma")


def _csv_rows(text: str, separator: str, name: str) -> tuple[list[list[str]], list[int]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    rows, numbers = [], []
    try:
        for row in reader:
            rows.append(row)
            numbers.append(reader.line_num)
    except csv.Error as error:
        line = f"line {reader.line_num}: {error}"
        raise InputError.one(f"{name}: text is no table ({line}); must be rows of cells") from None
    return rows, numbers


def _sheets(path: Path, header_row: int) -> Iterator[Table]:
    import pandas as pd

    read_bytes(path)
    try:
        sheets = pd.read_excel(path, sheet_name=None, header=None, dtype=object, engine="calamine")
    except Exception as error:  # the reader names no common class for a damaged workbook
        reason = printable(str(error), 120)
        raise InputError.one(
            f"{path.name}: workbook is not readable ({reason}); must be a workbook"
        ) from None
    for sheet, frame in sheets.items():
        rows = [[_cell_text(value) for value in row] for row in frame.itertuples(index=False)]
        name = f"{path.name}, sheet {printable(str(sheet), 40)}" if len(sheets) > 1 else path.name
        yield _table(name, rows, list(range(1, len(rows) + 1)), header_row, "", "", str(sheet))


def _cell_text(value: object) -> str:
    if value is None or value != value:  # an empty cell is NaN
        return ""
    if isinstance(value, float):
        return f"{value:.0f}" if value.is_integer() else repr(value)
    return str(value)


def _table(
    name: str, rows: list[list[str]], numbers: list[int], header_row: int, encoding: str, separator: str,
    sheet: str = "",
) -> Table:  # fmt: skip
    rows = [[without_steering(cell).strip() for cell in row] for row in rows]
    head = _header_place(rows) if not header_row else min(header_row, len(rows)) - 1
    if not rows or head < 0:
        return Table(name, (), [], [])
    names = rows[head]
    first = head + 1
    if first < len(rows) and _is_unit_row(rows[first]):
        units = [*rows[first], *[""] * len(names)]
        names = [
            f"{name} [{unit.strip('[]() ')}]" if unit else name
            for name, unit in zip(names, units, strict=False)
        ]
        first += 1
    columns = _each_once(names)
    kept = [(row, number) for row, number in zip(rows[first:], numbers[first:], strict=True) if any(row)]
    width = len(columns)
    cells = [[*row[:width], *[""] * (width - len(row))] for row, _ in kept]
    return Table(name, columns, cells, [n for _, n in kept], encoding, separator, sheet, head + 1)


def _header_place(rows: Sequence[Sequence[str]]) -> int:
    """The first row about as wide as the table whose cells are mostly no numbers."""
    widths = sorted(sum(map(bool, row)) for row in rows if any(row))
    if not widths:
        return -1
    usual = widths[len(widths) // 2]
    for place, row in enumerate(rows[:30]):
        given = [cell for cell in row if cell]
        words = [cell for cell in given if not re.fullmatch(r"[-+\d.,\s°'\"]+", cell)]
        if len(given) >= max(2, 0.6 * usual) and len(words) >= 0.6 * len(given):
            return place
    return 0


def _is_unit_row(row: Sequence[str]) -> bool:
    given = [cell for cell in row if cell]
    return bool(given) and all(_UNIT_CELL.fullmatch(cell) for cell in given)


def _each_once(names: Sequence[str]) -> tuple[str, ...]:
    """Names in one line, those that come again with a number; a column without a name is "column 4"."""
    found: list[str] = []
    for place, name in enumerate(names, start=1):
        base = printable(" ".join(name.split()), 80) or f"column {place}"
        again = sum(other == base or other.startswith(f"{base} #") for other in found)
        found.append(f"{base} #{again + 1}" if again else base)
    return tuple(found)
