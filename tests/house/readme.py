"""Reading the README and the pages of the guide: what is typed, what is shown below it, and what is linked."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import NamedTuple

import simlaunch
from simlaunch.cli.main import answer

_BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_PYTHON = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_FENCED = re.compile(r"^```.*?^```$", re.MULTILINE | re.DOTALL)
_LINK = re.compile(r"\]\(([^)\s]+)\)")
_SHELL = frozenset("|<>;&$`*?")


class Ended(NamedTuple):
    """How a call ended, and what it printed."""

    code: int
    out: str
    err: str


@dataclass(frozen=True)
class Shown:
    """One typed line, and the output that a page shows for it."""

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


def python_blocks(text: str) -> list[str]:
    """Text of every fenced block marked `python`."""
    return _PYTHON.findall(text)


def links(text: str) -> list[str]:
    """Targets of every link and picture, in the order of the text; fenced blocks hold none."""
    return _LINK.findall(_FENCED.sub("", text))


def broken_links(page: Path) -> list[str]:
    """Relative links of a page that lead to no file or folder."""
    targets = [target.partition("#")[0] for target in links(page.read_text("utf-8"))]
    return [target for target in targets if "://" not in target and not (page.parent / target).exists()]


def shown(text: str) -> list[Shown]:
    """Every typed line of every console block, with what stands below it."""
    pieces = [piece for block in console_blocks(text) for piece in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]]
    return [Shown(command, output) for command, _, output in (piece.partition("\n") for piece in pieces)]


def untrue_lines(claimed: str, real: str) -> list[str]:
    """Lines that are shown and are not printed, in the order shown; three points stand for lines left out."""
    printed = iter(line.rstrip() for line in real.splitlines())
    wanted = [line.rstrip() for line in claimed.splitlines() if line.strip() not in ("", "...")]
    return [line for line in wanted if line not in printed]


def processed(arguments: list[str], folder: Path) -> Ended:
    """Run the package that this process would import, from another folder, as a process of its own."""
    environment = {**os.environ, "PYTHONPATH": str(Path(simlaunch.__path__[0]).parent)}
    command = [sys.executable, "-m", "simlaunch", *arguments]
    run = subprocess.run(
        command,
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=300,
    )
    return Ended(run.returncode, run.stdout, run.stderr)


def answered(arguments: list[str], folder: Path) -> Ended:
    """Run it from another folder in this process, which saves a start."""
    with redirect_stdout(StringIO()) as out, redirect_stderr(StringIO()) as err, chdir(folder):
        code = answer(arguments)
    return Ended(code, out.getvalue(), err.getvalue())


def faults(line: Shown, folder: Path, run: Callable[[list[str], Path], Ended]) -> list[str]:
    """What is untrue about one typed line; the files it writes land in a folder of their own."""
    runs = [run(call, folder) for call in line.calls()]
    if not runs:
        return []
    failed = [f"{line.command}: exit {each.code}: {each.err}" for each in runs if each.code]
    untrue = untrue_lines(line.output, "\n".join(each.out for each in runs))
    return failed + [f"{line.command}: shows {told!r}, which is not printed there" for told in untrue]
