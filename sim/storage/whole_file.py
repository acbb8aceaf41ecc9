"""Files that are whole or not there, and that tell when they are damaged."""

import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

CHECKSUM = "checksum"
"""Entry of a JSON file that holds the digest of all its other entries."""


class RunError(Exception):
    """A run that was rightly asked for cannot go on. Its text is the message for the user, in one line."""


def digest_of(data: bytes) -> str:
    """Digest by which damage is seen: 128 bits of BLAKE2b, in hexadecimal digits."""
    return hashlib.blake2b(data, digest_size=16).hexdigest()


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole or not at all, also when the power goes: to a temporary name, to the disk, renamed.

    Raises
    ------
    OSError
        If it cannot be written; the temporary file is gone, an earlier file of the name stands.
    """
    partial = path.with_name(f".{path.name}")
    try:
        with partial.open("wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        partial.replace(path)
    except OSError:
        partial.unlink(missing_ok=True)
        raise
    keep_names(path.parent)


def keep_names(folder: Path) -> None:
    """See to it that the names of a folder, of which one has just changed, outlast a loss of power."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def json_bytes(content: Mapping[str, Any]) -> bytes:
    """A JSON file with its checksum."""
    signed = {**content, CHECKSUM: _checksum(content)}
    return (json.dumps(signed, indent=2, sort_keys=True) + "\n").encode()


def read_json(path: Path) -> dict[str, Any] | None:
    """Entries of a JSON file, its checksum among them; None where no file is there or it holds no table."""
    try:
        content = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    return content if isinstance(content, dict) else None


def checked(content: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Entries of a JSON file without their checksum; None where it does not fit them."""
    if content is None:
        return None
    rest = {name: value for name, value in content.items() if name != CHECKSUM}
    return rest if content.get(CHECKSUM) == _checksum(rest) else None


def _checksum(content: Mapping[str, Any]) -> str:
    return digest_of(json.dumps(content, sort_keys=True).encode())
