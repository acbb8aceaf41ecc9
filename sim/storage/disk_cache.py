"""Numbers that take long to fit or to look up, kept on disk under everything that decides them.

The first line of a file is the digest of the rest: what is damaged is made again.
"""

import hashlib
import json
import os
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import platformdirs

from hopyears.models.basics.arrays import Floats
from hopyears.sim.storage.whole_file import digest_of

CACHE_VARIABLE = "HOPYEARS_CACHE"
"""Environment variable that names another cache folder."""

Key = tuple[str | float | int | tuple[float, ...] | None, ...]
_T = TypeVar("_T")


def cache_folder() -> Path:
    """Folder of the cache: that of HOPYEARS_CACHE if set, else the user's own cache folder."""
    named = os.environ.get(CACHE_VARIABLE)
    return Path(named) if named else Path(platformdirs.user_cache_dir("hopyears"))


def kept(
    kind: str, key: Key, compute: Callable[[], dict[str, Any]], read: Callable[[dict[str, Any]], _T]
) -> _T:
    """What is stored for a key, or computed and stored if there is nothing or it is unreadable.

    Parameters
    ----------
    kind : str
        What it is; begins the name of the file.
    key : tuple
        Everything that decides it.
    compute : callable
        Makes the values, as JSON can hold them.
    read : callable
        Makes of such values what is asked for; an error of value, key, type or attribute if it cannot.
    """
    named = json.dumps([kind, *key])
    name = f"{kind}-{hashlib.blake2b(named.encode(), digest_size=12).hexdigest()}.json"
    file = cache_folder() / name
    try:
        digest, _, text = file.read_text(encoding="utf-8").partition("\n")
        if digest == digest_of(text.encode()):
            stored = json.loads(text)
            if stored["key"] == named:
                return read(stored["values"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        pass  # no cache, or a spoilt one: make it again
    values = compute()
    text = json.dumps({"key": named, "values": values})
    _write(file, f"{digest_of(text.encode())}\n{text}")
    return read(values)


def kept_arrays(kind: str, key: Key, compute: Callable[[], Mapping[str, Floats]]) -> dict[str, Floats]:
    """The same for one-dimensional, finite arrays; to the last bit those that were computed.

    The version of numpy, whose draws may change, is added to the key.
    """

    def read(values: dict[str, Any]) -> dict[str, Floats]:
        return {field: np.array(numbers, dtype=np.float64) for field, numbers in values.items()}

    def listed() -> dict[str, Any]:
        return {field: np.asarray(array, dtype=np.float64).tolist() for field, array in compute().items()}

    return kept(kind, (*key, np.__version__), listed, read)


def _write(file: Path, text: str) -> None:
    """Write a whole file or nothing; a folder that cannot be written costs time, not the answer.

    Several processes may write the same file at once. Nothing waits for the disk: half a file is seen by
    its digest.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=file.parent, prefix=file.stem, suffix=".tmp")
    except OSError:
        return
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
        os.replace(temporary, file)
    except OSError:
        Path(temporary).unlink(missing_ok=True)
