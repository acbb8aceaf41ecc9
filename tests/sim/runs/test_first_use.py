"""The first run after an installation has all its loops compiled by a few processes at once."""

import gc
import os
import pickle
import subprocess
import sys
from types import SimpleNamespace

import numpy as np
import pytest
from numba import typeof, types
from numba.core.dispatcher import Dispatcher
from small_networks import triangle

from hopyears.models.air.rain_law import RainLaw
from hopyears.models.basics import kernel
from hopyears.models.basics.arrays import read_only
from hopyears.sim.blocks.prepared import ModelOptions, prepare
from hopyears.sim.rain.rain_field import Region
from hopyears.sim.rain.storms import draw_storms
from hopyears.sim.runs.loop_types import _type, _words, compile_loops, listed
from hopyears.sim.runs.runner import BlockCounter, BlockPlan
from hopyears.sim.services.service_frame import Flows, Lists
from hopyears.sim.streams import Streams


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
def test_the_list_leaves_nothing_to_compile_for_another_network():
    """Beyond what a block of the listed network calls, with other bands, schemes and routes."""
    for module, loops in listed().items():
        compile_loops(module, loops)
    before = compiled()
    assert len(before) > 20
    BlockCounter(prepare(triangle("1+1 SD"), ModelOptions(replications=1)), BlockPlan("", 1, 1, 1)).block(0)
    assert compiled() == before


def in_a_process(program, store, *words):
    """What a program prints in a process of its own, with machine code kept in a folder."""
    return subprocess.run(
        [sys.executable, "-c", program, *map(str, words)],
        env={**os.environ, "NUMBA_CACHE_DIR": str(store)},
        capture_output=True,
        text=True,
        check=True,
    ).stdout


@pytest.mark.slow
def test_a_process_that_only_compiles_stores_what_another_one_calls_and_no_more(tmp_path):
    module, loop = "hopyears.models.judging.outage_loops", "one_way_kernel"
    (words,) = (words for words in listed()[module] if words[0] == loop)
    compiling = (
        "from hopyears.models.basics.compile_only import compile_only\n"
        "from hopyears.sim.runs.loop_types import compile_loops\n"
        f"compile_only({{{module + '.' + loop!r}}})\n"
        f"compile_loops({module!r}, [{words!r}])\n"
    )
    calling = (
        "import numpy as np\n"
        f"from {module} import {loop} as loop\n"
        "lost = loop(np.array([1.5]), np.array([30.0]), np.array([4]), 60, 0.3)\n"
        "hits, misses = (sum(each.values()) for each in loop.stats[1:])\n"
        "print(hits, misses, lost[4], lost[5])\n"
    )
    in_a_process(compiling, tmp_path)
    in_a_process(compiling, tmp_path)  # which takes what is there
    (stored,) = tmp_path.rglob("*.nbi")
    assert stored.name.startswith(f"outage_loops.{loop}")
    assert in_a_process(calling, tmp_path) == "1 0 [1] [30]\n"


@pytest.mark.slow
def test_loops_that_such_a_process_compiles_give_the_last_digits_of_those_compiled_as_met(tmp_path):
    """Loops that sum in any order among them: what those give follows how they are compiled."""
    field = draw_storms(
        Streams(3, 0), RainLaw(np.full(12, 3.0), np.full(12, 0.06)), Region(-9.0, -9.0, 9.0, 9.0), n_years=1
    )
    (tmp_path / "field").write_bytes(pickle.dumps(field))
    compiling = (
        "from hopyears.models.basics.compile_only import compile_only\n"
        "from hopyears.sim.runs.loop_types import compile_loops, listed\n"
        "rain = 'hopyears.sim.rain.rain_'\n"
        "some = {name: loops for name, loops in listed().items() if name.startswith(rain)}\n"
        "compile_only({f'{module}.{loop[0]}' for module, loops in some.items() for loop in loops})\n"
        "for module, loops in some.items():\n"
        "    compile_loops(module, loops)\n"
    )
    calling = (
        "import hashlib, pickle, sys\n"
        "from hopyears.sim.rain.rain_kernel import HopLine, rain_knots\n"
        "from hopyears.sim.rain.rain_loops import knots_above\n"
        "field = pickle.load(open(sys.argv[1], 'rb'))\n"
        "knots = rain_knots(field, HopLine(-6.0, -1.0, 5.0, 2.0, 0.08, 1.05), lowest_threshold_db=1.0)\n"
        "told = hashlib.sha256(knots.attenuation_db.tobytes() + knots.time_s.tobytes()).hexdigest()\n"
        "print(sum(knots_above.stats.cache_hits.values()), len(knots.time_s), told)\n"
    )
    in_a_process(compiling, tmp_path / "together")
    together, as_met = (
        in_a_process(calling, tmp_path / store, tmp_path / "field").split()
        for store in ("together", "as met")
    )
    assert (together[0], as_met[0]) == ("1", "0")
    assert together[1:] == as_met[1:]
    assert int(together[1]) > 1000


def test_types_of_arguments_are_written_and_read():
    for value in (
        (1.0, np.zeros((2, 3), np.float32)),
        (np.zeros(3, np.int8), np.zeros(3, np.int8)),
        Lists(np.zeros(1, np.int64), np.zeros(1, np.int64)),
        Flows(*4 * [np.zeros(1)], np.zeros(1, np.int64)),
        read_only(np.zeros((4, 4))[:, ::2]),
        np.zeros((4, 4))[:, ::2],
    ):
        assert _type(_words(typeof(value))) == typeof(value)


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
