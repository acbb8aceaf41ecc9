"""Numbers that take long to fit or to look up, kept on disk under everything that decides them.

The first line of a file is the digest of the rest: what is damaged is made again. The second is JSON with the
key and the values, or of arrays their shapes; then come the numbers of all arrays, eight bytes each.
"""

import hashlib
import json
import math
import os
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar, cast

import numpy as np
import platformdirs

from hopyears.models.basics.arrays import Floats
from hopyears.sim.storage.whole_file import digest_of

CACHE_VARIABLE = "HOPYEARS_CACHE"
"""Environment variable that names another cache folder."""

Key = tuple[str | float | int | tuple[float, ...] | None, ...]
Shapes = dict[str, list[int]]
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
    file = _file(kind, named, "json")
    found = _found(file, named, lambda values, _: read(values))
    if found is None:
        values = compute()
        _store(file, named, values, b"")
        return read(values)
    return found


def kept_arrays(kind: str, key: Key, compute: Callable[[], Mapping[str, Floats]]) -> dict[str, Floats]:
    """The same for arrays; to the last bit those that were computed.

    The version of numpy, whose draws may change, is added to the key.
    """
    return kept_arrays_each(kind, [key], lambda _: [compute()])[0]


def kept_arrays_each(
    kind: str, keys: Sequence[Key], compute: Callable[[list[int]], Iterable[Mapping[str, Floats]]]
) -> list[dict[str, Floats]]:
    """The same for several keys at once: ``compute`` makes those of some, by their numbers, in order."""
    named = [json.dumps([kind, *key, np.__version__]) for key in keys]
    number = {each: i for i, each in reversed(list(enumerate(named)))}
    found = {each: _found(_file(kind, each, "numbers"), each, _arrays) for each in number}
    lacking = sorted(number[each] for each, arrays in found.items() if arrays is None)
    for i, made in zip(lacking, compute(lacking) if lacking else (), strict=True):
        arrays = {field: np.array(array, dtype=np.float64, order="C") for field, array in made.items()}
        shapes = {field: [*array.shape] for field, array in arrays.items()}
        _store(
            _file(kind, named[i], "numbers"), named[i], shapes, b"".join(a.tobytes() for a in arrays.values())
        )
        found[named[i]] = arrays
    return [cast(dict[str, Floats], found[each]) for each in named]


def _arrays(shapes: Shapes, numbers: bytes) -> dict[str, Floats]:
    """Arrays of these shapes, of their numbers one after the other."""
    found, flat, at = {}, np.frombuffer(numbers, dtype=np.float64), 0
    for field, shape in shapes.items():
        size = math.prod(shape)
        found[field] = flat[at : at + size].reshape(shape).copy()
        at += size
    return found


def _file(kind: str, named: str, ending: str) -> Path:
    digest = hashlib.blake2b(named.encode(), digest_size=12).hexdigest()
    return cache_folder() / f"{kind}-{digest}.{ending}"


def _found(file: Path, named: str, read: Callable[[dict[str, Any], bytes], _T]) -> _T | None:
    """What is stored under a key; None if there is no cache, or a spoilt one."""
    try:
        digest, _, content = file.read_bytes().partition(b"\n")
        if digest.decode() == digest_of(content):
            text, _, rest = content.partition(b"\n")
            stored = json.loads(text)
            if stored["key"] == named:
                return read(stored["values"], rest)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        pass
    return None


def _store(file: Path, named: str, values: Mapping[str, Any], rest: bytes) -> None:
    text = json.dumps({"key": named, "values": values}).encode()
    content = text + b"\n" + rest if rest else text
    _write(file, digest_of(content).encode() + b"\n" + content)


def _write(file: Path, data: bytes) -> None:
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
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        os.replace(temporary, file)
    except OSError:
        Path(temporary).unlink(missing_ok=True)
