"""Reading the README and the pages of the guide: what is typed, what is shown below it, and what is linked."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import simlaunch

_BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_PYTHON = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_FENCED = re.compile(r"^```.*?^```$", re.MULTILINE | re.DOTALL)
_LINK = re.compile(r"\]\(([^)\s]+)\)")
_SHELL = frozenset("|<>;&$`*?")


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


def _simlaunch(arguments: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """Run the package that this process would import, from another folder."""
    environment = {**os.environ, "PYTHONPATH": str(Path(simlaunch.__path__[0]).parent)}
    command = [sys.executable, "-m", "simlaunch", *arguments]
    return subprocess.run(
        command,
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=300,
    )


def faults(line: Shown, folder: Path) -> list[str]:
    """What is untrue about one typed line; the files it writes land in a folder of their own."""
    runs = [_simlaunch(call, folder) for call in line.calls()]
    if not runs:
        return []
    failed = [f"{line.command}: exit {run.returncode}: {run.stderr}" for run in runs if run.returncode]
    untrue = untrue_lines(line.output, "\n".join(run.stdout for run in runs))
    return failed + [f"{line.command}: shows {told!r}, which is not printed there" for told in untrue]
