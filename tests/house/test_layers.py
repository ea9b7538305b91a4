"""Imports go down only, and the rooms keep their shape."""

from __future__ import annotations

from pathlib import Path

import pytest

from house.layers import import_faults, layout_faults
from house.source_tree import PACKAGE, Module, modules


@pytest.mark.parametrize("module", modules(), ids=lambda module: module.name)
def test_imports_go_down(module: Module) -> None:
    assert import_faults(module) == []


def test_rooms_keep_their_shape() -> None:
    assert layout_faults(PACKAGE) == []


@pytest.mark.parametrize(
    ("name", "text", "why"),
    [
        ("simlaunch.physics.tyre", "from simlaunch.simulation.run import start", "simulation stands above physics"),
        ("simlaunch.physics.tyre", "def f():\n    import simlaunch.cli.main", "cli stands above physics"),
        ("simlaunch.errors", "import simlaunch.compiled", "compiled stands above errors"),
        ("simlaunch.analysis.odds", "import simlaunch", "never the package root"),
        ("simlaunch.analysis.odds", "from simlaunch import errors", "never the package root"),
        ("simlaunch.analysis.odds", "from simlaunch.helper.odds import x", "helper is not a room"),
        ("simlaunch.analysis.odds", "from .sweep import x", "full name"),
        ("simlaunch.scenario.models", "import pint", "only tests/ may import pint"),
        (
            "simlaunch.analysis.odds",
            "from matplotlib import pyplot",
            "only plotting/ and results/ may import matplotlib",
        ),
        ("simlaunch.output.table", "import typer.testing", "only cli/ may import typer"),
        ("simlaunch", "from simlaunch.simulation.run import start", "the package root imports nothing"),
        ("simlaunch.analysis.odds", "if TYPE_CHECKING:\n    from simlaunch.output import look", "output stands above"),
    ],
)
def test_a_forbidden_import_is_named(name: str, text: str, why: str) -> None:
    faults = import_faults(Module(name, text))
    assert len(faults) == 1
    assert why in faults[0]


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("simlaunch.simulation.run", "from simlaunch.physics.tyre import force\nimport simlaunch.errors"),
        ("simlaunch.simulation.run", "from simlaunch.simulation.phase import Phase\nimport numpy as np"),
        ("simlaunch.__main__", "from simlaunch.cli.main import main"),
    ],
)
def test_a_permitted_import_passes(name: str, text: str) -> None:
    assert import_faults(Module(name, text)) == []


def _package(folder: Path, *files: str) -> Path:
    for file in files:
        path = folder / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    return folder


@pytest.mark.parametrize(
    ("files", "fault"),
    [
        (["physics/tyres/road.py", "physics/drag.py"], "physics/tyres: a third level"),
        (["extras/thing.py"], "extras: not a room"),
        (["thing.py"], "thing.py: does not belong beside the rooms"),
    ],
)
def test_a_broken_layout_is_named(tmp_path: Path, files: list[str], fault: str) -> None:
    assert layout_faults(_package(tmp_path, *files)) == [fault]


def test_a_sound_layout_passes(tmp_path: Path) -> None:
    files = ["__init__.py", "__main__.py", "errors.py", "physics/__init__.py", "physics/drag.py"]
    assert layout_faults(_package(tmp_path, *files, "physics/__pycache__/drag.pyc")) == []
