"""Docstrings exist, state names and units truly, and their examples run."""

from __future__ import annotations

import ast
import doctest
import importlib

import pytest

from house.docstrings import entries, missing, numeric_faults, sections, unit_fault
from house.source_tree import Module, modules

SOUND = '''
"""Sample."""

def speed(x: float, time: float, *, state: Record) -> float:
    """Mean speed over a stretch.

    v = x / t

    Parameters
    ----------
    x, time : float
        Distance [m] and time [s].
    state : Record
        Not read; `state[0]` is no unit.

    Returns
    -------
    float
        Speed [m/s].

    Source: definition of a mean.

    Examples
    --------
    >>> 3.0 / 2.0
    1.5
    """
    return x / time
'''


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.name)
def test_every_public_name_is_explained(module: Module) -> None:
    assert missing(module) == []


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.name)
def test_names_units_and_sources_are_stated(module: Module) -> None:
    assert numeric_faults(module) == []


def _docstrings(module: Module) -> list[tuple[str, str, int]]:
    """Name, text and line of every docstring; compiled functions hide theirs from the doctest finder."""
    kinds = ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef
    named = ((getattr(node, "name", ""), node) for node in ast.walk(module.tree) if isinstance(node, kinds))
    found = ((name, ast.get_docstring(node), getattr(node, "lineno", 1)) for name, node in named)
    return [(f"{module.name}.{name}".rstrip("."), text, line) for name, text, line in found if text]


def _examples(module: Module) -> list[tuple[str, str, int]]:
    return [found for found in _docstrings(module) if ">>>" in found[1]]


def _run(name: str, text: str, line: int, names: dict[str, object]) -> tuple[int, str]:
    """Number of failures and the report of them."""
    report: list[str] = []
    test = doctest.DocTestParser().get_doctest(text, dict(names), name, name, line)
    failed = doctest.DocTestRunner(verbose=False).run(test, out=report.append).failed
    return failed, "".join(report)


def test_examples_run() -> None:
    with_examples = [module for module in modules() if _examples(module)]
    assert any(module.room == "physics" for module in with_examples), "no example in physics/ was found"
    reports = [
        _run(*found, vars(importlib.import_module(module.name)))
        for module in with_examples
        for found in _examples(module)
    ]
    assert [report for failed, report in reports if failed] == []


def test_a_wrong_example_is_reported() -> None:
    failed, report = _run("sample", ">>> 1 + a\n3\n>>> 1 + 1\n2\n", 1, {"a": 1})
    assert failed == 1
    assert "Got:\n    2" in report


def test_examples_are_found_in_the_text() -> None:
    found = _examples(Module("simlaunch.physics.sample", SOUND))
    assert [name for name, _, _ in found] == ["simlaunch.physics.sample.speed"]


def test_a_sound_docstring_passes() -> None:
    module = Module("simlaunch.physics.sample", SOUND)
    assert missing(module) == []
    assert numeric_faults(module) == []


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("x, time : float", "time, x : float", "Parameters name ['time', 'x', 'state'], signature"),
        (
            "    state : Record\n        Not read; `state[0]` is no unit.\n",
            "",
            "Parameters name ['x', 'time']",
        ),
        ("Distance [m] and time [s].", "Distance and time.", "parameter x has no unit"),
        ("time [s]", "time [Nm]", "[Nm]: Nm is not an SI symbol used here"),
        ("time [s]", "time [0, 1]", "[0, 1]: not a unit"),
        ("time [s]", "time [m +]", "[m +]: not a unit"),
        ("Speed [m/s].", "Speed [km/h].", "[km/h]: km is not an SI symbol used here"),
        ("Speed [m/s].", "Speed [100 m].", "[100 m]: "),
        ("Speed [m/s].", "Speed.", "no unit in Returns"),
        ("    Source: definition of a mean.", "", "no line 'Source: ...'"),
        ("definition of a mean.", "", "no line 'Source: ...'"),
    ],
)
def test_an_unsound_docstring_is_named(old: str, new: str, fault: str) -> None:
    assert old in SOUND
    faults = numeric_faults(Module("simlaunch.physics.sample", SOUND.replace(old, new)))
    assert any(fault in text for text in faults), faults


def test_missing_docstrings_are_named() -> None:
    text = '"""Sample."""\ndef f(): ...\ndef _g(): ...\nclass A:\n    """A."""\n    def h(self): ...\n'
    faults = ["simlaunch.analysis.sample.f: no docstring", "simlaunch.analysis.sample.A.h: no docstring"]
    assert missing(Module("simlaunch.analysis.sample", text)) == faults
    assert missing(Module("simlaunch.cli.sample", text)) == []


@pytest.mark.parametrize(
    "unit", ["-", "N m", "kg m^2", "rad/s", "N m s/rad", "s^2/m^2", "1/s", "J/(kg K)", "Hz", "unit of knot"]
)
def test_coherent_units_pass(unit: str) -> None:
    assert unit_fault(unit) == ""


def test_sections_and_entries_are_read() -> None:
    first = "One.\n\nParameters\n----------\na : float\n    First [m],\n    and more.\n"
    text = f"{first}b, c : int\n    Two.\n\nReturns\n-------\nint\n\nSource: x.\n"
    assert list(sections(text)) == ["Parameters", "Returns"]
    assert sections(text)["Returns"].split() == ["int"]
    found = entries(sections(text)["Parameters"])
    assert {name: body.split() for name, body in found.items()} == {
        "a": ["float", "First", "[m],", "and", "more."],
        "b": ["int", "Two."],
        "c": ["int", "Two."],
    }
