"""Reading the README's console blocks: what is typed, and what is shown below it."""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass

_BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_SHELL = frozenset("|<>;&$`*?")


@dataclass(frozen=True)
class Shown:
    """One typed line, and the output that the README shows for it."""

    command: str
    output: str

    def calls(self) -> list[list[str]]:
        """Arguments of each call of simlaunch in the line; other programs are left alone."""
        parts = [shlex.split(part) for part in self.command.split("&&")]
        ours = [part[1:] for part in parts if part and part[0] == "simlaunch"]
        for word in (word for call in ours for word in call if _SHELL & set(word)):
            raise ValueError(f"{self.command}: {word} needs a shell; write a plain command")
        return ours


def console_blocks(text: str) -> list[str]:
    """Text of every fenced block marked `console`."""
    return _BLOCK.findall(text)


def shown(text: str) -> list[Shown]:
    """Every typed line of every console block, with what stands below it."""
    pieces = [piece for block in console_blocks(text) for piece in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]]
    return [Shown(command, output) for command, _, output in (piece.partition("\n") for piece in pieces)]


def untrue_lines(claimed: str, real: str) -> list[str]:
    """Lines that are shown and are not printed, in the order shown; three points stand for lines left out."""
    printed = iter(line.rstrip() for line in real.splitlines())
    wanted = [line.rstrip() for line in claimed.splitlines() if line.strip() not in ("", "...")]
    return [line for line in wanted if line not in printed]
