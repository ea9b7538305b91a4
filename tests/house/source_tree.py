"""The repository as text: which files there are, and their syntax trees. Nothing here imports the package."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "simlaunch"
EXAMPLES = PACKAGE / "guide" / "examples"
"""Scripts for users, which import the package as users do."""

Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


@dataclass(frozen=True)
class Module:
    """One Python file: its dotted name, its room, and its text."""

    name: str
    text: str

    @property
    def room(self) -> str:
        """First name below the package: a folder, or a file that stands alone; empty for the root itself."""
        return self.name.partition(".")[2].partition(".")[0]

    @property
    def tree(self) -> ast.Module:
        """Syntax tree of the text."""
        return _parse(self.text)


@cache
def _parse(text: str) -> ast.Module:
    return ast.parse(text)


def module_name(path: Path) -> str:
    """Dotted name of a file, given relative to the folder that holds the package."""
    parts = path.with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def modules() -> tuple[Module, ...]:
    """Every module of the package, without the scripts for users."""
    paths = sorted(path for path in PACKAGE.rglob("*.py") if path.parent != EXAMPLES)
    return tuple(Module(module_name(path.relative_to(ROOT)), path.read_text("utf-8")) for path in paths)


def public_definitions(module: Module) -> Iterator[tuple[str, Definition]]:
    """Public functions and classes of a module, and the public methods of those classes, by dotted name."""
    for node in module.tree.body:
        if isinstance(node, Definition) and not node.name.startswith("_"):
            yield f"{module.name}.{node.name}", node
            if isinstance(node, ast.ClassDef):
                yield from _public_methods(f"{module.name}.{node.name}", node)


def _public_methods(owner: str, node: ast.ClassDef) -> Iterator[tuple[str, Definition]]:
    for inner in node.body:
        if isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef) and not inner.name.startswith("_"):
            yield f"{owner}.{inner.name}", inner
