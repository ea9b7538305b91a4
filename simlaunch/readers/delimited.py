"""Tables of numbers from delimited text, as loggers and dynos write them.

How it is read, so that nothing has to be guessed:

- Encoding: a byte order mark decides; without one it is UTF-8, unless another encoding is asked for.
- Lines end with LF, CRLF or CR. A quoted cell ends on its own line.
- The first data row is the first line with at least two numbers and no fewer numbers than other cells. The header is
  the line before it; if that line holds units and a line of as many cells stands above it, that one is the header.
  Lines further up are kept as the preamble.
- Delimiter: the first of tab, semicolon, comma and blanks that parts the header and the rows below it into the same
  number of cells, two or more.
- Decimal mark: the one that the cells hold. Where every mark could as well part thousands ("1,500"), and the
  delimiter does not settle it, the table is refused.
- Numbers are plain decimal numbers. A blank cell is `nan`. A column without a single number is text and left out.
"""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import chain, islice
from math import nan
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simlaunch.errors import Fault, InputError
from simlaunch.scenario.reading import read_bytes
from simlaunch.units.gate import quoted
from simlaunch.units.numeral import (
    FORMULA,
    MAX_CELL,
    DecimalMark,
    decimal_mark,
    looks_like_number,
    number_in,
    why_no_number,
)
from simlaunch.units.spelling import is_unit, without_brackets

MAX_BYTES = 32 * 2**20
MAX_ROWS = 250_000
MAX_CELLS = 1_500_000
MAX_COLUMNS = 1000
MAX_LINE = 2**16
MAX_PREAMBLE = 200
SAMPLE = 1000
_CHUNK = 2**18
_LESS = "give a part of it, fewer columns, or a lower rate"

Array = NDArray[np.float64]
Lines = NDArray[np.int64]


class Encoding(StrEnum):
    """How bytes stand for characters."""

    UTF_8 = "utf-8"
    UTF_16 = "utf-16"
    LATIN_1 = "latin-1"


class Delimiter(StrEnum):
    """What parts the cells of a line; in the order in which they are tried."""

    TAB = "tab"
    SEMICOLON = "semicolon"
    COMMA = "comma"
    BLANKS = "blanks"


@dataclass(frozen=True)
class TableOptions:
    """What the caller knows of a table; None leaves it to the stated rules."""

    encoding: Encoding | None = None
    delimiter: Delimiter | None = None
    decimal: DecimalMark | None = None
    max_bytes: int = MAX_BYTES
    max_rows: int = MAX_ROWS


@dataclass(frozen=True)
class TextColumn:
    """A column without a single number: its name, its unit, and its first cell with the line it stands on."""

    name: str
    unit: str
    line: int
    cell: str


@dataclass(frozen=True)
class Table:
    """A table of numbers with the names of its columns.

    Parameters
    ----------
    source : str
        The file, fit to be shown.
    header : tuple of str
        Name of each column, as written.
    units : tuple of str or None
        Unit of each column where a row of units follows the header.
    columns : tuple of ndarray, shape (n,)
        Values of each column; a blank cell is `nan`.
    line_numbers : ndarray, shape (n,)
        Line of the file that each row stands on, from 1.
    notes : tuple of str
        How the file was understood.
    text_columns : tuple of TextColumn
        Columns that were left out since they hold no number.
    preamble : tuple of str
        Lines above the header.
    """

    source: str
    header: tuple[str, ...]
    units: tuple[str, ...] | None
    columns: tuple[Array, ...]
    line_numbers: Lines
    notes: tuple[str, ...]
    text_columns: tuple[TextColumn, ...] = ()
    preamble: tuple[str, ...] = ()

    def unit(self, column: int) -> str:
        """Unit of a column from the row of units; empty where there is none."""
        return self.units[column] if self.units else ""


def shown(path: str | os.PathLike[str]) -> str:
    """Name of a file fit to be shown: printable, on one line, and not too long to read."""
    text = os.fspath(path)
    text = text if len(text) <= 200 else f"...{text[-197:]}"
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def refusal(source: str, place: str, typed: str, why: str, instead: str) -> InputError:
    """Error of one fault in a file: where, what stands there, why it will not do, what to write instead."""
    return InputError(f"{source}, {Fault(place, quoted(typed) if typed else '', why, instead)}")


def read_table(path: str | os.PathLike[str], options: TableOptions | None = None) -> Table:
    """Table of numbers from a file of delimited text.

    Parameters
    ----------
    path : str or path-like
        A regular file.
    options : TableOptions, optional
        What is known of it; without it everything is found by the rules of this module.

    Returns
    -------
    Table
        Columns of floats with their names.

    Raises
    ------
    InputError
        The file is too large, is no such table, or a cell of it is no number; file, line and column are named.
    """
    options = options or TableOptions()
    text, encoding = _text(Path(path), source := shown(path), options)
    rows = _Rows(source, _layout(text, source, options))
    for first, lines in _pieces(text, source):
        rows.take(first, lines)
    return _table(rows, encoding)


# --- bytes to text to lines ---


def _text(path: Path, source: str, options: TableOptions) -> tuple[str, Encoding]:
    try:
        content = read_bytes(path, options.max_bytes)
    except InputError as error:
        raise InputError(f"{source}, {error.args[0]}") from None
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):  # how workbooks begin, new ones and old ones
        raise refusal(source, "file", "", "is a workbook or another packed file, not text", "export it as CSV")
    encoding = _encoding(content, options)
    breaks = content.count(b"\n") or content.count(b"\r")
    if breaks > options.max_rows + MAX_PREAMBLE:
        raise refusal(source, "file", "", f"has more than {options.max_rows} rows", _LESS)
    try:
        text = content.decode("utf-8-sig" if encoding is Encoding.UTF_8 else encoding.value)
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        instead = f"save it as UTF-8, or name another encoding: {', '.join(Encoding)}"
        raise refusal(source, f"line {line}", "", f"is not {encoding.upper()}", instead) from None
    if not text.strip():
        raise refusal(source, "file", "", "is empty", "name a file with a header and rows of numbers")
    return text, encoding


def _encoding(content: bytes, options: TableOptions) -> Encoding:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return Encoding.UTF_16
    if content.startswith(b"\xef\xbb\xbf"):
        return Encoding.UTF_8
    return options.encoding or Encoding.UTF_8


def _pieces(text: str, source: str) -> Iterator[tuple[int, list[str]]]:
    """Lines in pieces of bounded length, each with the number of its first line."""
    ending = "\n" if "\n" in text else "\r"
    number, start = 1, 0
    while start < len(text):
        end = text.find(ending, min(start + _CHUNK, len(text))) + 1 or len(text)
        piece = text[start:end].replace("\r\n", "\n").replace("\r", "\n")
        lines = piece.removesuffix("\n").split("\n")
        _check_lines(number, lines, source)
        yield number, lines
        number, start = number + len(lines), end


_PLAIN = b"0123456789+-.,eE;\t \n"
"""All that a table of numbers needs."""

_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]")


def _is_plain(lines: list[str]) -> bool:
    return not "\n".join(lines).encode("utf-8").translate(None, _PLAIN)


def _check_lines(first: int, lines: list[str], source: str) -> None:
    if max(map(len, lines)) > MAX_LINE:
        long = next(n for n, line in enumerate(lines) if len(line) > MAX_LINE)
        why = f"is longer than {MAX_LINE} characters"
        raise refusal(source, f"line {first + long}", lines[long][:MAX_CELL], why, "give one row per line")
    if not _is_plain(lines) and (found := _CONTROL.search("\n".join(lines))):
        n, line = next((n, line) for n, line in enumerate(lines) if found.group() in line)
        why = f"holds {'a NUL' if found.group() == chr(0) else 'a control character or an invisible one'}"
        hint = "save it as plain text; a file of UTF-16 without a byte order mark needs its encoding named"
        raise refusal(source, f"line {first + n}", line[:MAX_CELL], why, hint)


# --- lines to cells ---

_SPLIT_AT: Mapping[Delimiter, str | None] = {
    Delimiter.TAB: "\t",
    Delimiter.SEMICOLON: ";",
    Delimiter.COMMA: ",",
    Delimiter.BLANKS: None,  # any run of blanks
}


def _cells(line: str, delimiter: Delimiter) -> list[str] | None:
    """Cells of a line without the blanks around them; None when a quote is not closed."""
    if '"' not in line:
        return [part.strip() for part in line.split(_SPLIT_AT[delimiter])]
    reader = csv.reader([line.strip(" ")], delimiter=_SPLIT_AT[delimiter] or " ", skipinitialspace=True, strict=True)
    try:
        return [part.strip() for part in next(reader)]
    except csv.Error:
        return None


def _looks_like_data(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell]
    numbers = sum(map(looks_like_number, filled))
    return numbers >= 2 and 2 * numbers >= len(filled)


@dataclass(frozen=True)
class _Layout:
    """How the lines of one file are to be read."""

    delimiter: Delimiter
    decimal: DecimalMark
    header: tuple[str, ...]
    units: tuple[str, ...] | None
    first_line: int
    preamble: tuple[str, ...]
    max_rows: int


_Numbered = Sequence[tuple[int, str]]


def _layout(text: str, source: str, options: TableOptions) -> _Layout:
    every = ((first + n, line) for first, lines in _pieces(text, source) for n, line in enumerate(lines))
    head = list(islice(((n, line) for n, line in every if line.strip()), MAX_PREAMBLE + SAMPLE))
    candidates = (options.delimiter,) if options.delimiter else tuple(Delimiter)
    for delimiter, rows_below in [(d, n) for n in (20, 1) for d in candidates]:  # a spoilt row is reported by its line
        found = _try(head, delimiter, rows_below)
        if found is not None:
            header, units, start, above = found
            data = [cells for _, line in head[start:] if (cells := _cells(line, delimiter))]
            decimal = options.decimal or _decimal(data, delimiter, f"{source}, line {head[start][0]} or below")
            preamble = tuple(line.strip() for _, line in head[:above])
            return _Layout(delimiter, decimal, header, units, head[start][0], preamble, options.max_rows)
    raise _no_table(head, source, candidates)


_Head = tuple[tuple[str, ...], tuple[str, ...] | None, int, int]


def _try(head: _Numbered, delimiter: Delimiter, rows_below: int) -> _Head | None:
    """Header, units, index of the first data row and of the header; None when this delimiter does not fit."""
    rows = [_cells(line, delimiter) for _, line in head[: MAX_PREAMBLE + rows_below]]
    start = next((n for n, row in enumerate(rows[:MAX_PREAMBLE]) if row and _looks_like_data(row)), 0)
    while start and any(map(looks_like_number, rows[start - 1] or [])):
        start -= 1  # a name is never a number: that row has a cell to complain of
    if start == 0:
        return None
    header, first = rows[start - 1] or [], rows[start] or []
    width = max(_width(header), _width(first))
    if min(_width(header), _width(first)) < 2:
        return None
    fitting = [_fits(row, width) for row in rows[start : start + rows_below]]
    if not (_fits(header, width) and all(fitting)):
        return None
    above = rows[start - 2] if start > 1 else None
    if above and _is_units_row(header) and _fits(above, width) and not all(map(is_unit, above)):
        return tuple(above[:width]), tuple(header[:width]), start, start - 2
    return tuple(header[:width]), None, start, start - 1


def _width(cells: list[str]) -> int:
    """Number of cells, without a blank one that a delimiter at the end of the line leaves."""
    return len(cells) - (not cells[-1]) if cells else 0


def _fits(cells: list[str] | None, width: int) -> bool:
    return cells is None or len(cells) == width or (len(cells) == width + 1 and not cells[-1])


def _is_units_row(cells: list[str]) -> bool:
    filled = [cell for cell in cells if cell]
    bracketed = all(without_brackets(cell) != cell for cell in filled)
    return bool(filled) and (bracketed or 2 * sum(map(is_unit, filled)) >= len(filled))


def _decimal(rows: list[list[str]], delimiter: Delimiter, place: str) -> DecimalMark:
    try:
        cells = list(chain.from_iterable(rows))
        return decimal_mark(cells, comma_parts_cells=delimiter is Delimiter.COMMA)
    except InputError as error:
        raise InputError(f"{place}{error.args[0]}") from None


def _no_table(head: _Numbered, source: str, candidates: tuple[Delimiter, ...]) -> InputError:
    for number, line in head[:MAX_PREAMBLE]:
        if line.count('"') % 2:
            return refusal(source, f"line {number}", line[:MAX_CELL], "has a quote that is not closed", "close it")
    number, line = head[0]
    if any(_looks_like_data(_cells(line, delimiter) or []) for delimiter in candidates):
        instead = 'begin with the names of the columns, such as "engine speed [rpm];torque [N m]"'
        return refusal(source, f"line {number}", line[:MAX_CELL], "holds numbers where the header is wanted", instead)
    why = f"begins no table: no delimiter ({', '.join(candidates)}) splits header and rows into equally many cells"
    instead = "give one header, then rows of equally many cells; a decimal comma needs another delimiter than the comma"
    return refusal(source, f"line {number}", line[:MAX_CELL], why, instead)


# --- cells to numbers ---


@dataclass
class _Rows:
    """Rows read so far, and for each column whether it holds numbers and the first cell that is none."""

    source: str
    layout: _Layout
    blocks: list[Array] = field(default_factory=list)
    lines: list[Lines] = field(default_factory=list)
    count: int = 0
    numeric: set[int] = field(default_factory=set)
    strange: dict[int, tuple[int, str]] = field(default_factory=dict)

    def take(self, first: int, lines: list[str]) -> None:
        """Read some more lines."""
        skipped = max(self.layout.first_line - first, 0)
        lines, numbers = lines[skipped:], np.arange(first + skipped, first + max(len(lines), skipped))
        block = _all_numbers(lines, self.layout) if lines else None
        if block is None:
            filled = [n for n, line in enumerate(lines) if line.strip()]
            numbers, lines = numbers[filled], [lines[n] for n in filled]
        self.count += len(lines)
        self._check_size()
        if block is not None:
            self.numeric.update(np.flatnonzero(np.isfinite(block).any(axis=0)).tolist())
        else:
            rows = [self._fitted(int(number), line) for number, line in zip(numbers, lines, strict=True)]
            columns = enumerate(zip(*rows, strict=True))
            block = np.column_stack([self._column(n, cells, numbers) for n, cells in columns])
        self.blocks.append(block)
        self.lines.append(numbers)

    def _check_size(self) -> None:
        width = len(self.layout.header)
        if self.count > self.layout.max_rows:
            raise refusal(self.source, "file", "", f"has more than {self.layout.max_rows} rows", _LESS)
        if width > MAX_COLUMNS or self.count * width > MAX_CELLS:
            raise refusal(self.source, "file", "", f"has over {MAX_COLUMNS} columns or {MAX_CELLS} cells", _LESS)

    def _fitted(self, number: int, line: str) -> list[str]:
        cells, width = _cells(line, self.layout.delimiter), len(self.layout.header)
        if cells is not None and _fits(cells, width):
            return cells[:width]
        why, instead = "has a quote that is not closed on its line", "close it, or leave quotes out"
        if cells is not None:
            why = f"has {len(cells)} cell{'s' if len(cells) != 1 else ''}, the header has {width}"
            instead = f"separate the cells as in the header ({self.layout.delimiter})"
        raise refusal(self.source, f"line {number}", line[:MAX_CELL], why, instead)

    def _column(self, column: int, cells: tuple[str, ...], numbers: Lines) -> list[float]:
        values = {cell: number_in(cell, self.layout.decimal) for cell in set(cells)}
        if any(value is not None and value == value for value in values.values()):
            self.numeric.add(column)
        if None not in values.values():
            return [value for cell in cells if (value := values[cell]) is not None]
        wrong = {cell for cell, value in values.items() if value is None and _is_no_text(cell)}
        first = next(n for n, cell in enumerate(cells) if cell in (wrong or cells) and values[cell] is None)
        strange = (int(numbers[first]), cells[first])
        self.strange[column] = strange if wrong else self.strange.get(column, strange)
        if column in self.numeric or wrong:
            raise self.bad_cell(column)
        return [nan if values[cell] is None else 0.0 for cell in cells]

    def bad_cell(self, column: int) -> InputError:
        """Error for the first cell of a column that is no number."""
        line, text = self.strange[column]
        place = f"line {line}, column {quoted(self.layout.header[column] or str(column + 1))}"
        return refusal(self.source, place, text, *why_no_number(text, self.layout.decimal))


def _is_no_text(cell: str) -> bool:
    """Whether a cell that is no number can be no remark either: a formula, a number in another manner, a long word."""
    return cell[:1] in FORMULA or looks_like_number(cell) or (len(cell) > MAX_CELL and not cell[0].isalpha())


def _all_numbers(lines: list[str], layout: _Layout) -> Array | None:
    """All cells of some lines at once, the quick way; None when a single one needs a closer look."""
    if not _is_plain(lines):
        return None
    part = _SPLIT_AT[layout.delimiter]
    rows = [line.split(part) for line in lines]
    if set(map(len, rows)) != {len(layout.header)}:
        return None
    cells = list(chain.from_iterable(rows))
    if layout.decimal is DecimalMark.COMMA:
        if "." in "".join(cells):
            return None
        cells = [cell.replace(",", ".") for cell in cells]
    if max(map(len, cells)) > MAX_CELL // 2:
        return None
    try:
        numbers = np.array(_floats(cells))
    except ValueError:
        return None
    return None if bool(np.isinf(numbers).any()) else numbers.reshape(len(rows), -1)


def _floats(cells: list[str]) -> list[float]:
    try:
        return list(map(float, cells))
    except ValueError:  # blank cells, as a rule
        return [float(cell) if cell.strip() else nan for cell in cells]


# --- the whole ---


def _table(rows: _Rows, encoding: Encoding) -> Table:
    layout = rows.layout
    for column in sorted(rows.strange.keys() & rows.numeric):
        raise rows.bad_cell(column)
    values = np.concatenate(rows.blocks)
    kept = [n for n, name in enumerate(layout.header) if n not in rows.strange and (name or n in rows.numeric)]
    units = [without_brackets(unit) for unit in layout.units or [""] * len(layout.header)]
    text = tuple(TextColumn(layout.header[n], units[n], *rows.strange[n]) for n in sorted(rows.strange))
    return Table(
        source=rows.source,
        header=tuple(layout.header[n] for n in kept),
        units=tuple(units[n] for n in kept) if layout.units else None,
        columns=tuple(np.ascontiguousarray(values[:, n]) for n in kept),
        line_numbers=np.concatenate(rows.lines),
        notes=_notes(layout, encoding, text),
        text_columns=text,
        preamble=layout.preamble,
    )


def _notes(layout: _Layout, encoding: Encoding, text: tuple[TextColumn, ...]) -> tuple[str, ...]:
    above = len(layout.preamble)
    return (
        f"read as {encoding.upper()}; cells parted by {layout.delimiter}; decimal {layout.decimal}",
        *([f"{above} line{'s' if above != 1 else ''} above the header passed over"] if above else []),
        *(["a row of units follows the header"] if layout.units else []),
        *(f"column {quoted(column.name)} holds text and is left out" for column in text),
    )
