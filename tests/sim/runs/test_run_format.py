"""Folders of another format, or damaged: one sentence each, and nothing is written."""

import hashlib
import json
import shutil
from pathlib import Path

import pytest
from network_text import small, write

from hopyears.sim.commands import main
from hopyears.sim.runs.results import RESULT_TABLES, Results
from hopyears.sim.storage.run_folder import FORMAT, RunFolder

ASKED = ["--years", "2", "--block-years", "1", "--workers", "1", "--out"]


@pytest.fixture(scope="module")
def network(tmp_path_factory):
    return write(tmp_path_factory.mktemp("network"), small())


@pytest.fixture(scope="module")
def whole(network, tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs") / "run"
    assert main(["simulate", str(network), *ASKED, str(folder)]) == 0
    return folder


@pytest.fixture
def run(whole, tmp_path):
    """A copy to spoil."""
    return shutil.copytree(whole, tmp_path / "run")


VERBS = {
    "report": ["{run}"],
    "explain": ["{run}", "--service", "s1"],
    "promise": ["{run}"],
    "importance": ["{run}", "--workers", "1"],
    "textbook": ["{run}"],
    "predict": ["{network}", "--against", "{run}"],
    "simulate": ["{network}", *ASKED, "{run}", "--resume"],
    "compare": ["{network}", "{network}", *ASKED, "{folder}"],
}
"""Verbs that open a folder, and their arguments."""


def words(verb, network, run):
    return [verb, *(word.format(run=run, network=network, folder=run.parent) for word in VERBS[verb])]


def content(folder):
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def refused(capsys, run, called):
    """What a verb says when it refuses a run, which it leaves as it is."""
    before = content(run)
    assert main(called) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert content(run) == before
    return "".join(line for line in said.err.splitlines(True) if not line.startswith("warning: "))


@pytest.mark.parametrize(("found", "told"), [(None, "missing"), (FORMAT + 1, FORMAT + 1), ("old", "old")])
@pytest.mark.parametrize("verb", VERBS)
def test_a_folder_of_another_format_is_refused(verb, found, told, network, run, capsys):
    manifest = json.loads((run / "manifest.json").read_text()) | {"format": found}
    if found is None:
        del manifest["format"]
    (run / "manifest.json").write_text(json.dumps(manifest))
    if verb == "compare":
        run = run.rename(run.parent / "base")
    assert refused(capsys, run, words(verb, network, run)) == (
        f"{run}: format of the run is {told}; must be {FORMAT}: another version wrote it. "
        "Simulate it anew, into a new folder\n"
    )


def test_a_study_has_the_format_too(network, tmp_path, capsys):
    asked = ["modulation", str(network), "--hop", "mill-ridge", *ASKED, str(tmp_path)]
    assert main(asked) == 0
    capsys.readouterr()
    manifest = json.loads((tmp_path / "study.json").read_text())
    assert manifest.pop("format") == FORMAT
    (tmp_path / "study.json").write_text(json.dumps(manifest))
    assert "format of the run is missing; must be" in refused(capsys, tmp_path, [*asked, "--resume"])


def cut(path):
    path.write_bytes(path.read_bytes()[:-20])


def spoil(path):
    """Keep the end, which tells where everything is, and lose the rest."""
    data = path.read_bytes()
    path.write_bytes(b"\0" * (len(data) // 2) + data[len(data) // 2 :])


def fill(path):
    path.write_text("{")


def empty(path):
    path.write_text(json.dumps({"format": FORMAT}))


@pytest.mark.parametrize(
    ("verb", "file", "damage", "sentence"),
    [
        ("report", "tables/hops.parquet", cut, "table is damaged"),
        ("report", "tables/services.parquet", spoil, "table is damaged"),
        ("report", "tables/service_years.parquet", Path.unlink, "table is missing"),
        ("report", "network.json", fill, "network.json is not readable; must be as simulate wrote it"),
        ("report", "tables/origin.json", cut, "origin of the tables is damaged"),
        ("report", "manifest.json", cut, "manifest is damaged; must be as it was written. --resume"),
        ("report", "manifest.json", Path.unlink, "folder is not a run; must be one that simulate wrote"),
        ("explain", "manifest.json", empty, "manifest is damaged"),
        ("explain", "blocks/000001.zip", cut, "block is damaged"),
        ("explain", "network.json", cut, "network.json is not readable"),
        ("promise", "blocks/000000.zip", spoil, "block is damaged"),
        ("promise", "network.json", Path.unlink, "network.json is not readable"),
        ("promise", "blocks", shutil.rmtree, "run has no finished block"),
        ("importance", "blocks", shutil.rmtree, "run has no finished block"),
        ("textbook", "blocks/000000.zip", spoil, "block is damaged"),
        ("textbook", "manifest.json", fill, "manifest is damaged"),
        ("predict", "blocks/000001.zip", cut, "block is damaged; must be as it was written. --resume"),
    ],
)
def test_a_damaged_folder_is_refused(verb, file, damage, sentence, network, run, capsys):
    damage(run / file)
    said = refused(capsys, run, words(verb, network, run))
    assert sentence in said
    assert said.startswith(str(run))
    assert len(said.splitlines()) == 1


@pytest.mark.parametrize(
    ("file", "damage", "told"),
    [
        (
            "blocks/000001.zip",
            cut,
            "warning: {run}/blocks/000001.zip: block is damaged; it is simulated again",
        ),
        ("blocks/000001.zip", Path.unlink, None),
        ("manifest.json", cut, "warning: {run}/manifest.json: manifest is damaged; it is made again"),
        ("network.json", fill, None),
        ("tables/hops.parquet", spoil, None),
        ("tables", shutil.rmtree, None),
    ],
)
def test_what_is_damaged_is_made_again(file, damage, told, network, whole, run, caplog):
    damage(run / file)
    assert main(words("simulate", network, run)) == 0
    assert [record.getMessage() for record in caplog.records] == ([told.format(run=run)] if told else [])
    assert {path.relative_to(run): data for path, data in content(run).items()} == {
        path.relative_to(whole): data for path, data in content(whole).items()
    }


def test_a_block_of_another_run_or_number_is_made_again(network, whole, run, caplog):
    shutil.copy(run / "blocks/000000.zip", run / "blocks/000001.zip")
    assert main(words("simulate", network, run)) == 0
    assert "blocks/000001.zip: block is damaged" in caplog.text
    assert (run / "blocks/000001.zip").read_bytes() == (whole / "blocks/000001.zip").read_bytes()


def test_every_table_of_results_is_named(whole):
    stored = {path.stem for path in (whole / "tables").glob("*.parquet")}
    assert stored == set(RESULT_TABLES) == set(Results.load(whole).tables)


def test_the_format_is_raised_when_a_folder_holds_something_else(whole):
    """Fails when a table, a column or an entry of the manifest comes, goes or changes its name: raise
    ``FORMAT`` and put the new digest here."""
    manifest = json.loads((whole / "manifest.json").read_text())
    names = [sorted(manifest), sorted(manifest["options"])]
    run = RunFolder(whole)
    names.append(sorted(run.results_rest_on()))
    for kind, tables in (("block", run.read_block(0)), ("results", run.read_results())):
        names += [[kind, name, *table.schema.names] for name, table in sorted(tables.items())]
    digest = hashlib.blake2b(json.dumps(names).encode(), digest_size=8).hexdigest()
    assert (FORMAT, digest) == (13, "174ae1669d627127")
