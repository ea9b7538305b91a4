"""The README's commands run and print what it shows; the check script reads its test command from there."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import simlaunch
from house.readme import Shown, console_blocks, shown, untrue_lines
from house.source_tree import ROOT

README = ROOT / "README.md"
SAMPLE = """
```console
$ pip install . && simlaunch compare scenarios/a.toml --out "two words"
0-100 km/h   4.31 s   -0.12 s
$ simlaunch check b.toml
```

```sh
$ simlaunch not-this
```
"""


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


def _faults(line: Shown, folder: Path) -> list[str]:
    """What is untrue about one typed line; the files it writes land in a folder of their own."""
    runs = [_simlaunch(call, folder) for call in line.calls()]
    if not runs:
        return []
    failed = [f"{line.command}: exit {run.returncode}: {run.stderr}" for run in runs if run.returncode]
    untrue = untrue_lines(line.output, "\n".join(run.stdout for run in runs))
    return failed + [f"{line.command}: shows {told!r}, which is not printed there" for told in untrue]


@pytest.mark.slow
def test_commands_of_the_readme_are_true(tmp_path: Path) -> None:
    lines = shown(README.read_text("utf-8"))
    assert sum(len(line.calls()) for line in lines) > 0, "README.md has no console block that calls simlaunch"
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    assert [fault for line in lines for fault in _faults(line, tmp_path)] == []


def test_console_blocks_are_read() -> None:
    first, second = shown(SAMPLE)
    assert len(console_blocks(SAMPLE)) == 1
    assert first.calls() == [["compare", "scenarios/a.toml", "--out", "two words"]]
    assert first.output == "0-100 km/h   4.31 s   -0.12 s\n"
    assert (second.calls(), second.output) == ([["check", "b.toml"]], "")


def test_a_line_that_needs_a_shell_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a shell"):
        Shown("simlaunch run a.toml > out.txt", "").calls()


def test_other_programs_are_left_alone() -> None:
    assert Shown('pip install ".[test]" && pytest', "").calls() == []


@pytest.mark.parametrize(
    ("real", "untrue"),
    [
        ("head\ntook 4.31 s\nbetween\n0.2 s lost\n", []),
        ("took 4.310 s\n0.2 s lost\n", ["took 4.31 s", "0.2 s lost"]),
        ("took 4.31 s\n0.2 s gained\n", ["0.2 s lost"]),
        ("0.2 s lost\ntook 4.31 s\n", ["0.2 s lost"]),
    ],
)
def test_a_line_that_is_not_printed_or_out_of_order_is_named(real: str, untrue: list[str]) -> None:
    assert untrue_lines("took 4.31 s\n...\n0.2 s lost\n", real) == untrue


@pytest.mark.parametrize(
    ("readme", "message"),
    [
        (None, "README.md is missing"),
        ("# Title\n```sh\npytest\n```\n", "README.md has no line '<!-- test command -->'"),
        ("<!-- test command -->\nwords\n```sh\npytest\n```\n", "no closed fenced block follows"),
        ("<!-- test command -->\n```sh\npytest\n", "no closed fenced block follows"),
        ("<!-- test command -->\n```sh\n\n```\n", "the block after '<!-- test command -->' is empty"),
    ],
)
def test_check_script_needs_the_test_command(tmp_path: Path, readme: str | None, message: str) -> None:
    (tmp_path / ".ci").mkdir()
    shutil.copy(ROOT / ".ci" / "run", tmp_path / ".ci" / "run")
    if readme is not None:
        (tmp_path / "README.md").write_text(readme, "utf-8")
    run = subprocess.run([tmp_path / ".ci" / "run"], capture_output=True, text=True, timeout=60)
    assert run.returncode == 1
    assert message in run.stderr
    assert run.stdout == ""
