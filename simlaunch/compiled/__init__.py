"""Compilation of the numeric code.

Every numeric function is written once, in plain Python, and marked with `inline`, or with `part` where it is large.
The few functions that are called from outside the compiled world are marked with `entry`. The machine code of each, a
kernel, is kept on disk (`kept`) and put into memory when it is first called (`loading`). numba, which makes it
(`making`), is loaded only where there is no kernel yet. With ``NUMBA_DISABLE_JIT=1`` everything is plain Python.
"""

from __future__ import annotations

import ctypes
import functools
import importlib
import json
import os
import sys
import threading
from collections.abc import Callable
from typing import Any, NamedTuple, ParamSpec, TypeVar, cast

from simlaunch.compiled import kept, layout, loading
from simlaunch.compiled.layout import Kinds

P = ParamSpec("P")
R = TypeVar("R")

_IS_PLAIN = os.environ.get("NUMBA_DISABLE_JIT", "0") not in ("", "0")
_lock = threading.RLock()
_marked: list[Callable[[Any], None]] = []
"""What the compiler has not been taught yet."""
_addresses: dict[str, int] = {}
"""Where the kernels begin that are in memory, by name."""


def inline(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a small numeric function that melts into its compiled callers; called from Python it stays plain Python."""
    _marked.append(lambda making: making.teach(function, melts=True))
    return function


def part(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a larger numeric function for compiled callers; melted into each of them it would compile too long."""
    _marked.append(lambda making: making.teach(function, melts=False))
    return function


def entry(function: Callable[P, R]) -> Callable[P, R]:
    """Mark a numeric function that plain Python calls, and compiled code by name; its machine code is kept on disk."""
    return function if _IS_PLAIN else cast(Callable[P, R], Entry(function))


class Entry:
    """A numeric function behind its kernels, one for all kinds of arguments that it is called with.

    Parameters
    ----------
    function : callable
        Takes and returns what `layout` can lay out, raises nothing and asks for no memory.
    """

    def __init__(self, function: Callable[..., Any]) -> None:
        functools.update_wrapper(self, function)
        self.function = function
        self.name = f"{function.__module__}.{function.__name__}"
        self._reached: dict[Kinds, Callable[..., None]] = {}
        _marked.append(lambda making: making.teach_entry(self))

    @functools.cached_property
    def returned(self) -> layout.Returned:
        """What it returns."""
        return layout.returned_by(self.function)

    def kernel(self, kinds: Kinds) -> str:
        """Name of the kernel for arguments of these kinds.

        Parameters
        ----------
        kinds : tuple
            Of all arguments.

        Returns
        -------
        str
            As that of no other kernel.
        """
        return f"{self.name}-{layout.digest(kinds)}"

    def __call__(self, *arguments: Any) -> Any:
        """Run the kernel for these arguments; makes it where there is none yet.

        Raises
        ------
        TypeError
            No kernel takes such an argument.
        """
        kinds: list[Any] = []
        numbers: list[Any] = []
        layout.lay_out(arguments, kinds, numbers)
        known = tuple(kinds)
        call = self._reached.get(known) or self._reach(known, arguments)
        written = ctypes.create_string_buffer(self.returned.place.size or 8)
        call(ctypes.addressof(written), *numbers)
        return self.returned.value(written)

    def _reach(self, kinds: Kinds, arguments: tuple[Any, ...]) -> Callable[..., None]:
        """The kernel for these arguments, in memory."""
        name = self.kernel(kinds)
        with _lock:
            _put_into_memory(name, lambda: _make(self, _compiler().types_of(*arguments)))
            self._reached[kinds] = loading.callable_at(_addresses[name], layout.c_types(kinds))
        return self._reached[kinds]


# --- from the compiler into memory ---


class _Kernel(NamedTuple):
    code: bytes
    symbol: str  # of the function in it
    needs: list[str]  # names of kernels that it calls


def _compiler() -> Any:
    """The compiler, taught all that is marked."""
    making = importlib.import_module("simlaunch.compiled.making")  # loads numba, which takes longer than a launch
    while _marked:
        _marked[0](making)
        del _marked[0]  # not before: where it is interrupted, it is taught again
    return making


def _make(entry: Entry, arguments: tuple[Any, ...]) -> _Kernel:
    """Compile an entry for arguments of these types, and keep what comes of it."""
    compiler = _compiler()
    made = compiler.make(entry, arguments)
    head = json.dumps({"symbol": made.symbol, "needs": made.needs})
    kept.write(entry.kernel(compiler.kinds_of(arguments)), head.encode() + b"\n" + made.code)
    return _Kernel(made.code, made.symbol, list(made.needs))


def _read(name: str) -> _Kernel | None:
    """A kernel that is kept."""
    found = kept.read(name)
    if found is None:
        return None
    head, _, code = found.partition(b"\n")
    return _Kernel(code, **json.loads(head))


def _makes(name: str) -> Callable[[], _Kernel] | None:
    """How a kernel is made that was met while another one was compiled; its types are known to the compiler only."""
    making = sys.modules.get("simlaunch.compiled.making")
    met = making.met(name) if making else None
    return (lambda: _make(*met)) if met else None


def _put_into_memory(name: str, make: Callable[[], _Kernel] | None) -> bool:
    """Load a kernel and those that it calls; without a way to make what is missing, returns whether that was possible.

    A kernel that is kept while one that it calls is lost is made again, by which the compiler meets the other one.
    """
    if name in _addresses:
        return True
    found = _read(name)
    if found is None or not _put_needs(found):
        if make is None:
            return False
        found = make()
        if not _put_needs(found):
            raise RuntimeError(f"the kernels that {name} calls cannot be made")
    _addresses[name] = loading.load(found.code, found.symbol, name)
    return True


def _put_needs(kernel: _Kernel) -> bool:
    """Load what a kernel calls."""
    return all(_put_into_memory(each, _makes(each)) for each in kernel.needs)


def compile_for(function: Callable[..., object], *arguments: object) -> None:
    """Compile an entry for arguments of these types, without calling it, unless its kernel is kept.

    Parameters
    ----------
    function : callable
        Marked with `entry`.
    *arguments
        One of each type.
    """
    if not isinstance(function, Entry):  # compilation is switched off
        return
    kinds: list[Any] = []
    layout.lay_out(arguments, kinds, [])
    with _lock:
        if kept.read(function.kernel(tuple(kinds))) is None:
            _make(function, _compiler().types_of(*arguments))


def is_kept(function: Callable[..., object]) -> bool:
    """Whether machine code of an entry is on disk already, so that its first call need not compile.

    Parameters
    ----------
    function : callable
        Marked with `entry`.

    Returns
    -------
    bool
        True where a sound kernel was found, and where compilation is switched off.
    """
    return not isinstance(function, Entry) or any(kept.read(name) for name in kept.names(f"{function.name}-"))
