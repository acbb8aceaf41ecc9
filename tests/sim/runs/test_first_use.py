"""The first run after an installation has all its loops compiled by two processes."""

import gc
from types import SimpleNamespace

import pytest
from numba import types
from numba.core.dispatcher import Dispatcher
from small_networks import triangle

from hopyears.models.basics import kernel
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.runs.first_use import SHARES, compile_share
from hopyears.sim.runs.runner import BlockCounter, BlockPlan


class CompileResult:
    """As much of numba's as is looked at."""

    def __init__(self, arguments):
        self.signature = SimpleNamespace(args=arguments)


def compiled():
    """Loops and the types of arguments that they are compiled for in this process."""
    loops = [each for each in gc.get_objects() if issubclass(type(each), Dispatcher)]
    return {
        (each.py_func.__module__, each.py_func.__name__, str(arguments))
        for each in loops
        if each.py_func.__module__.startswith("hopyears.")
        for arguments in each.signatures
    }


def test_what_is_missing_is_asked_for_once_and_looked_for_again(monkeypatch):
    class Store:
        def __init__(self):
            self.looked = 0

        def _load_overload(self, signature, target):
            self.looked += 1
            return CompileResult(made) if made else None

    made, store = [], Store()
    monkeypatch.setattr(kernel.rtsys, "initialize", lambda target: None)
    monkeypatch.setattr(kernel, "FIRST_MISSING", [lambda: made.append(types.int64), lambda: None])
    stored = kernel._Stored(store)
    assert stored.load_overload((types.int64,), None).signature.args == [types.int64]
    assert (store.looked, kernel.FIRST_MISSING) == (3, [])
    made.clear()
    assert stored.load_overload((types.int64,), None) is None
    assert store.looked == 4


def test_code_stored_under_the_types_of_another_is_not_taken(monkeypatch):
    class Mixed:
        def _load_overload(self, signature, target):
            return CompileResult([types.float64])

    monkeypatch.setattr(kernel.rtsys, "initialize", lambda target: None)
    stored = kernel._Stored(Mixed())
    assert stored.load_overload((types.float64,), None) is not None
    assert stored.load_overload((types.int64,), None) is None


@pytest.mark.slow
def test_both_shares_leave_nothing_to_compile_for_another_network():
    """Beyond what a block of their own network calls, with other bands, schemes and routes."""
    for share in SHARES:
        compile_share(share)
    before = compiled()
    assert len(before) > 20
    BlockCounter(prepare(triangle("1+1 SD"), ModelOptions(replications=1)), BlockPlan("", 1, 1, 1)).block(0)
    assert compiled() == before


@pytest.mark.slow
def test_a_loop_is_compiled_once_for_all_numbers_that_callers_write():
    @kernel.kernel
    def added(x, more):
        return x + more

    @kernel.kernel
    def summed(x):
        return added(x, 1) + added(x, 2) + added(x, more=3)

    assert summed(1.0) == 9.0
    assert len(added.signatures) == 1
