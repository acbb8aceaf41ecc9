"""Loops that Python calls and the types that it calls them with, as ``sim/guide/loops.json`` lists them.

``python -m hopyears.sim.runs.loop_types`` writes that list anew, from a run of a small network; a test asks
that nothing is missing.
"""

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, cast

import numba
from numba.core import dispatcher

GUIDE = Path(__file__).parents[1] / "guide"
LIST = GUIDE / "loops.json"

types: Any = numba.types
Dispatcher: Any = dispatcher.Dispatcher


def listed() -> dict[str, list[list[Any]]]:
    """Of each module that has any, the longest work first: names of loops with types of their arguments."""
    return cast(dict[str, list[list[Any]]], json.loads(LIST.read_text(encoding="utf-8")))


def compile_loops(module: str, loops: list[list[Any]]) -> None:
    """Compile loops of one module, as the list has them; those with machine code take no time."""
    for name, *kinds in loops:
        getattr(import_module(module), name).compile(tuple(map(_type, kinds)))


def _type(words: Any) -> Any:
    """numba type: ``float64``; ``int8 2 C``, an array; a list for a tuple, led by its class if it has any."""
    if isinstance(words, list):
        if isinstance(words[0], str) and words[0].startswith("hopyears."):
            module, _, name = words[0].rpartition(".")
            return types.BaseTuple.from_types(map(_type, words[1:]), getattr(import_module(module), name))
        return types.BaseTuple.from_types(list(map(_type, words)))
    kind, *shape = words.split()
    if not shape:
        return getattr(types, kind)
    return types.Array(getattr(types, kind), int(shape[0]), shape[1], readonly="read-only" in shape)


def _words(kind: Any) -> Any:
    """As ``_type`` reads it."""
    if isinstance(kind, types.Array):
        return f"{kind.dtype} {kind.ndim} {kind.layout}{'' if kind.mutable else ' read-only'}"
    if isinstance(kind, types.BaseTuple):
        within = list(map(_words, kind.types))
        if not isinstance(kind, types.BaseNamedTuple):
            return within
        return [f"{kind.instance_class.__module__}.{kind.instance_class.__name__}", *within]
    return str(kind)


@contextmanager
def watched() -> Iterator[dict[str, list[list[Any]]]]:
    """Loops of this package that Python calls for the first time with types of arguments, meanwhile."""
    seen: dict[str, list[list[Any]]] = {}
    compile_for = Dispatcher._compile_for_args

    def compiled(self: Any, *arguments: Any, **named: Any) -> Any:
        module, kinds = self.py_func.__module__, [_words(self.typeof_pyval(each)) for each in arguments]
        if module.startswith("hopyears."):
            seen.setdefault(module, []).append([self.py_func.__name__, *kinds])
        return compile_for(self, *arguments, **named)

    Dispatcher._compile_for_args = compiled
    try:
        yield seen
    finally:
        Dispatcher._compile_for_args = compile_for


def small_run() -> None:
    """All that a run does in one block of a small network, and what only larger ones need.

    Imported here: a process that compiles has no use for the simulator.
    """
    from hopyears.sim.blocks.prepared import ModelOptions, prepare
    from hopyears.sim.inputs.network_file import read_network
    from hopyears.sim.runs.runner import BlockCounter, BlockPlan
    from hopyears.sim.services.service_run import enlarge_tables

    prepared = prepare(read_network(GUIDE / "start.toml").network, ModelOptions(replications=1))
    BlockCounter(prepared, BlockPlan("", 1, 1, 1)).block(0)
    enlarge_tables()


def write_list(path: Path = LIST) -> None:
    """Write the list anew: modules in the order that it has, by the time that they take; new ones last."""
    with watched() as found, TemporaryDirectory() as empty:
        os.environ["HOPYEARS_CACHE"] = empty  # so that laws of places are made, not read
        small_run()
    known = [module for module in listed() if module in found]
    modules = {module: found[module] for module in [*known, *sorted(set(found) - set(known))]}
    rows = (
        f" {json.dumps(module)}: [\n"
        + ",\n".join(f"  {json.dumps(loop)}" for loop in modules[module])
        + "\n ]"
        for module in modules
    )
    path.write_text("{\n" + ",\n".join(rows) + "\n}\n", encoding="utf-8")


if __name__ == "__main__":
    write_list()
