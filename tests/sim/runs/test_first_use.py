"""The first run after an installation has all its loops compiled by two processes."""

import gc

import pytest
from numba.core.dispatcher import Dispatcher
from small_networks import triangle

from hopyears.models.basics import kernel
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.runs.first_use import SHARES, compile_share
from hopyears.sim.runs.runner import BlockCounter, BlockPlan


def compiled():
    """Loops and the types of arguments that they are compiled for in this process."""
    loops = [each for each in gc.get_objects() if isinstance(each, Dispatcher)]
    return {
        (each.py_func.__module__, each.py_func.__name__, str(types))
        for each in loops
        if each.py_func.__module__.startswith("hopyears.")
        for types in each.signatures
    }


def test_what_is_missing_is_asked_for_once_and_looked_for_again(monkeypatch):
    class Store:
        def __init__(self):
            self.looked = 0

        def load_overload(self, signature, target):
            self.looked += 1
            return "code" if made else None

    made, store = [], Store()
    monkeypatch.setattr(kernel, "FIRST_MISSING", [lambda: made.append(1), lambda: None])
    stored = kernel._Stored(store)
    assert stored.load_overload("a", None) == "code"
    assert (made, store.looked, kernel.FIRST_MISSING) == ([1], 3, [])
    made.clear()
    assert stored.load_overload("a", None) is None
    assert store.looked == 4


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
