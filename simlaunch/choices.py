"""Choices of the public functions: members of an enum, or the plain words for them."""

from __future__ import annotations

from enum import Enum
from typing import TypeVar

from simlaunch.errors import UsageError

Choice = TypeVar("Choice", bound=Enum)


def chosen(kind: type[Choice], value: Choice | str, what: str) -> Choice:
    """The member of an enum that is meant.

    Parameters
    ----------
    kind : type
        The enum.
    value : Enum or str
        A member of it; or its name or its value as text, in either case, with blanks, hyphens or underscores.
        The first word is enough where no other member begins with it. What is chosen may follow, as it does in
        what is printed: "full pedal" for a pedal.
    what : str
        What is chosen, as the message for a value that is none calls it, such as "pedal".

    Returns
    -------
    Enum
        The member.

    Raises
    ------
    UsageError
        No member of that name.
    """
    if isinstance(value, kind):
        return value
    words = {member: {_plain(member.name), _plain(word_of(member))} for member in kind}
    if isinstance(value, str):
        typed = _plain(value).removesuffix(f" {what}")
        exact = [member for member, names in words.items() if typed in names]
        begun = [member for member, names in words.items() if any(name.split()[0] == typed for name in names)]
        for found in (exact, begun):
            if len(found) == 1:
                return found[0]
    known = ", ".join(f'"{word_of(member)}"' for member in kind)
    shown = f'"{value}"' if isinstance(value, str) else repr(value)
    raise UsageError(f"{what} {shown} is not known; write one of {known}")


def word_of(member: Enum) -> str:
    """The plain word for a member of an enum: its value where that is text, else its name."""
    return member.value if isinstance(member.value, str) else _plain(member.name)


def _plain(text: str) -> str:
    return " ".join(text.lower().replace("_", " ").replace("-", " ").split())
