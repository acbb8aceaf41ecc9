"""Rows of months: gathered column by column and read for some services at a time, as they were written."""

import json

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from hopyears.sim.counting.keyed_table import KeyedTable
from hopyears.sim.rare import month_rows, stored_rows
from hopyears.sim.rare.month_rows import MONTHS, MonthRows
from hopyears.sim.rare.stored_rows import StoredRows
from hopyears.sim.rare.strata import MONTH_FIGURES
from hopyears.sim.storage import table_files
from hopyears.sim.storage.run_folder import RunFolder

N_SERVICES, N_YEARS = 6, 2


def drawn(random, sides=1):
    """Figures of a draw, most of them nothing."""
    found = random.random((sides, N_SERVICES, N_YEARS, 12, len(MONTH_FIGURES)))
    found[random.random(found.shape[:4]) < 0.8] = 0.0
    found[..., 1] = 0.0  # a column without anything
    return found


def read(rows):
    return KeyedTable.from_arrow(MONTHS, pq.read_table(pa.BufferReader(rows.stored())))


@pytest.mark.parametrize("together", [1, 4, 16])
def test_rows_are_those_of_a_table_that_collects_them(monkeypatch, together):
    monkeypatch.setattr(month_rows, "_TOGETHER", together)
    random, rows, keys, values = np.random.default_rng(1), MonthRows(), [], []
    for stratum, draw, sides in ((7, 2, 2), (1, 0, 1), (1, 65_000, 1)):
        months, weight = drawn(random, sides), float(random.random())
        rows.add(months, stratum, draw, weight)
        for side, entity, year, month in np.argwhere(months.any(axis=4)).tolist():
            keys.append((entity, stratum, draw, side, year, month))
            values.append((*months[side, entity, year, month], weight))
    found, wanted = read(rows), KeyedTable.collect(MONTHS, keys, values)
    assert np.array_equal(found.keys, wanted.keys)
    assert np.array_equal(found.values, wanted.values)
    assert len(read(MonthRows()).keys) == len(read(rows).keys) == 0


def test_a_draw_beyond_the_room_of_its_number_is_refused():
    with pytest.raises(ValueError, match="draw is 65536; must be below 65536"):
        MonthRows().add(np.ones((1, 1, 1, 12, len(MONTH_FIGURES))), 0, 1 << 16, 1.0)


def test_rows_are_found_at_their_place_in_the_largest_network():
    """A hundred thousand services; blocks and histories as long and as many as are allowed."""
    keys = [np.array([0, most]) for most in (100_000, 11, 2_000, 1, 99, 11)]
    place = month_rows._place(keys)
    assert 0 <= place[0] < place[1]
    assert [each.tolist() for each in month_rows._keys(place)] == [each.tolist() for each in keys]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A run of three blocks, their tables in parts of a few rows."""
    monkeypatch.setattr(month_rows, "PART_ROWS", 7)
    (tmp_path / "run" / "blocks").mkdir(parents=True)
    (tmp_path / "run" / "manifest.json").write_text(json.dumps({}))
    random = np.random.default_rng(2)
    for block in range(3):
        rows = MonthRows()
        rows.add(drawn(random), 1, block, 0.5)
        packed = table_files.packed({"rows": rows.stored()}, {})
        (tmp_path / "run" / "blocks" / f"{block:06d}.zip").write_bytes(packed)
    return RunFolder(tmp_path / "run")


def whole(folder, service):
    """Rows of a service in all blocks, from the whole tables."""
    keys, values = [], []
    for number, block in enumerate(folder.finished_blocks()):
        table = KeyedTable.from_arrow(MONTHS, folder.read_table(block, "rows"))
        here = table.key("entity") == service
        keys.append(np.insert(table.keys[here], 0, number, axis=1))
        values.append(table.values[here])
    return np.concatenate(keys), np.concatenate(values)


@pytest.mark.parametrize("most", [1, 30, 1_000])
def test_rows_of_some_services_do_not_depend_on_how_many_are_held(folder, monkeypatch, most):
    monkeypatch.setattr(stored_rows, "MOST_ROWS", most)
    rows = StoredRows(folder, folder.finished_blocks(), "rows", MONTHS, N_SERVICES)
    for asked in ([0], [1], [5], [2], [4, 1], [0, 3, 5], [3]):
        place, keys, values = rows.of(asked)
        for number, service in enumerate(asked):
            wanted = whole(folder, service)
            assert len(wanted[0])
            assert np.array_equal(keys[place == number], wanted[0])
            assert np.array_equal(values[place == number], wanted[1])


def test_parts_of_a_table_are_left_out_where_nobody_asks_for_them(folder):
    every = list(folder.table_parts(0, "rows"))
    some = list(folder.table_parts(0, "rows", columns=["entity"], within=(2, 2)))
    assert pa.concat_tables(every) == folder.read_table(0, "rows")
    assert 0 < len(some) < len(every)
    assert all(part.column_names == ["entity"] for part in some)
    assert sum(part.column("entity").to_pylist().count(2) for part in some) == sum(
        part.column("entity").to_pylist().count(2) for part in every
    )
