"""How Python hands arguments to a kernel: as plain numbers, in the calling convention of compiled functions.

A float, an integer and a truth value stand for themselves, a record is the address of its bytes, a tuple its items one
after the other. An array is seven numbers or more: two addresses of who owns it, which kernels do not ask for, the
count of its elements, their size, the address of the first, the lengths, and the strides. What a kernel returns, it
writes to an address that comes first, eight bytes for each number.

The kinds of all arguments, in the same order, say which kernel of an entry fits them (`Kinds`). They hold what a kernel
relies on and a caller could get wrong: widths, dimensions, and the fields of records; not whether an array may be
written to, so that a kernel that writes is only handed arrays that may.

Source of the convention: "Notes on Numba Runtime" and "Numba architecture" of numba's documentation, from memory;
`making` compares it with what numba does, each time that something is compiled.
"""

from __future__ import annotations

import ctypes
import functools
import hashlib
import struct
from collections.abc import Callable
from typing import Any, NamedTuple, get_type_hints

import numpy as np

Kinds = tuple[Any, ...]

FLOAT, INTEGER, TRUTH = "float", "integer", "truth"
RECORD, ARRAY, TUPLE = "record", "array", "tuple"
_C_TYPES: dict[str, Any] = {FLOAT: ctypes.c_double, INTEGER: ctypes.c_int64, TRUTH: ctypes.c_bool}
_RETURNED = {float: (FLOAT, "d"), int: (INTEGER, "q")}


@functools.cache
def form_of(kind: np.dtype[Any]) -> str:
    """What a kernel relies on in a record, or in the elements of an array.

    Parameters
    ----------
    kind : numpy.dtype
        Of the record or the array.

    Returns
    -------
    str
        NumPy's name of a plain number; for a record a digest, since all its fields are compared at each call.
    """
    return hashlib.sha256(repr(_described(kind)).encode()).hexdigest()[:16] if kind.names else kind.str


def _described(kind: np.dtype[Any]) -> tuple[Any, ...]:
    """Sizes, names, places and types of the fields of a record, and of what they hold."""
    base, shape = kind.subdtype or (kind, ())
    fields = [(name, base.fields[name][1], _described(base.fields[name][0])) for name in base.names or ()]  # type: ignore[index]
    return kind.itemsize, shape, fields or base.str


def lay_out(values: tuple[Any, ...], kinds: list[Any], numbers: list[Any]) -> None:
    """Lay out values.

    Parameters
    ----------
    values : tuple
        What is handed to a kernel; whoever calls it keeps hold of them until it has come back.
    kinds, numbers : list
        The kinds of the values and the numbers that stand for them are added.

    Raises
    ------
    TypeError
        No kernel takes such a value.
    """
    for value in values:
        if isinstance(value, np.ndarray):
            if not value.flags.c_contiguous:
                raise TypeError("a kernel takes only arrays without gaps")
            kinds.append((ARRAY, value.ndim, form_of(value.dtype)))
            numbers += (None, None, value.size, value.itemsize, value.ctypes.data, *value.shape, *value.strides)
        elif isinstance(value, np.void):
            kinds.append((RECORD, form_of(value.dtype)))
            own = np.frombuffer(value, np.uint8)  # an array made of it in another way may be a copy
            numbers.append(own.ctypes.data)
        elif isinstance(value, tuple):
            kinds.append((TUPLE, len(value)))
            lay_out(value, kinds, numbers)
        elif isinstance(value, bool | np.bool_):
            kinds.append(TRUTH)
            numbers.append(bool(value))
        elif isinstance(value, float):
            kinds.append(FLOAT)
            numbers.append(value)
        elif isinstance(value, int | np.integer):
            kinds.append(INTEGER)
            numbers.append(int(value))
        else:
            raise TypeError(f"a kernel takes no {type(value).__name__}")


def digest(kinds: Kinds) -> str:
    """A short name for the kinds of arguments.

    Parameters
    ----------
    kinds : tuple
        Of all arguments.

    Returns
    -------
    str
        Eight hexadecimal digits.
    """
    return hashlib.sha256(repr(kinds).encode()).hexdigest()[:8]


def c_types(kinds: Kinds) -> list[Any]:
    """The numbers that stand for arguments, as types of `ctypes`.

    Parameters
    ----------
    kinds : tuple
        Of all arguments.

    Returns
    -------
    list
        One for each number.
    """
    found: list[Any] = []
    for kind in kinds:
        if isinstance(kind, str):
            found.append(_C_TYPES[kind])
        elif kind[0] == RECORD:
            found.append(ctypes.c_void_p)
        elif kind[0] == ARRAY:
            owners, counts = [ctypes.c_void_p] * 2, [ctypes.c_int64] * 2
            found += [*owners, *counts, ctypes.c_void_p, *[ctypes.c_int64] * (2 * kind[1])]
    return found


class Returned(NamedTuple):
    """What a kernel returns: nothing, a number, or a named tuple of numbers."""

    kinds: tuple[str, ...]
    """`FLOAT` or `INTEGER` for each number."""
    made_of: Callable[..., Any] | None
    """The class of a named tuple; none for nothing and for a number alone."""
    place: struct.Struct
    """How the numbers stand in memory."""

    def value(self, written: Any) -> Any:
        """What stands in a buffer, as the function would have returned it."""
        numbers = self.place.unpack_from(written)
        if self.made_of is not None:
            return self.made_of(*numbers)
        return numbers[0] if numbers else None


def returned_by(function: Callable[..., Any]) -> Returned:
    """What a function is annotated to return.

    Parameters
    ----------
    function : callable
        Annotated with None, a float, an integer, or a named tuple of those.

    Returns
    -------
    Returned
        As it is laid out.

    Raises
    ------
    KeyError
        It returns something else.
    """
    named = get_type_hints(function)["return"]
    if named is type(None):
        return Returned((), None, struct.Struct(""))
    tuple_of = named if hasattr(named, "_fields") else None
    found = [_RETURNED[each] for each in (get_type_hints(named).values() if tuple_of else [named])]
    return Returned(tuple(kind for kind, _ in found), tuple_of, struct.Struct("".join(letter for _, letter in found)))
