"""`simlaunch guide`: the manual, page by page."""

from __future__ import annotations

from typing import Annotated

import typer

import simlaunch.guide as manual
from simlaunch.cli.output import result

Subject = Annotated[
    str | None, typer.Argument(metavar="SUBJECT", help="Page to print.", show_default="a list of the pages")
]


def guide(subject: Subject = None) -> int:
    """Print a page of the manual, or a list of its pages."""
    if subject is not None:
        result(manual.page(subject).rstrip())
        return 0
    listed = [f"{name:<14} {manual.title(text)}" for name, text in manual.pages().items()]
    result("\n".join([*listed, "", "simlaunch guide SUBJECT prints a page."]))
    return 0
