"""How loops are compiled: one decorator, whose stored machine code follows all that it was made from."""

import ast
import hashlib
import inspect
import sys
from collections.abc import Callable
from functools import cache
from typing import Any, cast

from numba import njit


def _compiler(**options: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Decorator that compiles by numba with these options and keeps the machine code on disk.

    Notes
    -----
    numba keeps machine code under the date of the file that a loop stands in, and so misses a change of a
    constant or a loop that comes from another file. Here ``source_digest`` takes the place of that date, in
    the folder that numba chooses (NUMBA_CACHE_DIR if set). The attribute is not public; a test watches it.
    """

    def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
        loop = njit(cache=True, error_model="numpy", nogil=True, **options)(function)
        loop._cache._cache_file._source_stamp = source_digest(function.__module__)
        return cast(Callable[..., Any], loop)

    return compiled


@cache
def source_digest(module: str) -> str:
    """Digest of the source of a loaded module and, in any depth, of all it imports from its own package."""
    seen: dict[str, str] = {}
    waiting = [module]
    while waiting:
        name = waiting.pop()
        if name in sys.modules and name not in seen:
            seen[name] = inspect.getsource(sys.modules[name])
            waiting += _imports(seen[name], module.partition(".")[0])
    return hashlib.blake2b(repr(sorted(seen.items())).encode(), digest_size=16).hexdigest()


@cache
def _imports(source: str, package: str) -> list[str]:
    """Names that a source imports from a package, and the modules that they stand in."""
    found = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.ImportFrom)]
    inside = [node for node in found if (node.module or "").partition(".")[0] == package]
    names = [f"{node.module}.{alias.name}" for node in inside for alias in node.names]
    return [*names, *(node.module or "" for node in inside)]


kernel = _compiler()
"""Compiles a loop; it is made again when a source that it depends on has changed."""

inlined = _compiler(forceinline=True)
"""For small loops: a call hands over every array of a tuple by value; inlined, it hands over none."""

written_out = _compiler(inline="always")
"""The same for loops that are written into their caller before it is compiled."""

vector_kernel = _compiler(fastmath={"reassoc", "nsz", "contract"})
"""For loops in single precision whose sums may be taken in any order, as vector instructions take them."""
