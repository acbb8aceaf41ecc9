"""Stored machine code follows every source that it was made from."""

import importlib
import os
import pty
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numba import jit

import hopyears.models
import hopyears.sim
from hopyears.models.basics.kernel import _imports, _own_digest, fetch_ahead, source_digest

SOURCES = {
    "__init__.py": "'A loop that takes a constant from two imports away.'\n",
    "far.py": "FACTOR = {factor}\n",
    "near.py": "from chain.far import FACTOR\n\nTWICE = 2 * FACTOR\n",
    "loop.py": (
        "from chain.near import TWICE\n"
        "from hopyears.models.basics.kernel import kernel\n\n\n"
        "@kernel\ndef scaled(x):\n    return TWICE * x\n"
    ),
    "aside.py": "NOTHING = {factor}\n",
}


def write_package(folder, factor, only=tuple(SOURCES)):
    """The package ``chain`` of three modules in a row and one that nobody imports."""
    (folder / "chain").mkdir(parents=True, exist_ok=True)
    for name in only:
        (folder / "chain" / name).write_text(SOURCES[name].format(factor=factor), encoding="utf-8")


@pytest.fixture
def digest(monkeypatch):
    """Digest of chain.loop as a new process would find it in a folder."""

    def of(folder):
        for name in [name for name in sys.modules if name.split(".")[0] == "chain"]:
            monkeypatch.delitem(sys.modules, name)
        monkeypatch.syspath_prepend(str(folder))
        source_digest.cache_clear()
        _own_digest.cache_clear()
        for name in ("near", "aside"):
            importlib.import_module(f"chain.{name}")
        return source_digest("chain.near")

    return of


def test_what_only_some_processes_load_is_no_source_of_a_loop():
    source = "from chain.near import TWICE\nif TYPE_CHECKING:\n    from chain.far import FACTOR\n"
    assert _imports(source, "chain") == ["chain.near.TWICE", "chain.near"]


def test_digest_follows_a_source_two_imports_away_and_no_other(tmp_path, digest):
    write_package(tmp_path / "a", 3)
    write_package(tmp_path / "b", 30)
    write_package(tmp_path / "c", 3)
    write_package(tmp_path / "c", 30, only=("aside.py",))
    assert digest(tmp_path / "a") == digest(tmp_path / "c") != digest(tmp_path / "b")


@pytest.mark.slow
def test_stored_code_is_made_again_when_a_constant_elsewhere_changes(tmp_path):
    program = "from chain.loop import scaled; print(scaled(1.0), sum(scaled.stats.cache_hits.values()))"

    def run():
        command = [sys.executable, "-B", "-c", program]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
        return done.stdout.split()

    write_package(tmp_path, 3)
    assert [run(), run()] == [["6.0", "0"], ["6.0", "1"]]
    write_package(tmp_path, 30, only=("aside.py",))
    assert run() == ["6.0", "1"]
    write_package(tmp_path, 30, only=("far.py",))
    assert [run(), run()] == [["60.0", "0"], ["60.0", "1"]]


@pytest.mark.slow
def test_stored_code_whose_types_are_gone_is_made_again(tmp_path):
    """As after an upgrade that renames what a loop takes."""

    def run(name):
        source = (
            "from typing import NamedTuple\n\nfrom hopyears.models.basics.kernel import kernel\n\n\n"
            f"class {name}(NamedTuple):\n    x: float\n\n\n"
            f"@kernel\ndef doubled(of):\n    return 2.0 * of.x\n\n\n"
            f"def answer():\n    return doubled({name}(3.0)), sum(doubled.stats.cache_hits.values())\n"
        )
        (tmp_path / "taken.py").write_text(source, encoding="utf-8")
        command = [sys.executable, "-B", "-c", "from taken import answer; print(*answer())"]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
        return done.stdout.split()

    assert [run("First"), run("First")] == [["6.0", "0"], ["6.0", "1"]]
    assert [run("Second"), run("Second")] == [["6.0", "0"], ["6.0", "1"]]


@pytest.mark.slow
def test_stored_code_that_is_damaged_or_has_no_room_costs_time_only(tmp_path):
    """Read again, cut short, and in folders that take nothing; told in one line whenever it is made."""
    program = "from chain.loop import scaled; print(scaled(1.0), sum(scaled.stats.cache_hits.values()))"
    told = "compiling loops for this processor, once after an installation: takes about 20 s"

    def run(kept):
        """What it prints, and what it tells a terminal."""
        home = {"HOME": "/dev/null", "XDG_CACHE_HOME": "/dev/null"}
        shown, terminal = pty.openpty()
        done = subprocess.run(
            [sys.executable, "-B", "-c", f"import sys; {program}; print('.', file=sys.stderr)"],
            cwd=tmp_path,
            env={**os.environ, **home, "NUMBA_CACHE_DIR": str(kept)},
            stdout=subprocess.PIPE,
            stderr=terminal,
            text=True,
            check=True,
        )
        os.close(terminal)
        said = os.read(shown, 4096).decode()
        os.close(shown)
        return done.stdout.split(), said.split("\r\n")[0].removesuffix(".")

    write_package(tmp_path, 3)
    assert run(tmp_path / "kept") == (["6.0", "0"], told)
    assert run(tmp_path / "kept") == (["6.0", "1"], "")
    (code,) = (tmp_path / "kept").rglob("*.nbc")
    code.write_bytes(code.read_bytes()[:-500])
    assert run(tmp_path / "kept") == (["6.0", "0"], told)
    (tmp_path / "full").symlink_to("/dev/null")
    (tmp_path / "chain" / "__pycache__").symlink_to("/dev/null")
    assert run(tmp_path / "full")[0][0] == "6.0"


def test_every_loop_is_compiled_by_the_one_decorator():
    folders = [Path(package.__file__).parent for package in (hopyears.models, hopyears.sim)]
    users = {
        p.name for f in folders for p in f.rglob("*.py") if "import njit" in p.read_text(encoding="utf-8")
    }
    assert users == {"kernel.py"}


@pytest.mark.slow
def test_a_row_is_asked_for_ahead_and_nothing_else_changes():
    @jit(nopython=True)
    def total(rows):
        found = 0.0
        for i in range(len(rows)):
            fetch_ahead(rows, min(i + 2, len(rows) - 1))
            found += rows[i, 0]
        return found

    rows = np.arange(30.0).reshape(10, 3)
    assert total(rows) == rows[:, 0].sum()
    assert "prefetch" in next(iter(total.inspect_asm().values()))
