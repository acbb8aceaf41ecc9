"""How tables become a network: which column holds which field, and what is assumed; a file to edit.

The file is written at the first import and read at every later one of the same network.
"""

from collections.abc import Mapping as Pairs
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from hopyears.models.basics.faults import Fault, one_of
from hopyears.models.network.entry import Entry, Finite
from hopyears.sim.importing.headers import Use
from hopyears.sim.importing.toml_text import pair, quoted
from hopyears.sim.importing.vocabulary import AT_BOTH_ENDS, MEANINGS, NEEDS_AN_END
from hopyears.sim.inputs.input_errors import FaultList, faults_of
from hopyears.sim.inputs.input_text import read_toml


class TableUse(Entry):
    """How one table is read."""

    sheet: str = Field("", description="of a workbook")
    encoding: str = Field("", description="of a CSV file")
    separator: Literal["", "comma", "semicolon", "tab", "bar"] = Field("", description="of a CSV file")
    header_row: int = Field(0, ge=0, description="counted from 1; 0 to find out")
    decimal: Literal[".", ","] = Field(".", description="mark")
    o_means: Literal["E", "W"] = Field("W", description="the letter O behind a longitude")
    coordinates: str = Field("", max_length=80, description="of eastings and northings, as EPSG:25832")


class ColumnUse(Entry):
    """The column of a field."""

    column: str
    unit: str = Field("", max_length=10, description="of its numbers, as MHz or ft")


class Assumed(Entry):
    """What holds where the tables say nothing. All are round numbers of our own, to be edited."""

    frequency_ghz: Finite = Field(0.0, ge=0, le=100, description="0: such a row is left out")
    channel_width_mhz: Finite = Field(28.0, gt=0, le=4000)
    antenna_diameter_m: Finite = Field(0.6, gt=0, le=10)
    antenna_height_m: Finite = Field(30.0, ge=1, le=500, description="above ground")
    transmit_power_dbm: Finite = Field(20.0, ge=-30, le=50)
    modulations: tuple[Annotated[int, Field(ge=2, le=16384)], ...] = Field(
        (4, 16, 64, 256, 1024), min_length=1, max_length=12
    )
    adaptive: bool = Field(
        False, description="a hop with one modulation in the table steps down from it; false: keeps it"
    )
    scheme: str = Field("1+0", max_length=40)
    rows_are: Literal["hops", "directions", ""] = Field(
        "", description="each row a hop, or one of its two directions; empty to find out"
    )
    committed_mbit_s: Finite = Field(50.0, gt=0, le=1e6, description="of a service")
    service_protection: Literal["none", "protected", "rerouted"] = Field(
        "rerouted", description="of a service with another way"
    )


class Mapping(Entry):
    """A mapping file."""

    sites_table: TableUse = TableUse()
    hops_table: TableUse = TableUse()
    services_table: TableUse = TableUse()
    sites: dict[str, ColumnUse] = Field(default_factory=dict)
    hops: dict[str, ColumnUse] = Field(default_factory=dict)
    services: dict[str, ColumnUse] = Field(default_factory=dict)
    assumed: Assumed = Assumed()


def fields_of(key: str) -> list[str]:
    """Fields that a table, of ``MEANINGS``, may give, those of an end with its letter."""
    meanings = MEANINGS[key]
    if "site" not in meanings:
        return [*meanings]
    ends = [f"{field}_{end}" for field in meanings if field in AT_BOTH_ENDS for end in "ab"]
    return [*(field for field in meanings if field not in NEEDS_AN_END), *ends]


def read_mapping(path: Path) -> Mapping:
    """Mapping of a file.

    Raises
    ------
    InputError
        If it is no TOML or holds what no mapping does.
    """
    data = read_toml(path)
    faults = FaultList()
    try:
        mapping = Mapping.model_validate_json(_json(data), strict=True)
    except ValidationError as error:
        for fault in faults_of(error, Mapping, ""):
            faults.add(path.name, fault)
        faults.stop_if_any()
        raise
    for name in MEANINGS:
        known = fields_of(name)
        for field in getattr(mapping, name):
            if field not in known:
                fault = Fault(name, "field", f'"{field}"', one_of(known), sought=field, known=known)
                faults.add(path.name, fault)
    faults.stop_if_any()
    return mapping


def _json(data: Pairs[str, object]) -> str:
    import json

    return json.dumps(data, default=str)


def mapping_text(
    mapping: Mapping,
    whys: Pairs[str, Pairs[str, Use]],
    columns: Pairs[str, Sequence[str]],
    files: Pairs[str, str],
    refused: Pairs[str, Pairs[str, str]],
) -> str:
    """Text of a mapping file, with what each line rests on.

    Parameters
    ----------
    mapping : Mapping
    whys : mapping
        By table, of ``MEANINGS``, the proposal that it was made from.
    columns : mapping
        By table, every column.
    files : mapping
        By table, the name of its file.
    refused : mapping
        By table, columns with the reason why they are not used.
    """
    lines = [
        "# How tables become a network file. Edit this file and run the same command again:",
        "# what stands here then holds, and nothing is guessed in its place.",
    ]
    lines += table_lines(mapping, whys, columns, files, refused)
    lines += ["", "[assumed]  # where the tables say nothing"]
    lines += [_line(mapping.assumed, field) for field in Assumed.model_fields]
    return "\n".join(lines) + "\n"


def table_lines(
    mapping: Mapping,
    whys: Pairs[str, Pairs[str, Use]],
    columns: Pairs[str, Sequence[str]],
    files: Pairs[str, str],
    refused: Pairs[str, Pairs[str, str]],
) -> list[str]:
    """Lines of the tables alone; parameters as ``mapping_text``."""
    lines = []
    for key in (key for key in MEANINGS if key in files):
        table: TableUse = getattr(mapping, f"{key}_table")
        lines += ["", f"[{key}_table]  # {files[key]}"]
        lines += [_line(table, field) for field in TableUse.model_fields if getattr(table, field)]
        uses: Pairs[str, ColumnUse] = getattr(mapping, key)
        lines += ["", f"[{key}]"]
        for field, use in uses.items():
            unit = f", unit = {quoted(use.unit)}" if use.unit else ""
            why = whys.get(key, {}).get(field)
            lines.append(
                f"{field} = {{ column = {quoted(use.column)}{unit} }}" + (f"  # {why.why}" if why else "")
            )
        used = {use.column for use in uses.values()}
        unused = [column for column in columns.get(key, ()) if column not in used]
        for column in unused:
            reason = refused.get(key, {}).get(column, "")
            lines.append(f"# not used: {quoted(column)}" + (f", as {reason}" if reason else ""))
        lines.append(f"# not found: {', '.join(field for field in fields_of(key) if field not in uses)}")
    return lines


def _line(entry: Entry, field: str) -> str:
    info = type(entry).model_fields[field]
    note = f"  # {info.description}" if info.description else ""
    return pair(field, getattr(entry, field)) + note
