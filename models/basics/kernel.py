"""How loops are compiled: one decorator, whose stored machine code follows all that it was made from."""

import hashlib
import inspect
import logging
import multiprocessing
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import cache, partial
from typing import Any, cast

from llvmlite import ir
from numba import njit, types
from numba.core.runtime.nrt import rtsys
from numba.extending import intrinsic

LOG = logging.getLogger("hopyears")


def _compiler(**options: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Decorator that compiles by numba with these options and keeps the machine code on disk.

    Notes
    -----
    numba keeps machine code under the date of the file that a loop stands in, and so misses a change of a
    constant or a loop that comes from another file. Here ``source_digest`` takes the place of that date, in
    the folder that numba chooses (NUMBA_CACHE_DIR if set). The attributes are not public; tests watch them.
    Where no folder can be written, machine code is made in each process.
    """

    def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
        make = {"error_model": "numpy", "nogil": True, "no_cfunc_wrapper": True, **options}
        try:
            loop = njit(cache=True, **make)(function)
        except RuntimeError:
            return cast(Callable[..., Any], njit(**make)(function))
        loop.get_call_template = partial(_called_by_a_loop, loop.get_call_template)
        loop._cache._cache_file._source_stamp = source_digest(function.__module__)
        loop._cache = _Stored(loop._cache)
        return cast(Callable[..., Any], loop)

    return compiled


def _called_by_a_loop(
    template: Callable[..., Any], arguments: Sequence[types.Type], named: Mapping[str, types.Type]
) -> Any:
    """What numba compiles for a call from another loop: once for all numbers written there, not for each."""
    plain: Callable[[types.Type], types.Type] = types.unliteral
    return template(tuple(map(plain, arguments)), {name: plain(each) for name, each in named.items()})


class _Stored:
    """Stored machine code as numba keeps it; what cannot be read or written costs time, not the answer."""

    def __init__(self, stored: Any) -> None:
        self._stored = stored

    def load_overload(self, signature: Any, target: Any) -> Any:
        """Machine code for these types of arguments; None if there is none, or a damaged one."""
        found = self._found(signature, target)
        while found is None and FIRST_MISSING:
            FIRST_MISSING.pop()()
            found = self._found(signature, target)
        return found

    def _found(self, signature: Any, target: Any) -> Any:
        with suppress(Exception):  # whatever damage may bring about in there
            # numba's own way makes ready for compiling each time: half of what loading takes.
            rtsys.initialize(target)
            found = self._stored._load_overload(signature, target)
            # Two processes that store at the same moment may leave one's code under the other's types.
            if tuple(found.signature.args) == tuple(getattr(signature, "args", signature)):
                return found
        return None

    def save_overload(self, signature: Any, data: Any) -> None:
        """Keep machine code, where there is room."""
        with suppress(OSError):
            try:
                self._stored.save_overload(signature, data)
            except Exception:  # what was kept names types that are no more, or is damaged: begin again
                self._stored._cache_file.flush()
                self._stored.save_overload(signature, data)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stored, name)


def _tell_compiling() -> None:
    """Say what takes so long, to a person who waits for the process that was started."""
    if multiprocessing.parent_process() is None and sys.stderr.isatty():
        LOG.warning("compiling loops for this processor, once after an installation: takes about 20 s")


FIRST_MISSING: list[Callable[[], None]] = [_tell_compiling]
"""What is called, each once and the last first, when machine code is missing in this process."""


@cache
def source_digest(module: str) -> str:
    """Digest of the source of a loaded module and, in any depth, of all it imports from its own package."""
    seen: dict[str, str] = {}
    waiting = [module]
    while waiting:
        name = waiting.pop()
        if name in sys.modules and name not in seen:
            seen[name], imports = _own_digest(name)
            waiting += imports
    return _digest(repr(sorted(seen.items())))


@cache
def _own_digest(module: str) -> tuple[str, list[str]]:
    """Digest of a loaded module's source alone, and what it imports."""
    source = inspect.getsource(sys.modules[module])
    return _digest(source), _imports(source, module.partition(".")[0])


def _digest(text: str) -> str:
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


_IMPORT = re.compile(r"^from[ \t]+(\w+)([\w.]*)[ \t]+import[ \t]+(\([^)]*\)|.*)", re.MULTILINE)


def _imports(source: str, package: str) -> list[str]:
    """Names that a source imports from a package, and the modules that they stand in.

    Read as text, not as syntax: every process does this for every loop when it starts. A word too many, in a
    comment, names no module. What is indented, for a type checker or inside a function of Python, no loop can
    use; some processes load it and others do not.
    """
    found = [(first + rest, names) for first, rest, names in _IMPORT.findall(source) if first == package]
    return [
        *(f"{module}.{name}" for module, names in found for name in re.findall(r"\w+", names)),
        *(module for module, _ in found),
    ]


kernel = _compiler()
"""Compiles a loop; it is made again when a source that it depends on has changed."""

inner_kernel = _compiler(no_cpython_wrapper=True)
"""For loops called by loops alone: a way in from Python takes long to compile for many arrays."""

inlined = _compiler(forceinline=True, no_cpython_wrapper=True)
"""For small loops: a call hands over every array of a tuple by value; inlined, it hands over none."""

bare_kernel = _compiler(no_cpython_wrapper=True, _nrt=False)
"""As ``inner_kernel``, for loops that make no arrays, nor does what they call: they count no references.

Where arrays are taken out of tuples again and again, counting takes longer than the work.
"""

bare_inlined = _compiler(forceinline=True, no_cpython_wrapper=True, _nrt=False)
"""As ``inlined``, for such loops."""

written_out = _compiler(inline="always")
"""For small loops that are written into their caller before it is compiled."""

vector_kernel = _compiler(fastmath={"reassoc", "nsz", "contract"}, _nrt=False)
"""As ``bare_kernel``, in single precision; sums may be taken in any order, as by vector instructions."""


def _fetch_ahead(_: Any, rows: Any, number: Any) -> Any:
    """Ask the processor for row ``number`` of an array before it is needed; changes nothing.

    For loops that read rows here and there in more than a cache holds: a row is asked for while those before
    it are worked on. A row is four lines of 64 bytes.
    """

    def write(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array = context.make_array(signature.args[0])(context, builder, arguments[0])
        word, byte, flag = ir.IntType(64), ir.IntType(8).as_pointer(), ir.IntType(32)
        kind = ir.FunctionType(ir.VoidType(), [byte, flag, flag, flag])
        fetch = builder.module.declare_intrinsic("llvm.prefetch", [byte], kind)
        away = builder.mul(arguments[1], builder.extract_value(array.strides, 0))
        start = builder.add(builder.ptrtoint(array.data, word), away)
        for line in range(4):
            place = builder.inttoptr(builder.add(start, word(64 * line)), byte)
            builder.call(fetch, [place, flag(0), flag(3), flag(1)])  # to read, soon, data
        return context.get_dummy_value()

    return types.void(rows, types.intp), write


fetch_ahead: Any = intrinsic(_fetch_ahead)
"""For loops: ``fetch_ahead(rows, number)``."""
