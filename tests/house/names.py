"""Rules for names of files. Each returns its complaints."""

from __future__ import annotations

from pathlib import Path

FORBIDDEN_NAMES = frozenset({"utils", "util", "common", "helpers", "helper", "core", "misc"})
TOP_LEVEL = frozenset({"README.md", "DEVELOPERS.md", "pyproject.toml", "simlaunch", "tests", "scenarios", "plots"})


def vague_names(package: Path) -> list[str]:
    """Files and folders whose name gathers everything and says nothing."""
    return [str(path) for path in sorted(package.rglob("*")) if path.stem in FORBIDDEN_NAMES]


def stray_names(folder: Path) -> list[str]:
    """Names at the top level that are neither agreed nor hidden."""
    names = sorted(path.name for path in folder.iterdir())
    return [name for name in names if name not in TOP_LEVEL and not name.startswith(".")]
