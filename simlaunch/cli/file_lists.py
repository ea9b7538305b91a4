"""Options that take several files: every file that follows, up to the next option, as a shell expands a pattern."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

from typer.core import TyperCommand

from simlaunch.errors import UsageError

UP_TO = "all files up to the next option"
"""How the help says that an option takes a list."""

_END = "--"
_SCENARIO = ".toml"


class TakesLists(TyperCommand):
    """A command some options of which take lists of files; the base of what `taking_lists` makes."""

    lists: tuple[str, ...] = ()
    beside_scenarios = False

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Write the option before each of its files, as the parser wants it."""
        apart = list(self._apart(args))
        self.refuse_unclear(apart)
        return super().parse_args(ctx, list(self._repeated(apart)))

    def refuse_unclear(self, args: Sequence[str]) -> None:
        """Refuse a file of which nobody can say where it belongs; every file is clear here."""

    def _apart(self, args: Sequence[str]) -> Iterator[str]:
        """The arguments, an option that was joined to its first file by = apart from it."""
        ended = False
        for text in args:
            name, equals, value = text.partition("=")
            ended = ended or text == _END
            yield from (name, value) if equals and name in self.lists and not ended else (text,)

    def _repeated(self, args: Sequence[str]) -> Iterator[str]:
        option, ended, first = "", False, False
        for text, then in pairwise([*args, "-"]):
            ended = ended or text == _END
            if not ended and text in self.lists:
                option, first = text, True
                if then.startswith("-") or not then:
                    raise UsageError(f"{text} names no log; write such as {text} a.csv b.csv")
            elif ended or text.startswith("-") or not option or (self._is_scenario(text) and not first):
                option = ""
                yield text
            else:
                first = False  # the file right behind an option is its own, whatever it is called
                yield from (option, text)

    def _is_scenario(self, text: str) -> bool:
        """Whether a file ends the list, since it is a scenario or a folder of them."""
        return self.beside_scenarios and (Path(text).suffix.lower() == _SCENARIO or Path(text).is_dir())


def taking_lists(*options: str, beside_scenarios: bool = False) -> type[TakesLists]:
    """Class of a command some options of which take every file that follows, up to the next option.

    Parameters
    ----------
    options : str
        The options, such as ``"--log"``.
    beside_scenarios : bool
        Whether the command is given scenarios too; one that follows a list, or a folder, ends it.

    Returns
    -------
    type
        For the attribute `command_class` of the command.
    """
    return type("TakesSomeLists", (TakesLists,), {"lists": options, "beside_scenarios": beside_scenarios})
