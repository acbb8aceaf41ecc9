"""Tables on disk: a folder of Parquet files beside their digests, or many tables packed in one file.

Both tell when they are damaged, down to one bit: a packed file by the checksum (CRC-32) of each of its
members, a folder by the digests in its ``ORIGIN``.
"""

import io
import json
import shutil
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.storage.whole_file import checked, digest_of, json_bytes, keep_names, read_json, write_whole

ORIGIN = "origin.json"
"""What tables rest on, beside or among them."""

_ENDING = ".parquet"

COMPRESSION = "zstd"
"""Of columns of tables."""

PART_ROWS = 1 << 16
"""Rows of a table that are stored, and may be read, by themselves."""


def table_bytes(table: pa.Table | bytes) -> bytes:
    """One table as Parquet, which it may be already; equal tables give equal bytes."""
    if isinstance(table, bytes):
        return table
    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression=COMPRESSION, row_group_size=PART_ROWS)
    return bytes(sink.getvalue())


def write_table(path: Path, table: pa.Table) -> None:
    """One table as a Parquet file of its own, whole or not at all."""
    write_whole(path, table_bytes(table))


def packed(tables: Mapping[str, pa.Table | bytes], origin: Mapping[str, Any]) -> bytes:
    """Tables and what they rest on as one ZIP file of Parquet files; equal tables give equal bytes."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr(zipfile.ZipInfo(ORIGIN), json.dumps(origin, sort_keys=True))
        for name, table in tables.items():
            archive.writestr(zipfile.ZipInfo(name + _ENDING), table_bytes(table))
    return stream.getvalue()


def packed_origin(path: Path) -> dict[str, Any] | None:
    """What the tables of a packed file rest on; None if any of the file is damaged."""
    try:
        with zipfile.ZipFile(path) as archive:
            if archive.testzip() is None:
                origin: dict[str, Any] = json.loads(archive.read(ORIGIN))
                return origin
    except Exception:  # whatever damage may bring about in there
        pass
    return None


def read_packed(path: Path, *names: str) -> dict[str, pa.Table]:
    """Tables of a packed file by name: those named, else all.

    Raises
    ------
    InputError
        If it is missing or damaged.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            wanted = [name + _ENDING for name in names] or [n for n in archive.namelist() if n != ORIGIN]
            return {name.removesuffix(_ENDING): _table(archive.read(name)) for name in wanted}
    except Exception:  # whatever damage may bring about in there
        raise _refusal(path, "block") from None


def table_parts(
    path: Path, name: str, *, columns: Sequence[str] = (), within: tuple[int, int] | None = None
) -> Iterator[pa.Table]:
    """One table of a packed file, in parts of at most ``PART_ROWS`` rows.

    Parameters
    ----------
    path : Path
    name : str
    columns : sequence of str
        All unless stated.
    within : tuple of int, optional
        Parts are left out where the first column, whole numbers, is nowhere from the one to the other.

    Raises
    ------
    InputError
        If the file is missing or damaged.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            table = pq.ParquetFile(pa.BufferReader(archive.read(name + _ENDING)))
        for part in range(table.num_row_groups):
            met = table.metadata.row_group(part).column(0).statistics
            if within is None or met is None or (met.max >= within[0] and met.min <= within[1]):
                yield table.read_row_group(part, columns=list(columns) or None)
    except Exception:  # whatever damage may bring about in there
        raise _refusal(path, "block") from None


def write_tables(folder: Path, tables: Mapping[str, pa.Table], origin: Mapping[str, Any]) -> None:
    """Store tables and what they rest on in a folder of their own, in place of an earlier one.

    Raises
    ------
    OSError
        If they cannot be written; the earlier folder stands.
    """
    partial, old = (folder.with_name(f".{folder.name}{end}") for end in ("", "-old"))
    for left in (partial, old):
        shutil.rmtree(left, ignore_errors=True)
    partial.mkdir()
    digests = {}
    for name, table in tables.items():
        data = table_bytes(table)
        digests[name] = digest_of(data)
        write_whole(partial / (name + _ENDING), data)
    write_whole(partial / ORIGIN, json_bytes({**origin, "digests": digests}))
    if folder.exists():
        folder.rename(old)
    partial.rename(folder)
    keep_names(folder.parent)
    shutil.rmtree(old, ignore_errors=True)


def read_tables(folder: Path) -> tuple[dict[str, pa.Table], dict[str, Any]]:
    """Tables of a folder by name, and what they rest on; both empty where there is no such folder.

    Raises
    ------
    InputError
        If any of it is damaged or missing.
    """
    if not folder.is_dir():
        return {}, {}
    origin = checked(read_json(folder / ORIGIN))
    if origin is None:
        raise _refusal(folder / ORIGIN, "origin of the tables")
    tables = {}
    for name, digest in origin.pop("digests").items():
        path = folder / (name + _ENDING)
        data = path.read_bytes() if path.is_file() else b""
        if digest_of(data) != digest:
            raise _refusal(path, "table")
        tables[name] = _table(data)
    return tables, origin


def _table(data: bytes) -> pa.Table:
    return pq.ParquetFile(pa.BufferReader(data)).read()  # read_table loads what reads folders


def _refusal(path: Path, what: str) -> InputError:
    found = "damaged" if path.exists() else "missing"
    return InputError(
        f"{path}: {what} is {found}; must be as it was written. --resume of the run makes it again"
    )
