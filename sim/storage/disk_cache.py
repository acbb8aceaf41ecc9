"""Numbers that take long to fit, kept on disk under everything that decides them."""

import hashlib
import json
import os
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import platformdirs
from numpy.typing import NDArray

CACHE_VARIABLE = "HOPYEARS_CACHE"
"""Environment variable that names another cache folder."""

Floats = NDArray[np.float64]
Key = tuple[str | float | int | tuple[float, ...], ...]


def cache_folder() -> Path:
    """Folder of the cache: that of HOPYEARS_CACHE if set, else the user's own cache folder."""
    named = os.environ.get(CACHE_VARIABLE)
    return Path(named) if named else Path(platformdirs.user_cache_dir("hopyears"))


def kept_arrays(kind: str, key: Key, compute: Callable[[], Mapping[str, Floats]]) -> dict[str, Floats]:
    """Arrays stored for a key, or computed and stored ones if there are none or they are unreadable.

    Parameters
    ----------
    kind : str
        What the arrays are; begins the name of the file.
    key : tuple
        Everything that decides the arrays; the version of numpy, whose draws may change, is added.
    compute : callable
        Makes the arrays, one-dimensional, finite.

    Returns
    -------
    dict
        The arrays, to the last bit those that were computed.
    """
    named = json.dumps([kind, key, np.__version__])
    name = f"{kind}-{hashlib.blake2b(named.encode(), digest_size=12).hexdigest()}.json"
    file = cache_folder() / name
    try:
        stored = json.loads(file.read_text(encoding="utf-8"))
        if stored["key"] == named:
            return {field: np.array(values, dtype=np.float64) for field, values in stored["arrays"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        pass  # no cache, or a spoilt one: make it again
    arrays = {field: np.asarray(values, dtype=np.float64) for field, values in compute().items()}
    write_whole(file, json.dumps({"key": named, "arrays": {field: list(v) for field, v in arrays.items()}}))
    return arrays


def write_whole(file: Path, text: str) -> None:
    """Write a whole file or nothing; a folder that cannot be written costs time, not the answer."""
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
