"""Rules for docstrings. Each returns its complaints.

The rules read the source: a compiled function hides its signature, its text does not.
"""

from __future__ import annotations

import ast
import re
from functools import cache

import pint

from house.source_tree import Definition, Module, public_definitions

LIGHT = frozenset({"cli", "output", "plotting"})
"""Rooms whose functions may go without: a command's own help text is its documentation."""

NUMERIC = frozenset({"physics", "integrator"})
"""Rooms whose functions state units."""

SOURCED = frozenset({"physics"})
"""Rooms whose functions name where their equation comes from."""

SI_SYMBOLS = frozenset({"m", "kg", "s", "K", "rad", "N", "J", "W", "Pa", "Hz", "mol"})

_HEADING = re.compile(r"^(?P<title>[A-Z][A-Za-z ]+)\n-{3,}$", re.MULTILINE)
_BRACKETED = re.compile(r"(?<![\w\]])\[([^\[\]\n]+)\]")
_SOURCE_LINE = re.compile(r"^Source:", re.MULTILINE)
_SOURCE = re.compile(r"^Source: *\S", re.MULTILINE)


def missing(module: Module) -> list[str]:
    """Public functions and classes without a docstring."""
    if module.room in LIGHT:
        return []
    named = [*public_definitions(module), (module.name, module.tree)]
    return [f"{name}: no docstring" for name, node in named if not ast.get_docstring(node)]


def numeric_faults(module: Module) -> list[str]:
    """Functions of the numeric rooms whose docstring does not state names, units or source."""
    if module.room not in NUMERIC:
        return []
    return [
        f"{name}: {fault}"
        for name, node in public_definitions(module)
        if isinstance(node, ast.FunctionDef) and (text := ast.get_docstring(node))
        for fault in _function_faults(node, text, sourced=module.room in SOURCED)
    ]


def _function_faults(node: ast.FunctionDef, text: str, *, sourced: bool) -> list[str]:
    found = sections(text)
    documented = entries(found.get("Parameters", ""))
    returned = found.get("Returns", "")
    return [
        *_name_faults(node, documented),
        *(f"parameter {name} has no unit" for name in _floats(node) if not units(documented.get(name, "[-]"))),
        *(["no unit in Returns"] if _returns_number(node) and not units(returned) else []),
        *(fault for unit in units("\n".join([*documented.values(), returned])) if (fault := unit_fault(unit))),
        *(["no line 'Source: ...'"] if sourced and not _SOURCE.search(text) else []),
    ]


def sections(text: str) -> dict[str, str]:
    """Body of each underlined section of a docstring; a line with the source ends a section."""
    marks = list(_HEADING.finditer(text))
    ends = [*(mark.start() for mark in marks[1:]), len(text)]
    bodies = (text[mark.end() : end] for mark, end in zip(marks, ends, strict=True))
    return {mark["title"]: _SOURCE_LINE.split(body)[0] for mark, body in zip(marks, bodies, strict=True)}


def entries(body: str) -> dict[str, str]:
    """Description of each name in a Parameters section; names that share a line share it."""
    found: dict[str, str] = {}
    names: list[str] = []
    for line in body.strip().splitlines():
        if line and not line[0].isspace() and ":" in line:
            names = [name.strip().lstrip("*") for name in line.partition(":")[0].split(",")]
            found.update(dict.fromkeys(names, line.partition(":")[2]))
        else:
            found.update({name: f"{found[name]}\n{line}" for name in names if line.startswith(" ")})
    return found


def units(text: str) -> list[str]:
    """Everything that stands in square brackets, except the index of an array and a type's own arguments."""
    return _BRACKETED.findall(text)


@cache
def _registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()


def unit_fault(unit: str) -> str:
    """Why a bracketed unit cannot stand; empty for a coherent SI unit, for `-`, and for a borrowed unit.

    A function that works on any quantity borrows its unit from an argument, and says so: `[unit of knot]`.
    """
    if unit == "-" or unit.startswith("unit of "):
        return ""
    strange = [symbol for symbol in re.findall(r"[^\W\d]+", unit) if symbol not in SI_SYMBOLS]
    if strange:
        return f"[{unit}]: {strange[0]} is not an SI symbol used here"
    try:
        factor = _registry().Quantity(1.0, _registry().parse_units(unit)).to_base_units().magnitude
    except Exception as error:  # noqa: BLE001  the parser fails in many ways, and each one is a fault of the text
        return f"[{unit}]: not a unit: {str(error) or type(error).__name__}"
    return "" if factor == 1.0 else f"[{unit}]: {factor:g} in SI, must be 1"


def _arguments(node: ast.FunctionDef) -> list[ast.arg]:
    spec = node.args
    starred = [argument for argument in (spec.vararg, spec.kwarg) if argument]
    return [*spec.posonlyargs, *spec.args, *starred, *spec.kwonlyargs]


def _name_faults(node: ast.FunctionDef, documented: dict[str, str]) -> list[str]:
    expected = [argument.arg for argument in _arguments(node)]
    return [] if list(documented) == expected else [f"Parameters name {list(documented)}, signature {expected}"]


def _floats(node: ast.FunctionDef) -> list[str]:
    return [item.arg for item in _arguments(node) if item.annotation and ast.unparse(item.annotation) == "float"]


def _returns_number(node: Definition) -> bool:
    returns = node.returns if isinstance(node, ast.FunctionDef) else None
    return returns is not None and re.search(r"\bfloat\b", ast.unparse(returns)) is not None
