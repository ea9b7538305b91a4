"""Rules for what may import what, and for how the rooms are laid out. Each rule returns its complaints."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from house.source_tree import Module

ORDER = (
    "errors",
    "choices",
    "processes",
    "writing",
    "compiled",
    "fields",
    "record",
    "cubics",
    "stretches",
    "units",
    "quantities",
    "results",
    "scenario",
    "physics",
    "parameters",
    "integrator",
    "simulation",
    "metrics",
    "readers",
    "launching",
    "curves",
    "ratings",
    "uncertainty",
    "logged",
    "searching",
    "analysis",
    "comparing",
    "fitting",
    "sweeping",
    "output",
    "plotting",
    "reporting",
    "shaping",
    "guide",
    "cli",
    "__main__",
)
"""Rooms from the lowest to the highest; a room may import itself and whatever stands before it."""

ONLY_IN = {"pint": ("tests",), "matplotlib": ("plotting", "results"), "typer": ("cli",)}
"""Libraries that only some rooms may import."""

LOOSE = (
    "errors",
    "choices",
    "compiled",
    "fields",
    "record",
    "cubics",
    "stretches",
    "quantities",
    "results",
    "processes",
    "writing",
)
"""Files that stand beside the rooms."""


def imported(module: Module) -> Iterator[tuple[int, str]]:
    """Line and dotted name of every module that a module imports from, wherever in it the import stands."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.lineno, "." * node.level + (node.module or "")


def _for_types_only(module: Module) -> set[int]:
    """Lines that only a type checker reads."""
    blocks = (node for node in ast.walk(module.tree) if isinstance(node, ast.If))
    named = (node for node in blocks if isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING")
    return {line for node in named for line in range(node.lineno, (node.end_lineno or node.lineno) + 1)}


def import_faults(module: Module) -> list[str]:
    """Imports of one module that break the order or reach for a library kept to another room.

    The package root names what every room holds, so there the imports for a type checker do not count.
    """
    skipped = set() if module.room in ORDER else _for_types_only(module)
    every = ((line, name) for line, name in imported(module) if line not in skipped)
    found = ((line, name, _import_fault(module.room, name)) for line, name in every)
    return [f"{module.name}:{line}: imports {name}: {why}" for line, name, why in found if why]


def _import_fault(room: str, name: str) -> str:
    if name.startswith("."):
        return "write the module's full name"
    head, _, rest = name.partition(".")
    if head == "simlaunch":
        return _room_fault(room, rest.partition(".")[0])
    keepers = ONLY_IN.get(head, (room,))
    return "" if room in keepers else f"only {' and '.join(f'{keeper}/' for keeper in keepers)} may import {head}"


def _room_fault(room: str, above: str) -> str:
    if not above:
        return "import the concrete module, never the package root"
    if above not in ORDER:
        return f"{above} is not a room"
    if room not in ORDER:
        return "the package root imports nothing of the package while it runs"
    return "" if ORDER.index(above) <= ORDER.index(room) else f"{above} stands above {room}"


def layout_faults(package: Path) -> list[str]:
    """Folders and files of the package that break the two levels or the known rooms."""
    folders = [path for path in sorted(package.rglob("*")) if path.is_dir() and path.name != "__pycache__"]
    rooms = [path for path in folders if path.parent == package]
    scripts = package / "guide" / "examples"
    deep = [path for path in folders if path.parent != package and path != scripts]
    loose = [path for path in sorted(package.glob("*.py")) if path.stem not in {*LOOSE, "__init__", "__main__"}]
    return [
        *(f"{path.relative_to(package)}: a third level" for path in deep),
        *(f"{path.name}: does not belong beside the rooms" for path in loose),
        *(f"{path.name}: not a room" for path in rooms if path.name not in ORDER),
    ]
