"""How machine code is put into memory, without the compiler that made it: loading numba takes longer than a launch.

Each kernel has an engine of its own. The compiler numbers the functions and record types that it meets and puts the
numbers into the names of functions, so that two processes give different functions the same name. In one engine, the
second kernel would call a function of the first.
"""

from __future__ import annotations

import ctypes
import functools
import importlib
import sys
import threading
from collections.abc import Callable
from typing import Any

import llvmlite.binding as llvm

_lock = threading.Lock()
_held: list[Any] = []
"""The engines that hold the machine code, and what was handed to them."""


@functools.cache
def _prepare() -> None:
    """Prepare the library that loads."""
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()


def _engine() -> Any:
    """An engine that holds nothing yet."""
    _prepare()
    machine = llvm.Target.from_default_triple().create_target_machine(codemodel="jitdefault")
    return llvm.create_mcjit_compiler(llvm.parse_assembly(""), machine)


def load(code: bytes, symbol: str, name: str) -> int:
    """Put the object code of one kernel into memory.

    Parameters
    ----------
    code : bytes
        As the compiler has made it; kernels that it calls by name are loaded.
    symbol : str
        Name of the function in it.
    name : str
        By which kernels that are loaded later call it.

    Returns
    -------
    int
        Where the function begins.
    """
    if sys.platform == "win32" or b"__svml_" in code:  # numba states where the functions of mathematics are
        importlib.import_module("numba")
    with _lock:
        engine = _engine()
        made = llvm.ObjectFileRef.from_data(code)
        engine.add_object_file(made)
        engine.finalize_object()
        _held.append((engine, made, code))
        address = int(engine.get_function_address(symbol))
        llvm.add_symbol(name, address)
        return address


_nothing = (ctypes.c_int64 * 1)()
_NOWHERE = ctypes.addressof(_nothing)
"""Where functions write what they never raise."""


def callable_at(address: int, arguments: list[Any]) -> Callable[..., None]:
    """A function in memory, to be called from Python; the interpreter's lock is let go meanwhile.

    Parameters
    ----------
    address : int
        Where it begins.
    arguments : list of ctypes types
        What it takes after the address that it returns to.

    Returns
    -------
    callable
        Takes an address and plain numbers.
    """
    function = ctypes.CFUNCTYPE(ctypes.c_int32, ctypes.c_void_p, ctypes.c_void_p, *arguments)(address)

    def call(returned: int, *numbers: Any) -> None:
        if function(returned, _NOWHERE, *numbers):
            raise RuntimeError("compiled code has raised an error, which it never does")

    return call
