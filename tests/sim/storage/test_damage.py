"""Single-bit flips in every file of a run and in the cache: seen, or without effect; never another number."""

import json
import random

import numpy as np
import pyarrow as pa
import pytest

from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.storage import disk_cache
from hopyears.sim.storage.run_folder import RunFolder

MANIFEST = {"identity": "abc", "seed": 7, "block_years": 10}
NUMBERS = pa.table({"x": [1.5, -2.25, 1e-9], "n": [1, 2, 3], "name": ["a", "b", "c"]})
FILES = ["manifest.json", "network.json", "blocks/000003.zip", "tables/origin.json", "tables/two.parquet"]


@pytest.fixture
def run(tmp_path):
    folder = RunFolder(tmp_path / "run")
    folder.begin(MANIFEST, {"sites": [{"id": "hill", "latitude_deg": 50.25}]}, resume=False)
    folder.write_block(3, {"one": NUMBERS, "two": NUMBERS})
    folder.write_results({"two": NUMBERS}, {"blocks": 1, "years": 10})
    return folder


def all_of(run):
    """Whatever readers take from a run."""
    block = run.read_block(3)
    alone = run.read_table(3, "one")
    return run.manifest(), run.network(), block, alone, run.read_results(), run.results_rest_on()


def flips(size, n):
    """Bits to flip of a file of so many bytes: all of them where n is None, else n at random."""
    bits = range(8 * size)
    return bits if n is None else random.Random(1).sample(bits, min(n, len(bits)))


def flipped(data, bit):
    changed = bytearray(data)
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


def seen_of(run, name, n):
    """How many of the flips were seen, of how many."""
    whole, path = all_of(run), run.path / name
    data, seen, chosen = path.read_bytes(), 0, flips(path.stat().st_size, n)
    for bit in chosen:
        path.write_bytes(flipped(data, bit))
        try:
            assert all_of(run) == whole, f"bit {bit} of {name} was read as something else"
        except InputError:
            seen += 1
    path.write_bytes(data)
    return seen, len(chosen)


@pytest.mark.parametrize("name", FILES)
def test_flips_are_seen(run, name):
    seen, of_all = seen_of(run, name, 20)
    assert seen >= 0.5 * of_all


@pytest.mark.slow
@pytest.mark.parametrize("name", FILES)
def test_thousands_of_flips_are_seen(run, name):
    """Those not seen stand where nothing is read: dates of an archive, how a line of JSON is set out."""
    seen, of_all = seen_of(run, name, 3000)
    assert seen >= 0.8 * of_all


def test_flips_in_the_cache_are_seen(tmp_path, monkeypatch):
    monkeypatch.setenv(disk_cache.CACHE_VARIABLE, str(tmp_path))
    values = {"rate": 31.25, "months": [1.5, 2.5]}
    made = []

    def kept():
        def compute():
            made.append(1)
            return values

        return disk_cache.kept("climate", (50.0, 10.0), compute, lambda found: found)

    assert kept() == values
    (file,) = tmp_path.iterdir()
    data = file.read_bytes()
    for bit in flips(len(data), None):
        file.write_bytes(flipped(data, bit))
        assert kept() == values
        file.write_bytes(data)
    assert len(made) == 1 + 8 * len(data)
    assert json.loads(data.split(b"\n", 1)[1])["values"] == values


def test_flips_in_arrays_of_the_cache_are_seen(tmp_path, monkeypatch):
    monkeypatch.setenv(disk_cache.CACHE_VARIABLE, str(tmp_path))
    arrays = {"rate": np.array([[1.0, 1.0 / 3.0], [-np.inf, 5e-324]]), "none": np.zeros((0, 3))}
    made = []

    def kept():
        def compute():
            made.append(1)
            return arrays

        return disk_cache.kept_arrays("nodes", (50.0,), compute)

    def check(found):
        assert found.keys() == arrays.keys()
        for name, array in arrays.items():
            np.testing.assert_array_equal(found[name], array, strict=True)

    check(kept())
    (file,) = tmp_path.iterdir()
    data = file.read_bytes()
    for bit in flips(len(data), None):
        file.write_bytes(flipped(data, bit))
        check(kept())
        file.write_bytes(data)
    assert len(made) == 1 + 8 * len(data)
    check(kept())
    assert len(made) == 1 + 8 * len(data)


def test_the_check_sees_a_number_that_was_changed(run):
    """Without the digest a changed digit would be read: this is what the flips would do."""
    path = run.path / "manifest.json"
    path.write_text(path.read_text().replace('"seed": 7', '"seed": 6'))
    with pytest.raises(InputError, match="manifest is damaged"):
        run.manifest()
