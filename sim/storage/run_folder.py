"""The folder of a run: manifest, one folder of tables per finished block, tables of results.

Whatever is written goes to a temporary name first and is renamed when it is whole, so that a run that is
stopped at any moment leaves only finished pieces. Resuming is adding: finished blocks are read, missing
ones are simulated.
"""

import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from hopyears.sim.inputs.network_file import InputError

MANIFEST = "manifest.json"
NETWORK = "network.json"
BLOCKS = "blocks"
TABLES = "tables"
LOCK = "in-use"
FORMAT = 6
"""Of a folder, stated in its manifest; raised whenever blocks, tables or manifest change what they hold."""

VERSIONED = ("hopyears", "numpy", "scipy", "numba", "simpy", "itur", "pandas", "pyarrow")
"""Packages whose versions decide the numbers, and so belong to the run's identity."""


def versions() -> dict[str, str]:
    """Versions of all that decides the numbers."""
    return {name: version(name) for name in VERSIONED}


def run_identity(content: Mapping[str, Any]) -> str:
    """Short digest of all that decides a run's numbers, and of nothing else."""
    text = json.dumps(content, sort_keys=True)
    return hashlib.blake2b(text.encode(), digest_size=12).hexdigest()


class RunFolder:
    """A run on disk, or a study that keeps its blocks in the same way.

    Parameters
    ----------
    path : Path
    manifest : str
        Name of its manifest: a study has another, so that nobody takes its folder for a run.
    """

    def __init__(self, path: Path | str, manifest: str = MANIFEST) -> None:
        self.path = Path(path)
        self._manifest = manifest

    def begin(self, manifest: Mapping[str, Any], network: Mapping[str, Any], *, resume: bool) -> None:
        """Make the folder ready for blocks of the run that the manifest describes.

        Raises
        ------
        InputError
            If the folder holds anything and ``resume`` is false, or a different run than this one, or one
            that is damaged.
        """
        if self.path.is_file():
            raise InputError(f"{self.path}: output folder is a file; must be a folder")
        held = sorted(item.name for item in self.path.iterdir()) if self.path.is_dir() else []
        if (self.path / self._manifest).is_file():
            self._join_run(manifest, resume=resume)
        elif held:
            raise InputError(
                f'{self.path}: output folder is not empty (holds "{held[0]}"); must be new or empty'
            )
        try:
            (self.path / BLOCKS).mkdir(parents=True, exist_ok=True)
            write_json(self.path / NETWORK, network)
            self.write_manifest(manifest)
        except OSError as error:
            raise InputError(f"{self.path}: output folder is not writable ({error.strerror})") from None

    def _join_run(self, manifest: Mapping[str, Any], *, resume: bool) -> None:
        if not resume:
            raise InputError(
                f"{self.path}: output folder is in use by a run; must be new or empty. "
                "--resume adds what that run lacks"
            )
        found = self.manifest()["identity"]
        if found != manifest["identity"]:
            raise InputError(
                f"{self.path}: output folder is of another run ({found}); must be of this one "
                f"({manifest['identity']}): the network, seed, block length, options and versions decide, "
                "in a study also what it asks"
            )
        folders = [self._block(block) for block in self.finished_blocks()]
        names = sorted({path.name for folder in folders for path in folder.glob("*.parquet")})
        for path in (folder / name for folder in folders for name in names):
            _whole(path, pq.read_metadata)

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Keep a second process out of the folder.

        Raises
        ------
        InputError
            If another process holds it.
        """
        lock = self.path / LOCK
        try:
            handle = os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY)
        except FileExistsError:
            if not _stale(lock):
                raise InputError(
                    f"{self.path}: output folder is in use by process {lock.read_text()}; must be free"
                ) from None
            lock.unlink()
            handle = os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY)
        try:
            os.write(handle, str(os.getpid()).encode())
            os.close(handle)
            yield
        finally:
            lock.unlink(missing_ok=True)

    def manifest(self) -> dict[str, Any]:
        """The manifest.

        Raises
        ------
        InputError
            If the folder holds no run, or one of another format than ``FORMAT``; also later, when an entry
            is looked up that is missing.
        """
        content = _json_table(self.path / self._manifest)
        if content is None:
            raise InputError(f"{self.path}: folder is not a run; must be one that simulate wrote")
        if content.get("format") != FORMAT:
            raise InputError(
                f"{self.path}: format of the run is {content.get('format', 'missing')}; must be {FORMAT}: "
                "another version wrote it. Simulate it anew, into a new folder"
            )
        return StoredManifest(self.path / self._manifest, content)

    def write_manifest(self, manifest: Mapping[str, Any]) -> None:
        """Store the manifest of the run with the format of its folder, replacing an earlier one."""
        write_json(self.path / self._manifest, {**manifest, "format": FORMAT})

    def network(self) -> dict[str, Any]:
        """The network of the run, every default filled in.

        Raises
        ------
        InputError
            If it cannot be read.
        """
        content = _json_table(self.path / NETWORK)
        if content is None:
            raise InputError(f"{self.path}: {NETWORK} is not readable; must be as simulate wrote it")
        return content

    def finished_blocks(self) -> list[int]:
        """Numbers of the blocks that are whole, in order."""
        return sorted(int(item.name) for item in (self.path / BLOCKS).glob("*") if item.name.isdigit())

    def _block(self, block: int) -> Path:
        return self.path / BLOCKS / f"{block:06d}"

    def write_block(self, block: int, tables: Mapping[str, pa.Table]) -> None:
        """Store a finished block: all of its tables or nothing."""
        final = self._block(block)
        partial = self.path / BLOCKS / f".{block:06d}"
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir()
        for name, table in tables.items():
            write_table(partial / f"{name}.parquet", table)
        partial.rename(final)

    def read_block(self, block: int) -> dict[str, pa.Table]:
        """Tables of a finished block by name.

        Raises
        ------
        InputError
            If one cannot be read; also later, when one is looked up that is missing.
        """
        return StoredTables(self._block(block))

    def read_table(self, block: int, name: str) -> pa.Table:
        """One table of a finished block.

        Raises
        ------
        InputError
            If it is missing or cannot be read.
        """
        return read_table(self._block(block) / f"{name}.parquet")

    def write_results(self, tables: Mapping[str, pa.Table]) -> None:
        """Store the tables of results, replacing those of fewer blocks."""
        final, partial = self.path / TABLES, self.path / f".{TABLES}"
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir()
        for name, table in tables.items():
            write_table(partial / f"{name}.parquet", table)
        shutil.rmtree(final, ignore_errors=True)
        partial.rename(final)

    def read_results(self) -> dict[str, pa.Table]:
        """Tables of results by name; raises as ``read_block``."""
        return StoredTables(self.path / TABLES)


def _stale(lock: Path) -> bool:
    """Whether the process that made a lock is gone."""
    try:
        os.kill(int(lock.read_text()), 0)
    except (ValueError, ProcessLookupError):
        return True
    except PermissionError:
        return False
    return False


def write_json(path: Path, content: Mapping[str, Any]) -> None:
    """Write JSON under a temporary name, then rename."""
    partial = path.with_name(f".{path.name}")
    partial.write_text(json.dumps(content, indent=2, sort_keys=True) + "\n")
    partial.replace(path)


def write_table(path: Path, table: pa.Table) -> None:
    """Write one table as Parquet; equal tables give equal bytes."""
    pq.write_table(table, path, compression="zstd")


class StoredManifest(dict[str, Any]):
    """Entries of a manifest; one that is missing is a fault of the file."""

    def __init__(self, path: Path, content: Mapping[str, Any]) -> None:
        super().__init__(content)
        self._path = path

    def __missing__(self, name: str) -> Any:
        raise InputError(f"{self._path}: {name} is missing; must be as simulate wrote it")


class StoredTables(dict[str, pa.Table]):
    """Every Parquet table of a folder by name; one that is missing is a fault of the folder."""

    def __init__(self, folder: Path) -> None:
        super().__init__((path.stem, read_table(path)) for path in sorted(folder.glob("*.parquet")))
        self._folder = folder

    def __missing__(self, name: str) -> pa.Table:
        return read_table(self._folder / f"{name}.parquet")


def read_table(path: Path) -> pa.Table:
    """One Parquet table.

    Raises
    ------
    InputError
        If it is missing or cannot be read.
    """
    return _whole(path, pq.read_table)


def _whole(path: Path, read: Callable[[Path], Any]) -> Any:
    try:
        return read(path)
    except (OSError, pa.ArrowException):
        found = "damaged" if path.exists() else "missing"
        raise InputError(
            f"{path}: table is {found}; must be as simulate wrote it. "
            f"Delete the folder {path.parent.name}, and --resume makes it again"
        ) from None


def _json_table(path: Path) -> dict[str, Any] | None:
    """The table in a JSON file; None where there is no such file or it holds no table."""
    try:
        content = json.loads(path.read_text())
    except (OSError, ValueError):
        return None
    return content if isinstance(content, dict) else None
