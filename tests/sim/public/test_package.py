"""What is installed: one package, hopyears, with every folder of the code and the files beside it."""

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


@pytest.mark.slow
@pytest.mark.skipif(not can_build(), reason="setuptools of 75 or later is not installed: no wheel is built")
def test_wheel_holds_one_package(tmp_path: Path) -> None:
    build = ["-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "--quiet", "--wheel-dir"]
    copy = tmp_path / "source"
    for name in ("sim", "models"):
        for path in (ROOT / name).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                target = copy / path.relative_to(ROOT)
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(path.read_bytes())
    for name in ("pyproject.toml", "README.md"):
        (copy / name).write_bytes((ROOT / name).read_bytes())
    subprocess.run([sys.executable, *build, str(tmp_path), str(copy)], check=True, cwd=tmp_path)
    (wheel,) = tmp_path.glob("*.whl")
    names = zipfile.ZipFile(wheel).namelist()
    assert {name.split("/")[0].split("-")[0] for name in names} == {"hopyears"}
    for wanted in ("__init__.py", "api.py", "py.typed", "sim/streams.py", "models/air/storm.py"):
        assert f"hopyears/{wanted}" in names
    assert {"hopyears/sim/report/templates/page.html", "hopyears/sim/guide/columns.md"} <= {*names}
    assert not [name for name in names if name.startswith("hopyears/sim/public")]
