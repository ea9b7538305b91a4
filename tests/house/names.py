"""Rules for names of files. Each returns its complaints."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

FORBIDDEN_NAMES = frozenset({"utils", "util", "common", "helpers", "helper", "core", "misc"})
TOP_LEVEL = frozenset({"README.md", "DEVELOPERS.md", "pyproject.toml", "simlaunch", "tests", "scenarios", "plots"})


def vague_names(package: Path) -> list[str]:
    """Files and folders whose name gathers everything and says nothing."""
    return [str(path) for path in sorted(package.rglob("*")) if path.stem in FORBIDDEN_NAMES]


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
