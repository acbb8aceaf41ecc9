"""Reads the bytes, text and TOML of an input file, whatever it turns out to be, and writes files."""

import tomllib
from pathlib import Path
from typing import Any

from hopyears.sim.inputs.input_errors import InputError, printable

LARGEST_FILE_BYTES = 64 * 1024 * 1024
DEEPEST_NESTING = 8
"""Tables and lists within each other; a network file needs four."""


def read_text(path: Path) -> str:
    """Text of a file.

    Raises
    ------
    InputError
        If the file is missing, unreadable, a folder, larger than ``LARGEST_FILE_BYTES``, or not UTF-8.
    """
    data = read_bytes(path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        looks = _looks_like(data)
        raise InputError.one(
            f"{path.name}: byte {error.start} is not UTF-8; must be UTF-8 text{looks}"
        ) from None


def _looks_like(data: bytes) -> str:
    """What a text that is not UTF-8 looks like, for the end of a sentence; empty where like no text."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") and len(data) % 2 == 0:
        return ". It looks like UTF-16: save it as UTF-8"
    text = data.decode("latin-1")
    if any(not c.isprintable() and c not in "\t\r\n" for c in text):
        return ""
    return ". It looks like Latin-1: save it as UTF-8 (hopyears import reads both)"


def read_bytes(path: Path) -> bytes:
    """Bytes of a file.

    Raises
    ------
    InputError
        If the file is missing, unreadable, a folder, or larger than ``LARGEST_FILE_BYTES``.
    """
    try:
        if path.is_dir():
            raise InputError.one(f"{path}: file is a folder; must be a file")
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        raise InputError.one(f"{path}: file is not readable ({reason}); must be a readable file") from None
    if len(data) > LARGEST_FILE_BYTES:
        allowed = f"at most {LARGEST_FILE_BYTES / 2**20:g} MiB"
        raise InputError.one(f"{path.name}: size is more than allowed; must be {allowed}")
    return data


def read_toml(path: Path) -> dict[str, Any]:
    """Contents of a TOML file.

    Raises
    ------
    InputError
        As ``read_text``; also if the text is not TOML, or nested deeper than ``DEEPEST_NESTING``.
    """
    text = read_text(path)
    try:
        contents = tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, or a whole number of thousands of digits
        reason = printable(str(error), 300)
        raise InputError.one(f"{path.name}: text is not TOML ({reason}); must be a TOML file") from None
    except RecursionError:
        raise InputError.one(_too_deep(path)) from None
    if _deeper_than(contents, DEEPEST_NESTING):
        raise InputError.one(_too_deep(path))
    return contents


def write_text(path: Path, text: str) -> Path:
    """Write a file that a user asked for, and give its path; an old one stays until the new one is whole.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    partial = path.with_name(f".{path.name}.partial") if path.is_file() or not path.exists() else path
    try:
        partial.write_text(text, encoding="utf-8")
        partial.replace(path)
    except OSError as error:
        if partial != path:
            partial.unlink(missing_ok=True)
        raise InputError.one(f"{path}: file is not writable ({error.strerror}); must be") from None
    return path


def _too_deep(path: Path) -> str:
    return (
        f"{path.name}: nesting is too deep; must be at most {DEEPEST_NESTING} tables and lists in each other"
    )


def _deeper_than(contents: object, limit: int) -> bool:
    """Whether tables and lists are nested deeper than a limit; needs no recursion."""
    level: list[object] = [contents]
    for _ in range(limit + 1):
        if not level:
            return False
        below: list[object] = []
        for value in level:
            if isinstance(value, dict):
                below += value.values()
            elif isinstance(value, list):
                below += value
        level = [value for value in below if isinstance(value, dict | list)]
    return True
