"""The pictures that stand in plots/, and the script that makes them."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

PLOTS = Path(__file__).resolve().parents[2] / "plots"


@pytest.fixture(scope="module")
def remake() -> ModuleType:
    spec = importlib.util.spec_from_file_location("remake", PLOTS / "remake.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def remade(remake: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    files: list[Path] = remake.remake(tmp_path_factory.mktemp("plots"))
    return files


def test_plots_holds_what_the_script_makes_and_nothing_else(remade: list[Path]) -> None:
    kept = {path.name for path in PLOTS.iterdir() if path.name != "__pycache__"}
    assert kept == {path.name for path in remade} | {"remake.py"}


def test_every_picture_is_the_size_of_a_new_one(remade: list[Path]) -> None:
    pictures = [path for path in remade if path.suffix == ".png"]
    assert pictures
    for new in pictures:  # width and height stand at bytes 16 to 24 of a PNG (ISO/IEC 15948)
        assert new.read_bytes()[16:24] == (PLOTS / new.name).read_bytes()[16:24], new.name
