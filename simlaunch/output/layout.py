"""Plain text that fits a terminal, and CSV: tables of labelled rows, wrapped paragraphs, cleaned user text."""

from __future__ import annotations

import csv
import io
import re
import shlex
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from unicodedata import east_asian_width

from simlaunch.writing import no_formula

WIDTH = 80
NOT_REACHED = "-"
"""Stands in a cell for a number that there is not."""
_GAP = 2
_NO_BREAK = "\N{NO-BREAK SPACE}"
_GOES_ON = " \\"
_SECOND_COLUMN = "\0"  # stands behind a wide character; no cleaned text holds it
_NARROWEST = 7
_WORD = re.compile(r"\[[^\]]*\]|\S+")  # a unit in brackets stays in one piece


@dataclass(frozen=True)
class Row:
    """One line of a table: what it is, its unit (empty for none), and one cell for each column."""

    label: str
    unit: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """Rows under a title; the heads name the columns of cells."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[Row, ...]


def clean(text: str) -> str:
    """Text of a user on one line, with every character that a terminal could obey written as an escape."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def clean_lines(text: str) -> str:
    """The same for text of several lines, which stay apart."""
    return "\n".join(map(clean, text.split("\n")))


def columns(text: str) -> int:
    """Columns of a terminal that a text takes; wide characters take two."""
    return sum(2 if east_asian_width(c) in "WF" else 1 for c in text)


def short(text: str, width: int) -> str:
    """Text cut to so many columns; three points stand for its middle, since names differ at either end."""
    text = clean(text)
    if columns(text) <= width:
        return text
    cut = 1
    while cut < len(text) and columns(text) - columns(_middle(text, cut)) > width - 3:
        cut += 1
    start = (len(text) - cut + 1) // 2
    return f"{text[:start].rstrip()}...{text[start + cut :].lstrip()}"


def _middle(text: str, cut: int) -> str:
    start = (len(text) - cut + 1) // 2
    return text[start : start + cut]


def command_text(command: str) -> str:
    """A command of a POSIX shell within the width, as it can be pasted: never broken within a word."""
    lines = [""]
    for word in map(shlex.quote, shlex.split(clean(command))):
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if lines[-1] and columns(longer) > WIDTH - len(_GOES_ON):
            lines.append(f"    {word}")
        else:
            lines[-1] = longer
    return f"{_GOES_ON}\n".join(lines)


def paragraph(text: str, indent: str = "") -> str:
    """Text wrapped to the width, further lines indented."""
    return "\n".join(_wrapped(clean(text), indent))


def block(title: str, lines: Iterable[str]) -> list[str]:
    """A title and the lines below it, their own further lines indented; nothing where there are no lines."""
    wrapped = [paragraph(line, "    ") for line in lines]
    return ["\n".join([title, *wrapped])] if wrapped else []


def _wrapped(text: str, indent: str) -> list[str]:
    room = WIDTH - any(columns(c) == 2 for c in text)  # a word may be broken between the two columns of a character
    filler = textwrap.TextWrapper(room, subsequent_indent=indent, break_long_words=True, break_on_hyphens=False)
    kept_together = re.sub(r"(?<=\d) (?=\S)|(?<=\bN) (?=m\b)", _NO_BREAK, text)  # a number and its unit
    as_wide = "".join(c + _SECOND_COLUMN * (columns(c) - 1) for c in kept_together)  # lines are measured in characters
    lines = filler.wrap(as_wide)
    return [line.replace(_NO_BREAK, " ").replace(_SECOND_COLUMN, "") for line in lines]


def _left(text: str, width: int) -> str:
    return text + " " * (width - columns(text))


def _right(text: str, width: int) -> str:
    return " " * (width - columns(text)) + text


def _needs(table: Table) -> list[int]:
    """Columns that the cells below each head take."""
    return [max((columns(row.cells[i]) for row in table.rows), default=1) for i in range(len(table.heads))]


def _least(table: Table) -> int:
    """Columns that all cells take, with gaps, when heads are cut to what stands below them."""
    return sum(max(need, _NARROWEST) + _GAP for need in _needs(table))


def _uncut(table: Table) -> list[int]:
    """Columns that each column of cells takes with no word of its head cut."""
    words = (max(map(columns, _WORD.findall(clean(head))), default=0) for head in table.heads)
    return [max(need, word, _NARROWEST) for need, word in zip(_needs(table), words, strict=True)]


def _wished(table: Table) -> list[int]:
    """Width of each column of cells with its head uncut."""
    needs = zip(_needs(table), table.heads, strict=True)
    return [max(need, columns(clean(head)), _NARROWEST) for need, head in needs]


def _widths(table: Table, label: int) -> list[int]:
    """Width of each column of cells: as wished, the widest heads narrowed until everything fits; words are cut last."""
    widths = _wished(table)
    for needs in (_uncut(table), [max(need, _NARROWEST) for need in _needs(table)]):
        while sum(widths) + _GAP * len(widths) > WIDTH - label and widths != needs:
            widest = max((i for i, need in enumerate(needs) if widths[i] > need), key=lambda i: widths[i])
            widths[widest] -= 1
    return widths


def _shared_unit(table: Table) -> str:
    units = {row.unit for row in table.rows}
    return units.pop() if len(units) == 1 else ""


def _labels(table: Table) -> list[str]:
    """Title and labels; the unit stands in the title where all rows share it, else behind each label."""
    shared = _shared_unit(table)
    units = [shared, *("" if shared else row.unit for row in table.rows)]
    texts = [table.title, *(row.label for row in table.rows)]
    return [clean(f"{text} [{unit}]" if unit else text) for text, unit in zip(texts, units, strict=True)]


def _label_width(table: Table, wanted: int) -> int:
    """Columns for title and labels: as wanted, unless heads would have to go over more lines for it.

    A title goes over more lines before a word of a head is cut.
    """
    own = max(map(columns, _labels(table)))
    free = WIDTH - sum(_wished(table)) - _GAP * len(table.heads)
    if own <= free:
        return min(wanted, free)
    return max(min(own, _room_beside_heads(table)), min(_least_label(table), WIDTH - _least(table)))


def _least_label(table: Table) -> int:
    """Columns that labels take, and the longest word of the title."""
    title, *labels = _labels(table)
    return max(map(columns, [*_WORD.findall(title), *labels]))


def _room_beside_heads(table: Table) -> int:
    """Columns that are left for labels when no word of a head is cut."""
    return WIDTH - sum(_uncut(table)) - _GAP * len(table.heads)


def fits(table: Table) -> bool:
    """Whether a table fits the width with nothing cut: no label, no cell, and no word of its heads and title."""
    return _least_label(table) <= _room_beside_heads(table)


def label_room(table: Table) -> int:
    """Columns that are left for labels when no head and no cell of a table is cut."""
    return WIDTH - sum(_wished(table)) - _GAP * len(table.heads)


def _head_lines(head: str, width: int) -> list[str]:
    """A head or a title over as many lines as its words need; only a word too wide for its column is cut."""
    lines: list[str] = []
    for word in (short(each, width) for each in _WORD.findall(clean(head))):
        if lines and columns(lines[-1]) + 1 + columns(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines or [""]


def _lines(table: Table, label: int) -> list[str]:
    widths = _widths(table, label)
    heads = [_head_lines(head, w) for head, w in zip(table.heads, widths, strict=True)]
    title, *labels = _labels(table)
    titles = _head_lines(title, label)
    deep = max(map(len, [titles, *heads]))
    above = [[""] * (deep - len(each)) + each for each in [titles, *heads]]  # the last line of each stands lowest
    content = [*([head[k] for head in above[1:]] for k in range(deep)), *(row.cells for row in table.rows)]
    lines = [
        _left(short(text, label), label)
        + "".join(" " * _GAP + _right(short(cell, w), w) for cell, w in zip(cells, widths, strict=True))
        for text, cells in zip(above[0] + labels, content, strict=True)
    ]
    return [*lines[:deep], "-" * columns(lines[deep - 1]), *lines[deep:]]


def tables_text(tables: Sequence[Table]) -> list[str]:
    """Tables as text; their columns begin at the same place as far as there is room."""
    wanted = max((columns(label) for table in tables for label in _labels(table)), default=0)
    return ["\n".join(line.rstrip() for line in _lines(table, _label_width(table, wanted))) for table in tables]


def _value(text: str) -> str:
    return "" if text == NOT_REACHED else text


def _full_labels(table: Table) -> list[str]:
    """Labels that stand alone: an indented one with the label that it is indented below."""
    labels: list[str] = []
    above = ""
    for row in table.rows:
        indented = row.label.startswith(" ")
        above = above if indented else row.label
        labels.append(f"{above}, {row.label.strip()}" if indented else row.label)
    return labels


def csv_text(tables: Iterable[Table]) -> str:
    """All tables in one CSV, one line for each cell: table, row, unit, column, value (empty: not reached)."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("table", "row", "unit", "column", "value"))
    for table in tables:
        for label, row in zip(_full_labels(table), table.rows, strict=True):
            for head, cell in zip(table.heads, row.cells, strict=True):
                texts = (no_formula(clean(text)) for text in (table.title, label, row.unit, head))
                writer.writerow((*texts, _value(clean(cell))))
    return out.getvalue()
