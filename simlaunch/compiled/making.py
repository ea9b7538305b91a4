"""How machine code is made: the only module that loads numba, and only where a kernel has to be compiled.

A kernel needs no interpreter, nothing of numba's own memory and nothing that Python has to provide. Compiled code calls
other entries by name, so that whoever calls an entry contains none of its code, and each is compiled once, by itself.
"""

from __future__ import annotations

import ctypes
import inspect
import re
from collections.abc import Callable
from typing import Any, NamedTuple

import llvmlite.binding
import numba
import numba.core.cgutils
import numba.extending
import numpy as np
from llvmlite import ir
from numba.core.registry import cpu_target
from numba.core.typing.templates import infer_global
from numba.np.numpy_support import as_dtype

from simlaunch.compiled import layout
from simlaunch.compiled.layout import FLOAT, INTEGER, TRUTH, Kinds, Returned

types: Any = numba.types
cgutils: Any = numba.core.cgutils
extending: Any = numba.extending

_OPTIONS: dict[str, Any] = {
    "nogil": True, "error_model": "numpy", "fastmath": False,
    "no_cpython_wrapper": True, "no_cfunc_wrapper": True, "_nrt": False,
}  # fmt: skip
"""Ways in for Python and C would take a quarter of the compiler's time. Without numba's own memory nothing is counted,
and nothing can be asked for; kernels need not."""

_SCALARS: dict[Any, str] = {types.float64: FLOAT, types.int64: INTEGER, types.boolean: TRUTH}
_NUMBERS: dict[str, Any] = {kind: plain for plain, kind in _SCALARS.items()}
_LLVM = {"c_double": "double", "c_long": "i64", "c_longlong": "i64", "c_bool": "i8"}
_DECLARED = re.compile(r'^declare [^@]*@"?([\w.-]+)', re.MULTILINE)
_OF_PYTHON = re.compile(r"numba_|NRT_|_?Py")

_NOWHERE = (ctypes.c_int64 * 1)()
_held: list[Any] = []  # the compiler itself keeps no hold on what it is taught
_met: dict[str, tuple[Any, tuple[Any, ...]]] = {}
"""Entries that were met in compiled code, with the types of their arguments, by the names that they are called by."""


class Made(NamedTuple):
    """A kernel as it comes from the compiler."""

    code: bytes
    symbol: str
    """Name of the function in it."""
    needs: tuple[str, ...]
    """Names of the entries that it calls."""


# --- types of the compiler ---


def types_of(*values: object) -> tuple[Any, ...]:
    """Types that the compiler gives values.

    Parameters
    ----------
    *values
        Arguments of an entry.

    Returns
    -------
    tuple
        Types of numba; arrays are without gaps and can be written to, integers have eight bytes as in `layout`.
    """
    typeof: Any = numba.typeof
    return tuple(types.int64 if _is_integer(value) else _plain(typeof(value)) for value in values)


def _is_integer(value: object) -> bool:
    return isinstance(value, int | np.integer) and not isinstance(value, bool)


def _plain(kind: Any) -> Any:
    """A type without what makes no difference to a kernel."""
    kind = types.unliteral(kind)
    if isinstance(kind, types.Array):
        return types.Array(kind.dtype, kind.ndim, kind.layout)
    if isinstance(kind, types.BaseTuple):
        return types.BaseTuple.from_types([_plain(each) for each in kind.types], getattr(kind, "instance_class", None))
    return kind


def kinds_of(arguments: tuple[Any, ...]) -> Kinds:
    """Kinds of arguments, as `layout` finds them in values.

    Parameters
    ----------
    arguments : tuple
        Types of numba.

    Returns
    -------
    tuple
        Of all arguments.

    Raises
    ------
    TypeError
        No kernel takes such an argument.
    """
    found: list[Any] = []
    for kind in arguments:
        if isinstance(kind, types.Record):
            found.append((layout.RECORD, layout.form_of(as_dtype(kind))))
        elif isinstance(kind, types.Array) and kind.layout == "C":
            found.append((layout.ARRAY, kind.ndim, layout.form_of(as_dtype(kind.dtype))))
        elif isinstance(kind, types.BaseTuple):
            found += [(layout.TUPLE, kind.count), *kinds_of(tuple(kind.types))]
        elif kind in _SCALARS:
            found.append(_SCALARS[kind])
        else:
            raise TypeError(f"a kernel takes no {kind}")
    return tuple(found)


def _result(returned: Returned) -> Any:
    """Type of what an entry returns."""
    numbers = [_NUMBERS[kind] for kind in returned.kinds]
    if returned.made_of is not None:
        return types.BaseTuple.from_types(numbers, returned.made_of)
    return numbers[0] if numbers else types.none


# --- what is compiled ---


def teach(function: Callable[..., Any], *, melts: bool) -> None:
    """Tell the compiler what a plain function compiles to, once for each signature and whoever calls it.

    Parameters
    ----------
    function : callable
        Numeric.
    melts : bool
        Whether it is to melt into its callers.
    """
    options = {**_OPTIONS, "forceinline": True} if melts else _OPTIONS
    compiled = numba.njit(**options)(function)
    know: Any = infer_global
    know(function, types.Dispatcher(compiled))
    _held.append(compiled)


def teach_entry(entry: Any) -> None:
    """Tell the compiler that an entry is called by name.

    Parameters
    ----------
    entry : Entry
        Its function returns numbers.
    """
    names = ", ".join(inspect.signature(entry.function).parameters)
    known: dict[str, Any] = {"typed": lambda *arguments: _typed(entry, arguments)}
    exec(f"def call(context, {names}):\n    return typed({names})", known)  # noqa: S102  as many as the entry has
    known["call"] = extending.intrinsic(known["call"])
    exec(f"def through({names}):\n    return lambda {names}: call({names})", known)  # noqa: S102
    extending.overload(entry, jit_options=_OPTIONS)(known["through"])
    _held.append(known)


def _typed(entry: Any, arguments: tuple[Any, ...]) -> tuple[Any, Callable[..., Any]]:
    """Type of a call of an entry by compiled code, and how it is made."""
    exact = tuple(types.unliteral(each) for each in arguments)
    plain = tuple(_plain(each) for each in arguments)
    name, result = entry.kernel(kinds_of(plain)), _result(entry.returned)
    _met[name] = entry, plain
    if llvmlite.binding.address_of_symbol(name) is None:  # numba loads whatever it compiles; only ours is ever called
        llvmlite.binding.add_symbol(name, ctypes.addressof(_NOWHERE))

    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        shape = context.call_conv.get_function_type(result, exact)
        function = cgutils.get_or_insert_function(builder.module, shape, name)
        status, found = context.call_conv.call_function(builder, function, result, exact, values)
        with cgutils.if_unlikely(builder, status.is_error):
            context.call_conv.return_status_propagate(builder, status)
        return found

    return result(*exact), code


def make(entry: Any, arguments: tuple[Any, ...]) -> Made:
    """Compile an entry.

    Parameters
    ----------
    entry : Entry
        What is compiled.
    arguments : tuple
        Types of numba.

    Returns
    -------
    Made
        Machine code.

    Raises
    ------
    RuntimeError
        numba lays arguments out in another way than `layout`, or the kernel needs something of Python.
    """
    _compare(kinds_of(arguments), arguments)
    compiled = numba.njit(**_OPTIONS)(entry.function)
    compiled.compile(arguments)
    made = compiled.overloads[arguments]
    result = types.unliteral(made.signature.return_type)
    if result != _result(entry.returned):
        raise RuntimeError(f"{entry.name} returns {result}, not what it is annotated with")
    declared = _DECLARED.findall(made.library.get_llvm_str())
    foreign = [name for name in declared if _OF_PYTHON.match(name)]
    if foreign:
        raise RuntimeError(f"{entry.name} needs {', '.join(foreign)} of Python; a kernel may not")
    _, _, (code, _) = made.library.serialize_using_object_code()
    return Made(code, made.fndesc.llvm_func_name, tuple(name for name in declared if name in _met))


def _compare(kinds: Kinds, arguments: tuple[Any, ...]) -> None:
    """Hold `layout` against how numba lays out arguments."""
    ours = [_LLVM.get(each.__name__, "pointer") for each in layout.c_types(kinds)]
    packer = cpu_target.target_context.get_arg_packer(arguments)
    theirs = ["pointer" if isinstance(each, ir.PointerType) else str(each) for each in packer.argument_types]
    if ours != theirs:
        raise RuntimeError(f"numba {numba.__version__} lays arguments out as {theirs}, not as {ours}")


def met(name: str) -> tuple[Any, tuple[Any, ...]] | None:
    """An entry that compiled code calls by this name, and the types of its arguments, if this process has met it.

    Parameters
    ----------
    name : str
        As in `Made.needs`.

    Returns
    -------
    tuple or None
        The entry, and types of numba.
    """
    return _met.get(name)
