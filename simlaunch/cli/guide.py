"""`simlaunch guide`: the manual, page by page."""

from __future__ import annotations

from typing import Annotated

import typer

from simlaunch.cli.output import result

Subject = Annotated[str | None, typer.Argument(metavar="[SUBJECT]", help="Page to print; left out: the list of pages.")]


def guide(subject: Subject = None) -> int:
    """Print a page of the manual, or the list of its pages."""
    from simlaunch.guide import page, pages, title

    if subject is not None:
        result(page(subject).rstrip())
        return 0
    listed = [f"{name:<14} {title(text)}" for name, text in pages().items()]
    result("\n".join([*listed, "", "simlaunch guide SUBJECT prints a page."]))
    return 0
