"""README and guide: commands print what is shown, Python runs, links lead somewhere, made pages are up to date."""

from __future__ import annotations

import ast
import re
import runpy
import shutil
from pathlib import Path

import matplotlib.pyplot as plt
import pytest

from house.readme import answered, broken_links, console_blocks, faults, links, processed, python_blocks, shown
from house.source_tree import EXAMPLES, ROOT
from searching import search_briefly
from simlaunch import guide
from simlaunch.cli.main import app
from simlaunch.guide.made import made

README = ROOT / "README.md"
GUIDE = ROOT / "simlaunch" / "guide"
PAGES = [README, *sorted(GUIDE.glob("*.md"))]
WITH_COMMANDS = [page for page in PAGES if console_blocks(page.read_text("utf-8"))]
WITH_PYTHON = [page for page in PAGES if python_blocks(page.read_text("utf-8"))]
SCRIPTS = sorted(EXAMPLES.glob("*.py"))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The current folder, with the scenarios in it, as a reader of the README has them."""
    shutil.copytree(ROOT / "scenarios", tmp_path / "scenarios")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.slow
@pytest.mark.parametrize("page", WITH_COMMANDS, ids=lambda page: page.stem)
def test_commands_are_true(page: Path, folder: Path) -> None:
    lines = shown(page.read_text("utf-8"))
    assert sum(len(line.calls()) for line in lines) > 0, f"{page.name}: no console block calls simlaunch"
    run = processed if page == README else answered
    assert [fault for line in lines for fault in faults(line, folder, run)] == []


@pytest.mark.slow
@pytest.mark.parametrize("page", WITH_PYTHON, ids=lambda page: page.stem)
def test_python_of_a_page_runs(page: Path, folder: Path) -> None:
    for block in python_blocks(page.read_text("utf-8")):
        exec(compile(block, page.name, "exec"), {"__name__": "__main__"})  # noqa: S102 - our own text


@pytest.mark.slow
@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.stem)
def test_an_example_runs(
    script: Path, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    search_briefly(monkeypatch)
    runpy.run_path(str(script), run_name="__main__")
    plt.close("all")
    assert capsys.readouterr().out


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.stem)
def test_an_example_is_short_and_uses_public_names_only(script: Path) -> None:
    text = script.read_text("utf-8")
    imported = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Import | ast.ImportFrom)]
    ours = [ast.unparse(node) for node in imported if "simlaunch" in ast.unparse(node)]
    assert ours == ["import simlaunch"]
    assert len(text.splitlines()) < 30
    assert text.count("# %%") >= 2


def test_a_page_with_python_is_found() -> None:
    assert {page.name for page in WITH_PYTHON} == {"README.md", "python.md"}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_links_lead_somewhere(page: Path) -> None:
    assert broken_links(page) == []


def test_every_page_and_script_is_linked() -> None:
    start = {(GUIDE / target).name for target in links((GUIDE / "start.md").read_text("utf-8"))}
    readme = {Path(target).name for target in links(README.read_text("utf-8"))}
    listed = {Path(target).name for target in links((GUIDE / "python.md").read_text("utf-8"))}
    assert {f"{subject}.md" for subject in guide.pages()} - (start | readme) == set()
    assert {f"{subject}.md" for subject in guide.pages()} - start - {"start.md"} == set()
    assert {script.name for script in SCRIPTS} - listed == set()


def test_every_command_has_a_page_and_a_row_in_the_readme() -> None:
    commands = {command.name or command.callback.__name__ for command in app.registered_commands if command.callback}
    commands |= {group.name for group in app.registered_groups if group.name}
    table = set(re.findall(r"^\| \[?`(\w+)`", README.read_text("utf-8"), re.MULTILINE))
    assert commands == table
    assert commands - {"guide"} - set(guide.pages()) == set()


@pytest.mark.parametrize("subject", made())
def test_a_made_page_is_up_to_date(subject: str) -> None:
    """`python -m simlaunch.guide` rewrites these pages."""
    assert guide.page(subject) == made()[subject]
