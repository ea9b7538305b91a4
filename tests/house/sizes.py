"""Rules for names and lengths. Each returns its complaints."""

from __future__ import annotations

import ast
import shutil
import statistics
import subprocess
from collections.abc import Sequence
from pathlib import Path

from house.source_tree import Module

LONGEST_FUNCTION = 60
LONGEST_FILE = 500
FORBIDDEN_NAMES = frozenset({"utils", "util", "common", "helpers", "helper", "core", "misc"})
TOP_LEVEL = frozenset({"README.md", "DEVELOPERS.md", "pyproject.toml", "simlaunch", "tests", "scenarios", "plots"})


def function_lengths(module: Module) -> dict[str, int]:
    """Lines of each function's body, its docstring left out, by dotted name and line."""
    functions = (node for node in ast.walk(module.tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))
    return {f"{module.name}.{node.name}:{node.lineno}": _body_lines(node) for node in functions}


def _body_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    first = node.body[1:] if ast.get_docstring(node, clean=False) is not None else node.body
    last = node.end_lineno or node.lineno
    return last - first[0].lineno + 1 if first else 0


def spread(lengths: dict[str, int]) -> str:
    """Median and 90th percentile of function lengths, as a sentence."""
    values = sorted(lengths.values())
    if len(values) < 2:
        return f"{len(values)} functions"
    tenths = statistics.quantiles(values, n=10, method="inclusive")
    return f"{len(values)} functions, median {statistics.median(values):g}, 90th percentile {tenths[-1]:g} lines"


def long_functions(lengths: dict[str, int]) -> list[str]:
    """Functions that need a scroll."""
    return [f"{name}: {count} lines" for name, count in lengths.items() if count > LONGEST_FUNCTION]


def file_faults(path: Path) -> list[str]:
    """A name that gathers everything, or a file too long to read in one go."""
    count = len(path.read_text("utf-8").splitlines())
    named = [f"{path}: the name says nothing"] if path.stem in FORBIDDEN_NAMES else []
    return named + ([f"{path}: {count} lines"] if count > LONGEST_FILE else [])


def tracked_names(folder: Path) -> list[str] | None:
    """Names at the top level of what is under version control; None outside a checkout.

    Whatever else lies there is the user's own: figures of a first trial, an environment, what an installation left.
    """
    git = shutil.which("git")
    if git is None or not (folder / ".git").exists():
        return None
    listed = subprocess.run([git, "ls-files", "-z"], cwd=folder, capture_output=True, check=False, encoding="utf-8")
    if listed.returncode != 0:
        return None
    return sorted({name.partition("/")[0] for name in listed.stdout.split("\0") if name})


def stray_names(names: Sequence[str]) -> list[str]:
    """Those that are neither agreed nor hidden."""
    return [name for name in names if name not in TOP_LEVEL and not name.startswith(".")]
