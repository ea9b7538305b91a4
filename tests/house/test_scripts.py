"""Scripts that no test runs still name things that are there."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path

import pytest

from house.source_tree import ROOT

FOLDERS = ("tests/benchmarks", "tests/fuzz", "plots")
SCRIPTS = sorted(path for folder in FOLDERS for path in (ROOT / folder).glob("*.py"))


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_what_a_script_imports_from_simlaunch_is_there(path: Path) -> None:
    imports = [node for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.ImportFrom)]
    for node in imports:
        if node.module and node.module.startswith("simlaunch"):
            module = importlib.import_module(node.module)
            for alias in node.names:
                if not hasattr(module, alias.name):
                    importlib.import_module(f"{node.module}.{alias.name}")
