"""The folder of a run: manifest, one file per finished block, tables of results.

Whatever is written goes to a temporary name first, to the disk, and is renamed when it is whole, so that a
run that is stopped at any moment leaves only finished pieces. Resuming is adding: finished blocks are read,
missing ones are simulated. All files carry checksums that are verified on reading, so that nothing damaged
is taken for another number; ``--resume`` makes it again.
"""

import fcntl
import hashlib
import json
import logging
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pyarrow as pa

from hopyears.sim.inputs.input_errors import InputError
from hopyears.sim.storage.table_files import (
    packed,
    packed_origin,
    read_packed,
    read_tables,
    table_parts,
    write_tables,
)
from hopyears.sim.storage.whole_file import RunError, checked, json_bytes, read_json, write_whole

LOG = logging.getLogger("hopyears")

MANIFEST = "manifest.json"
NETWORK = "network.json"
BLOCKS = "blocks"
TABLES = "tables"
LOCK = ".lock"
"""File that whoever works in a folder holds locked. It stays: who removes a lock may remove another's."""

FORMAT = 13
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

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Make the folder if there is none, and keep a second process out of it.

        The lock is the operating system's: it ends with the process that holds it, however that ends.

        Raises
        ------
        InputError
            If another process holds it, or the folder is not one for a run. Nothing is written then.
        """
        self._refuse_foreign()
        try:
            self.path.mkdir(parents=True, exist_ok=True)
            handle = os.open(self.path / LOCK, os.O_CREAT | os.O_RDWR, 0o666)
        except OSError as error:
            raise self._unwritable(error) from None
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(handle)
            raise InputError(
                f"{self.path}: output folder is in use by another process; must be free"
            ) from None
        except OSError as error:
            os.close(handle)
            raise InputError(
                f"{self.path}: output folder cannot be locked ({error.strerror}); "
                "must be on a file system with locks"
            ) from None
        try:
            yield
        finally:
            fcntl.flock(handle, fcntl.LOCK_UN)
            os.close(handle)

    def begin(self, manifest: Mapping[str, Any], network: Mapping[str, Any], *, resume: bool) -> None:
        """Make the folder ready for blocks of the run that the manifest describes; call it under the lock.

        Blocks that are damaged, or of another run, are removed and told. A folder whose making was cut short
        is taken as new.

        Raises
        ------
        InputError
            If the folder holds anything else, or a run and ``resume`` is false, or a different run than this
            one.
        """
        self._refuse_foreign()
        if (self.path / self._manifest).is_file():
            self._join_run(manifest, resume=resume)
        try:
            (self.path / BLOCKS).mkdir(parents=True, exist_ok=True)
            for partial in (self.path / BLOCKS).glob(".*"):
                partial.unlink()
            self._write_manifest(manifest)
            write_whole(self.path / NETWORK, json_bytes(network))
        except OSError as error:
            raise self._unwritable(error) from None

    def _refuse_foreign(self) -> None:
        """Raise InputError where the folder is a file, or holds what no run leaves that has just begun."""
        try:
            if self.path.is_file():
                raise InputError(f"{self.path}: output folder is a file; must be a folder")
            held = sorted(item.name for item in self.path.iterdir()) if self.path.is_dir() else []
        except OSError as error:
            raise self._unwritable(error) from None
        begun = {LOCK, f".{self._manifest}"} | ({BLOCKS} if not self.finished_blocks() else set())
        foreign = [name for name in held if name not in begun]
        if foreign and self._manifest not in held:
            raise InputError(
                f'{self.path}: output folder is not empty (holds "{foreign[0]}"); must be new or empty'
            )

    def _unwritable(self, error: OSError) -> InputError:
        return InputError(f"{self.path}: output folder is not writable ({error.strerror})")

    def _join_run(self, manifest: Mapping[str, Any], *, resume: bool) -> None:
        if not resume:
            raise InputError(
                f"{self.path}: output folder is in use by a run; must be new or empty. "
                "--resume adds what that run lacks"
            )
        origins = {block: packed_origin(self._block(block)) for block in self.finished_blocks()}
        found = self._identity_found(origins)
        if found is not None and found != manifest["identity"]:
            raise InputError(
                f"{self.path}: output folder is of another run ({found}); must be of this one "
                f"({manifest['identity']}): the network, seed, block length, options and versions decide, "
                "in a study also what it asks"
            )
        for block, origin in origins.items():
            if origin != self._origin(manifest["identity"], block):
                LOG.warning("warning: %s: block is damaged; it is simulated again", self._block(block))
                self._block(block).unlink()

    def _identity_found(self, origins: Mapping[int, Mapping[str, Any] | None]) -> str | None:
        """Whose the folder is by its manifest, or by its blocks where that is damaged; None if by nothing."""
        stored = self._stored_manifest()
        if stored is not None:
            return str(stored["identity"])
        if not (self.path / BLOCKS).is_dir():
            raise InputError(f"{self.path}: folder is not a run; must be one that simulate wrote")
        LOG.warning("warning: %s: manifest is damaged; it is made again", self.path / self._manifest)
        return next((str(origin["identity"]) for origin in origins.values() if origin is not None), None)

    def _stored_manifest(self) -> dict[str, Any] | None:
        """Entries of the manifest; None where it is missing or damaged, InputError if of another format."""
        content = read_json(self.path / self._manifest)
        if content is not None and content.get("format") != FORMAT:
            raise InputError(
                f"{self.path}: format of the run is {content.get('format', 'missing')}; must be {FORMAT}: "
                "another version wrote it. Simulate it anew, into a new folder"
            )
        return checked(content)

    def manifest(self) -> dict[str, Any]:
        """The manifest.

        Raises
        ------
        InputError
            If the folder holds no run, one of another format than ``FORMAT``, or a damaged manifest.
        """
        path = self.path / self._manifest
        if not path.is_file():
            raise InputError(f"{self.path}: folder is not a run; must be one that simulate wrote")
        content = self._stored_manifest()
        if content is None:
            raise InputError(
                f"{path}: manifest is damaged; must be as it was written. --resume of the run makes it again"
            )
        return content

    def _write_manifest(self, manifest: Mapping[str, Any]) -> None:
        write_whole(self.path / self._manifest, json_bytes({**manifest, "format": FORMAT}))

    def network(self) -> dict[str, Any]:
        """The network of the run, every default filled in.

        Raises
        ------
        InputError
            If it cannot be read.
        """
        content = checked(read_json(self.path / NETWORK))
        if content is None:
            raise InputError(f"{self.path}: {NETWORK} is not readable; must be as simulate wrote it")
        return content

    def finished_blocks(self) -> list[int]:
        """Numbers of the blocks that are there, in order."""
        return sorted(int(item.stem) for item in (self.path / BLOCKS).glob("*.zip") if item.stem.isdigit())

    def _block(self, block: int) -> Path:
        return self.path / BLOCKS / f"{block:06d}.zip"

    def _origin(self, identity: str, block: int) -> dict[str, Any]:
        return {"identity": identity, "block": block}

    def write_block(self, block: int, tables: Mapping[str, pa.Table | bytes]) -> None:
        """Store a finished block: all of its tables or nothing.

        Raises
        ------
        RunError
            If it cannot be written, for instance on a full disk.
        """
        path = self._block(block)
        try:
            write_whole(path, packed(tables, self._origin(self.manifest()["identity"], block)))
        except OSError as error:
            raise self._failure(path, error) from None

    def read_block(self, block: int, *names: str) -> dict[str, pa.Table]:
        """Tables of a finished block by name: those named, else all.

        Raises
        ------
        InputError
            If the block is missing or damaged.
        """
        return read_packed(self._block(block), *names)

    def read_table(self, block: int, name: str) -> pa.Table:
        """One table of a finished block.

        Raises
        ------
        InputError
            If it is missing or damaged.
        """
        return self.read_block(block, name)[name]

    def table_parts(
        self, block: int, name: str, *, columns: Sequence[str] = (), within: tuple[int, int] | None = None
    ) -> Iterator[pa.Table]:
        """One table of a finished block in parts, as ``table_files.table_parts``."""
        return table_parts(self._block(block), name, columns=columns, within=within)

    def write_results(self, tables: Mapping[str, pa.Table], origin: Mapping[str, Any] | None = None) -> None:
        """Store the tables of results and what they rest on, replacing those of fewer blocks.

        Raises
        ------
        RunError
            If they cannot be written.
        """
        try:
            write_tables(self.path / TABLES, tables, origin or {})
        except OSError as error:
            raise self._failure(self.path / TABLES, error) from None

    def read_results(self) -> dict[str, pa.Table]:
        """Tables of results by name, none before the run has any; raises as ``read_block``."""
        return read_tables(self.path / TABLES)[0]

    def results_rest_on(self) -> dict[str, Any]:
        """What ``write_results`` was told of the origin of its tables; raises as ``read_block``."""
        return read_tables(self.path / TABLES)[1]

    def _failure(self, path: Path, error: OSError) -> RunError:
        reason = os.strerror(error.errno) if error.errno else str(error)
        return RunError(
            f"{path}: cannot be written ({reason}); finished blocks are kept, --resume goes on from there"
        )
