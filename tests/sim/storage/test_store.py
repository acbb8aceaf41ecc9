"""The folder of a run: whole or not there, never overwritten, one process at a time."""

import errno
import json
import os
import subprocess
import sys

import pyarrow as pa
import pytest

from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.storage.run_folder import FORMAT, RunFolder, run_identity, versions
from hopyears.sim.storage.table_files import packed
from hopyears.sim.storage.whole_file import RunError

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


@pytest.mark.parametrize("text", ["", "{", "[]", "\xff"])
def test_a_manifest_that_does_not_read_is_damaged(tmp_path, text):
    (tmp_path / "manifest.json").write_bytes(text.encode("latin-1"))
    with pytest.raises(InputError, match="manifest is damaged; must be as it was written"):
        RunFolder(tmp_path).manifest()


def test_a_folder_without_a_manifest_is_no_run(tmp_path):
    with pytest.raises(InputError, match="folder is not a run; must be one that simulate wrote"):
        RunFolder(tmp_path).manifest()


@pytest.mark.parametrize(("name", "text"), [("manifest.json", "mine"), ("network.json", "{}")])
def test_files_of_others_are_left_alone(tmp_path, name, text):
    (tmp_path / name).write_text(text)
    folder = RunFolder(tmp_path)
    with pytest.raises(InputError, match=r"folder is not a run|output folder is not empty"), folder.locked():
        folder.begin(MANIFEST, {}, resume=True)
    assert (tmp_path / name).read_text() == text


def test_a_folder_whose_making_was_cut_short_is_taken_as_new(tmp_path):
    """A kill, or a full disk, after any step of ``begin`` up to the manifest."""
    folder = RunFolder(tmp_path / "run")
    with folder.locked():
        pass
    (tmp_path / "run" / "blocks").mkdir()
    (tmp_path / "run" / ".manifest.json").write_text("{")
    with folder.locked():
        folder.begin(MANIFEST, {"sites": []}, resume=False)
    assert folder.network() == {"sites": []}


def test_a_run_killed_before_its_network_was_written_is_taken_up(run):
    (run.path / "network.json").unlink()
    run.begin(MANIFEST, {"sites": []}, resume=True)
    assert run.network() == {"sites": []}


def test_blocks_come_back_in_order(run):
    for block in (12, 3, 0):
        run.write_block(block, TABLES)
    assert run.finished_blocks() == [0, 3, 12]
    read = run.read_block(12)
    assert set(read) == {"one", "two"}
    assert read["one"].equals(TABLES["one"])


def test_a_block_cut_short_does_not_count_and_is_made_again(run):
    half = run.path / "blocks" / ".000005.zip"
    half.write_bytes(b"half a block")
    assert run.finished_blocks() == []
    run.write_block(5, TABLES)
    assert run.finished_blocks() == [5]
    assert set(run.read_block(5)) == {"one", "two"}
    half.write_bytes(b"half a block")
    run.begin(MANIFEST, {}, resume=True)
    assert not half.exists()


def test_what_a_full_disk_stops_is_told_in_one_line_and_leaves_nothing(run, monkeypatch):
    run.write_results({"one": pa.table({"x": [1]})}, {"blocks": 1})
    before = {path: path.read_bytes() for path in run.path.rglob("*") if path.is_file()}

    def full(handle):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("hopyears.sim.storage.whole_file.os.fsync", full)
    with pytest.raises(
        RunError, match=r"^\S+blocks/000001.zip: cannot be written \(No space left on device\);"
    ):
        run.write_block(1, TABLES)
    with pytest.raises(
        RunError, match=r"^\S+tables: cannot be written \(No space left on device\); finished"
    ):
        run.write_results(TABLES)
    monkeypatch.undo()
    assert {path: path.read_bytes() for path in run.path.rglob("*") if path.is_file()} == before
    assert run.results_rest_on() == {"blocks": 1}


def test_results_replace_those_of_fewer_blocks(run):
    run.write_results(TABLES)
    run.write_results({"one": pa.table({"x": [9]})})
    read = run.read_results()
    assert list(read) == ["one"]
    assert read["one"]["x"].to_pylist() == [9]


def test_equal_tables_are_equal_bytes():
    tables = [{"t": pa.table({"x": [1.5, 2.5], "y": ["a", "b"]})} for _ in range(2)]
    assert packed(tables[0], {"block": 1}) == packed(tables[1], {"block": 1})


def test_one_process_at_a_time(run):
    second = RunFolder(run.path)
    before = (run.path / "manifest.json").read_bytes()
    with run.locked():
        with (
            pytest.raises(InputError, match=r"run: output folder is in use by another process; must be free"),
            second.locked(),
        ):
            second.begin({**MANIFEST, "title": "second"}, {}, resume=True)
        assert (run.path / "manifest.json").read_bytes() == before
    with second.locked():
        pass


def test_the_lock_is_given_back_after_a_fault(run):
    with pytest.raises(KeyboardInterrupt), run.locked():
        raise KeyboardInterrupt
    with run.locked():
        pass


def test_the_lock_ends_with_the_process_that_holds_it(run):
    holds = (
        "import sys, time; from hopyears.sim.storage.run_folder import RunFolder\n"
        "with RunFolder(sys.argv[1]).locked(): print('held', flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", holds, run.path], stdout=subprocess.PIPE) as holder:
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(InputError, match="in use by another process"), run.locked():
            pass
        holder.kill()
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
