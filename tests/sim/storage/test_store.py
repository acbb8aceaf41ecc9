"""The folder of a run: whole or not there, never overwritten, one process at a time."""

import json
import os
import subprocess
import sys

import pyarrow as pa
import pytest

from hopyears.sim.inputs.network_file import InputError
from hopyears.sim.storage.run_folder import FORMAT, RunFolder, run_identity, versions, write_table

MANIFEST = {"identity": "abc", "title": "a run"}
TABLES = {"one": pa.table({"x": [1, 2]}), "two": pa.table({"y": ["a"]})}


@pytest.fixture
def run(tmp_path):
    folder = RunFolder(tmp_path / "run")
    folder.begin(MANIFEST, {"sites": []}, resume=False)
    return folder


def test_a_new_folder_holds_manifest_and_network(run):
    assert run.manifest() == {**MANIFEST, "format": FORMAT}
    assert run.network() == {"sites": []}
    assert run.finished_blocks() == []


def test_an_empty_folder_will_do(tmp_path):
    RunFolder(tmp_path).begin(MANIFEST, {}, resume=False)
    assert RunFolder(tmp_path).manifest() == {**MANIFEST, "format": FORMAT}


def test_a_file_in_its_place_is_refused(tmp_path):
    (tmp_path / "run").write_text("mine")
    with pytest.raises(InputError, match="output folder is a file; must be a folder"):
        RunFolder(tmp_path / "run").begin(MANIFEST, {}, resume=False)
    assert (tmp_path / "run").read_text() == "mine"


def test_a_run_is_joined_only_when_asked_and_if_it_is_the_same(run):
    with pytest.raises(InputError, match=r"in use by a run; must be new or empty\. --resume adds"):
        run.begin(MANIFEST, {}, resume=False)
    run.begin({**MANIFEST, "title": "longer"}, {}, resume=True)
    assert run.manifest()["title"] == "longer"
    with pytest.raises(InputError, match=r"of another run \(abc\); must be of this one \(xyz\)"):
        run.begin({"identity": "xyz"}, {}, resume=True)
    assert run.manifest()["identity"] == "abc"


@pytest.mark.parametrize("text", ["", "{", "[]", "\xff", None])
def test_a_folder_without_a_manifest_that_reads_is_no_run(tmp_path, text):
    if text is not None:
        (tmp_path / "manifest.json").write_bytes(text.encode("latin-1"))
    with pytest.raises(InputError, match="folder is not a run; must be one that simulate wrote"):
        RunFolder(tmp_path).manifest()


def test_blocks_come_back_in_order(run):
    for block in (12, 3, 0):
        run.write_block(block, TABLES)
    assert run.finished_blocks() == [0, 3, 12]
    read = run.read_block(12)
    assert set(read) == {"one", "two"}
    assert read["one"].equals(TABLES["one"])


def test_a_block_cut_short_does_not_count_and_is_made_again(run):
    half = run.path / "blocks" / ".000005"
    half.mkdir()
    (half / "one.parquet").write_bytes(b"half a tab")
    assert run.finished_blocks() == []
    run.write_block(5, TABLES)
    assert run.finished_blocks() == [5]
    assert set(run.read_block(5)) == {"one", "two"}


def test_a_block_is_whole_or_not_there(run, monkeypatch):
    def fail(path, table):
        if path.stem == "two":
            raise OSError("disk full")
        write_table(path, table)

    monkeypatch.setattr("hopyears.sim.storage.run_folder.write_table", fail)
    with pytest.raises(OSError, match="disk full"):
        run.write_block(1, TABLES)
    assert run.finished_blocks() == []


def test_results_replace_those_of_fewer_blocks(run):
    run.write_results(TABLES)
    run.write_results({"one": pa.table({"x": [9]})})
    read = run.read_results()
    assert list(read) == ["one"]
    assert read["one"]["x"].to_pylist() == [9]


def test_equal_tables_are_equal_bytes(tmp_path):
    for name in ("first", "second"):
        write_table(tmp_path / name, pa.table({"x": [1.5, 2.5], "y": ["a", "b"]}))
    assert (tmp_path / "first").read_bytes() == (tmp_path / "second").read_bytes()


def test_one_process_at_a_time(run):
    with run.locked():
        assert (run.path / "in-use").read_text() == str(os.getpid())
        with (
            pytest.raises(InputError, match=f"in use by process {os.getpid()}; must be free"),
            RunFolder(run.path).locked(),
        ):
            pass
    assert not (run.path / "in-use").exists()


def test_the_lock_is_given_back_after_a_fault(run):
    with pytest.raises(KeyboardInterrupt), run.locked():
        raise KeyboardInterrupt
    with run.locked():
        pass


@pytest.mark.parametrize("left", ["", "not a number"])
def test_a_lock_that_nobody_holds_is_taken_over(run, left):
    (run.path / "in-use").write_text(left)
    with run.locked():
        assert (run.path / "in-use").read_text() == str(os.getpid())


def test_a_lock_of_a_process_that_is_gone_is_taken_over(run):
    gone = subprocess.run(
        [sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, text=True, check=True
    )
    (run.path / "in-use").write_text(gone.stdout.strip())
    with run.locked():
        pass


def test_the_identity_is_of_the_content_whatever_its_order():
    one = run_identity({"seed": 1, "network": "x", "options": {"rain": True, "queues": False}})
    assert one == run_identity({"options": {"queues": False, "rain": True}, "network": "x", "seed": 1})
    assert one != run_identity({"seed": 2, "network": "x", "options": {"rain": True, "queues": False}})
    assert len(one) == 24


def test_versions_are_named():
    assert {"hopyears", "numpy", "numba"} <= set(versions())
    assert all(json.dumps(version) for version in versions().values())


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_that_cannot_be_written_is_refused(tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(InputError, match="output folder is not writable"):
            RunFolder(tmp_path / "run").begin(MANIFEST, {}, resume=False)
    finally:
        tmp_path.chmod(0o700)
