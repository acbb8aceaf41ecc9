"""Every table that lies in a folder of results, of whatever command and version."""

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.storage.run_folder import TABLES
from hopyears.sim.storage.table_files import read_tables


def table_files(folder: Path) -> dict[str, Path]:
    """Files of the tables of a run, a study or a comparison by name, in alphabetical order.

    Raises
    ------
    InputError
        If there are none.
    """
    files = sorted(
        [*folder.glob("*.parquet"), *(folder / TABLES).glob("*.parquet")], key=lambda path: path.stem
    )
    if not files:
        raise InputError(
            f"{folder}: folder has no tables of results; must be one that simulate, compare or modulation "
            "wrote, with at least one finished block"
        )
    return {path.stem: path for path in files}


def stored_table(folder: Path, name: str) -> pa.Table:
    """One of these tables.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    files = table_files(folder)
    if name not in files:
        raise InputError(f'TABLE is "{name}"; must be one of the folder: {", ".join(files)}')
    if files[name].parent.name == TABLES:
        return read_tables(folder / TABLES)[0][name]
    return pq.read_table(files[name])
