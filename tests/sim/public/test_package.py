"""What is installed: one package, hopyears, with every folder of the code and the files beside it."""

import json
import os
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]


def folders_of_code() -> set[str]:
    """Dotted names of the folders that hold modules, as they are installed."""
    found = {
        path.parent.relative_to(ROOT) for top in ("sim", "models") for path in (ROOT / top).rglob("*.py")
    }
    names = {".".join(("hopyears", *folder.parts)) for folder in found}
    return names - {"hopyears.sim.public"} | {"hopyears"}


def can_build() -> bool:
    """Whether a wheel can be built without fetching what builds it."""
    try:
        return int(version("setuptools").partition(".")[0]) >= 75
    except PackageNotFoundError:
        return False


def test_every_folder_of_code_is_installed() -> None:
    assert sorted(SETTINGS["packages"]) == sorted(folders_of_code())


def test_every_file_beside_the_code_is_named() -> None:
    others = [
        path.relative_to(ROOT)
        for top in ("sim", "models")
        for path in (ROOT / top).rglob("*")
        if path.is_file() and path.suffix != ".py" and "__pycache__" not in path.parts
        if path.name != "README.md"  # for who reads the code, not for who runs it
    ]
    data = {
        Path(*package.split(".")[1:]) if package != "hopyears" else Path("sim/public"): patterns
        for package, patterns in SETTINGS["package-data"].items()
    }
    assert others
    for path in others:
        assert any(
            path.is_relative_to(folder) and path.relative_to(folder).match(pattern)
            for folder, patterns in data.items()
            for pattern in patterns
        ), path


IMPORTS_ALL = """
import importlib, pkgutil, sys, hopyears
names = [each.name for each in pkgutil.walk_packages(hopyears.__path__, "hopyears.")]
for name in names:
    importlib.import_module(name)
print(hopyears.__file__, *names, sep="\\n")
"""
CALLS = "import sys; from hopyears.sim.commands import main; sys.exit(main(sys.argv[1:]))"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel that is built of a source distribution, which is built of a copy of the sources."""
    folder = tmp_path_factory.mktemp("built")
    copy = folder / "source"
    for name in ("sim", "models"):
        for path in (ROOT / name).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                target = copy / path.relative_to(ROOT)
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(path.read_bytes())
    for name in ("pyproject.toml", "README.md"):
        (copy / name).write_bytes((ROOT / name).read_bytes())
    sources = f"from setuptools.build_meta import build_sdist; build_sdist({str(folder)!r})"
    subprocess.run([sys.executable, "-c", sources], check=True, cwd=copy, capture_output=True)
    (packed,) = folder.glob("*.tar.gz")
    build = ["-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "--quiet", "--wheel-dir"]
    subprocess.run([sys.executable, *build, str(folder), str(packed)], check=True, cwd=folder)
    (built,) = folder.glob("*.whl")
    return built


@pytest.mark.slow
@pytest.mark.skipif(not can_build(), reason="setuptools of 75 or later is not installed: no wheel is built")
def test_wheel_holds_one_package(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    assert {name.split("/")[0].split("-")[0] for name in names} == {"hopyears"}
    for wanted in ("__init__.py", "api.py", "py.typed", "sim/streams.py", "models/air/storm.py"):
        assert f"hopyears/{wanted}" in names
    assert {"hopyears/sim/report/templates/page.html", "hopyears/sim/guide/columns.md"} <= {*names}
    assert not [name for name in names if name.startswith("hopyears/sim/public")]


@pytest.mark.slow
@pytest.mark.skipif(not can_build(), reason="setuptools of 75 or later is not installed: no wheel is built")
def test_what_was_built_runs_from_a_folder_of_its_own(wheel: Path, tmp_path: Path) -> None:
    """Every module loads from there and none from the sources, and a verb answers."""
    zipfile.ZipFile(wheel).extractall(tmp_path / "installed")
    environment = {**os.environ, "PYTHONPATH": str(tmp_path / "installed")}

    def said(program: str, *words: str) -> str:
        done = subprocess.run(
            [sys.executable, "-c", program, *words],
            cwd=tmp_path,
            env=environment,
            check=True,
            capture_output=True,
            text=True,
        )
        return done.stdout

    place, *names = said(IMPORTS_ALL).split()
    assert place == str(tmp_path / "installed" / "hopyears" / "__init__.py")
    assert {name.rpartition(".")[0] for name in names} | {"hopyears"} >= folders_of_code()
    assert json.loads(said(CALLS, "schema"))["type"] == "object"
