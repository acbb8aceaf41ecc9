# mypy: disable-error-code="method-assign,no-untyped-call"
"""A process that compiles loops and ends: numba without what only a longer life would need.

numba makes machine code, and ways in from Python and C, of every function that a loop calls, and of numpy's
that those call. The loop's own machine code holds them all, so here nobody needs theirs. The attributes are
not public: tests watch them. Where numba has changed them this process fails, and loops are compiled as met.
"""

import gc
from collections.abc import Collection
from typing import Any, cast

from llvmlite.binding import ffi, parse_assembly
from numba.core import cgutils, codegen, lowering, targetconfig
from numba.core import config as numba_config

from hopyears.models.basics import kernel

config: Any = numba_config


def compile_only(loops: Collection[str]) -> None:
    """From now on only these loops, ``module.name``, get machine code, a way in from Python and a store."""
    gc.disable()
    ffi.lib._lock._cblist.clear()  # who listens when LLVM is called
    codegen.JITCPUCodegen._library_class = _Late
    codegen.JITCPUCodegen.set_env = _set_where_made(codegen.JITCPUCodegen.set_env)
    lowering.Lower.create_cfunc_wrapper = lambda self: None
    lowering.Lower.create_cpython_wrapper = _only_for(loops, lowering.Lower.create_cpython_wrapper)
    targetconfig.TargetConfig.values = _values
    kernel._Stored.save_overload = _only_made(kernel._Stored.save_overload)


class _Late(codegen.JITCodeLibrary):
    """Code that callers take in; machine code is made of it when somebody asks where it begins."""

    _is_made = False
    _level = config.OPT
    _compiled_object: Any = None

    def _finalize_final_module(self) -> None:
        if self._compiled_object:  # read from the store
            self._make()
            return
        self._finalize_dynamic_globals()
        self._verify_declare_only_symbols()
        self._finalized = True

    def add_ir_module(self, ir_module: Any) -> None:
        """Take in code. Callers work it over again, so that little is done to it here.

        Where sums may be taken in any order, last digits follow the steps of work: there all are taken.
        """
        text = cgutils.normalize_ir_text(str(ir_module))
        self._level = config.OPT if " reassoc " in text else 1
        module = parse_assembly(text)
        module.name = ir_module.name
        self.add_llvm_module(module)

    def _optimize_functions(self, module: Any) -> None:
        level, config.OPT = config.OPT, self._level
        try:
            super()._optimize_functions(module)
        finally:
            config.OPT = level

    def _optimize_final_module(self) -> None:
        pass  # what callers take in is worked over there, once

    def _make(self) -> None:
        self._is_made = True
        if not self._compiled_object:
            super()._optimize_final_module()
        super()._finalize_final_module()

    def get_pointer_to_function(self, name: str) -> int:
        """Address of a function; 0 for one that is not in here."""
        self._ensure_finalized()
        if not self._is_made:
            if not any(each.name == name for each in self.get_defined_functions()):
                return 0
            self._make()
        return cast(int, super().get_pointer_to_function(name))


def _set_where_made(set_environment: Any) -> Any:
    def wrapped(self: Any, name: str, environment: Any) -> None:
        if self._engine.is_symbol_defined(name):
            set_environment(self, name, environment)

    return wrapped


def _only_for(loops: Collection[str], create: Any) -> Any:
    def wrapped(self: Any, release_gil: bool = False) -> None:
        if f"{self.fndesc.modname}.{self.fndesc.qualname}" in loops:
            create(self, release_gil=release_gil)

    return wrapped


def _only_made(save: Any) -> Any:
    def wrapped(self: Any, signature: Any, data: Any) -> None:
        if data.library._is_made:
            save(self, signature, data)

    return wrapped


_WAYS_IN = {"no_cpython_wrapper", "no_cfunc_wrapper", "release_gil"}


def _values(self: Any) -> dict[str, Any]:
    """Options by which numba tells apart what loops call: not those that only decide who else may call it."""
    return {
        name: self._values.get(name, option.default)
        for name, option in self.options.items()
        if name not in _WAYS_IN
    }
