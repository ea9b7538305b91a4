"""How README and guide are read by the tests; the check script reads its test command from the README."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from house.readme import Shown, broken_links, console_blocks, shown, untrue_lines
from house.source_tree import ROOT

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


def test_a_broken_link_is_named(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("[a](page.md#part), [b](gone.md), [c](https://example.org/)\n```\n[d](x.md)\n```\n", "utf-8")
    assert broken_links(page) == ["gone.md"]


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
