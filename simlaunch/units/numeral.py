"""Plain decimal numbers in the cells of a table, and which mark parts their decimals.

The decimal mark is the one that the cells hold. Thousands are not parted by anything; where every mark could as well
part thousands ("1,500") the cells leave it open, and nothing is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from enum import StrEnum
from math import isfinite, nan

from simlaunch.errors import Fault, InputError
from simlaunch.units.gate import quoted

MAX_CELL = 64
FORMULA = frozenset("=@")
"""First characters of what a spreadsheet would work out."""

_NUMBER = re.compile(r"[+-]?(?:\d{1,20}(?:\.\d{0,25})?|\.\d{1,25})(?:[eE][+-]?\d{1,3})?", re.ASCII)
_EITHER_MARK = re.compile(r"[+-]?(?:\d{1,20}(?:[.,]\d{0,25})?|[.,]\d{1,25})(?:[eE][+-]?\d{1,3})?", re.ASCII)
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:[.,' ]\d{3})+(?:[.,]\d{0,25})?", re.ASCII)
_COULD_BE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)


class DecimalMark(StrEnum):
    """What parts the decimals of a number."""

    POINT = "point"
    COMMA = "comma"


def looks_like_number(cell: str) -> bool:
    """Whether a cell is a number under one decimal mark or the other, or with parted thousands."""
    return bool(_EITHER_MARK.fullmatch(cell) or _THOUSANDS.fullmatch(cell))


def decimal_mark(cells: Sequence[str], *, comma_parts_cells: bool) -> DecimalMark:
    """The decimal mark that cells hold.

    Parameters
    ----------
    cells : sequence of str
        Cells of a table; those that are no numbers, or have more than one mark, do not count.
    comma_parts_cells : bool
        Whether the comma parts the cells of a line, so that a point alone is a decimal point.

    Returns
    -------
    DecimalMark
        Point where the cells hold no mark at all.

    Raises
    ------
    InputError
        With a `Fault` as its only argument: both marks, or cells that leave it open.

    Examples
    --------
    >>> decimal_mark(["1000", "200,5"], comma_parts_cells=False)
    <DecimalMark.COMMA: 'comma'>
    """
    marked = [cell for cell in cells if ("," in cell or "." in cell) and _EITHER_MARK.fullmatch(cell)]
    with_comma = next((cell for cell in marked if "," in cell), None)
    with_point = next((cell for cell in marked if "." in cell), None)
    if with_comma and with_point:
        why = f"is written with a comma, {quoted(with_point)} with a point"
        raise _refusal(with_comma, why, "use one decimal mark, and part no thousands")
    settled = not marked or (comma_parts_cells and not with_comma)
    if not settled and all(_COULD_BE_THOUSANDS.fullmatch(cell) for cell in marked):
        why = "may have decimals or parted thousands; no cell of the table shows which"
        raise _refusal(marked[0], why, "name the decimal mark (point or comma), or write thousands without a mark")
    return DecimalMark.COMMA if with_comma else DecimalMark.POINT


def _refusal(typed: str, why: str, instead: str) -> InputError:
    return InputError(Fault("", quoted(typed), why, instead))


def number_in(cell: str, mark: DecimalMark) -> float | None:
    """Value of a cell.

    Parameters
    ----------
    cell : str
        Without blanks around it.
    mark : DecimalMark
        The decimal mark of the table.

    Returns
    -------
    float or None
        `nan` for a blank cell; None for one that holds no plain, finite number.

    Examples
    --------
    >>> number_in("1,5", DecimalMark.COMMA)
    1.5
    >>> number_in("1_000", DecimalMark.POINT) is None
    True
    """
    if not cell:
        return nan
    if mark is DecimalMark.COMMA:
        cell = "" if "." in cell else cell.replace(",", ".")
    if len(cell) > MAX_CELL or not _NUMBER.fullmatch(cell):
        return None
    value = float(cell)
    return value if isfinite(value) else None


def why_no_number(cell: str, mark: DecimalMark) -> tuple[str, str]:
    """Why a cell is no number, and what to write instead."""
    other = "." if mark is DecimalMark.COMMA else ","
    if cell[:1] in FORMULA:
        return "is a formula, not a number", "write the number that it gives"
    if len(cell) > MAX_CELL:
        return f"is longer than {MAX_CELL} characters", "write a plain number such as 3500"
    if _THOUSANDS.fullmatch(cell) and (other in cell or not _EITHER_MARK.fullmatch(cell)):
        return "has parted thousands", 'write plain numbers such as "1510.5"'
    if other in cell and _EITHER_MARK.fullmatch(cell):
        return f"is no number: the decimal mark of this table is a {mark}", "use one decimal mark throughout"
    return "is not a plain number", "write digits such as 3500 or -1.5, or leave the cell blank"
