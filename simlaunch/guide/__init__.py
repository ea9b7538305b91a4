"""The manual: one Markdown page for each subject, shown by `simlaunch guide` and checked like the README."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from simlaunch.errors import UsageError


@cache
def pages() -> Mapping[str, str]:
    """Text of every page by its subject, `start` first."""
    found = {
        path.name.removesuffix(".md"): path.read_text(encoding="utf-8")
        for path in files("simlaunch.guide").iterdir()
        if path.name.endswith(".md")
    }
    return {subject: found[subject] for subject in sorted(found, key=lambda subject: (subject != "start", subject))}


def page(subject: str) -> str:
    """Text of one page.

    Parameters
    ----------
    subject : str
        Name of the page, such as ``"compare"``.

    Returns
    -------
    str
        Markdown.

    Raises
    ------
    UsageError
        No page of that name.
    """
    known = pages()
    if subject not in known:
        raise UsageError(f'no page of the guide is named "{subject}"; choose one of {", ".join(known)}')
    return known[subject]


def title(text: str) -> str:
    """Heading of a page, without its mark."""
    return text.partition("\n")[0].lstrip("# ").strip()
