"""Options of every command that reads delimited text."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, TypeAlias

import typer

from simlaunch.cli.options import meant
from simlaunch.readers import delimited
from simlaunch.units import numeral


class EncodingChoice(StrEnum):
    """How bytes stand for characters, as typed."""

    UTF_8 = "utf-8"
    UTF_16 = "utf-16"
    LATIN_1 = "latin-1"


class DelimiterChoice(StrEnum):
    """What separates the cells of a line, as typed."""

    TAB = "tab"
    SEMICOLON = "semicolon"
    COMMA = "comma"
    BLANKS = "blanks"


class DecimalChoice(StrEnum):
    """Decimal mark of a number, as typed."""

    POINT = "point"
    COMMA = "comma"


Encoding: TypeAlias = Annotated[
    EncodingChoice | None,
    typer.Option("--encoding", help="Encoding of the text.", show_default="byte order mark, or else utf-8"),
]
Delimiter: TypeAlias = Annotated[
    DelimiterChoice | None,
    typer.Option("--delimiter", help="What separates the cells.", show_default="the one that fits"),
]
Decimal: TypeAlias = Annotated[
    DecimalChoice | None,
    typer.Option("--decimal", help="Decimal mark.", show_default="the one in the cells"),
]


def table_options(
    encoding: EncodingChoice | None, delimiter: DelimiterChoice | None, decimal: DecimalChoice | None
) -> delimited.TableOptions:
    """What was said of the text."""
    return delimited.TableOptions(
        meant(encoding, delimited.Encoding),
        meant(delimiter, delimited.Delimiter),
        meant(decimal, numeral.DecimalMark),
    )
