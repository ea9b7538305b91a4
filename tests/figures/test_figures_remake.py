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


def test_plots_holds_what_the_script_makes_and_nothing_else(remake: ModuleType, tmp_path: Path) -> None:
    made = {path.name for path in remake.remake(tmp_path)}
    kept = {path.name for path in PLOTS.iterdir() if path.name != "__pycache__"}
    assert kept == made | {"remake.py"}
    assert {f"{stem}-{key}.png" for stem, keys in remake.PICTURES.items() for key in keys} <= made


def test_every_picture_is_the_size_of_a_new_one(remake: ModuleType, tmp_path: Path) -> None:
    for new in remake.remake(tmp_path):
        if new.suffix == ".png":  # width and height stand at bytes 16 to 24 of a PNG (ISO/IEC 15948)
            assert new.read_bytes()[16:24] == (PLOTS / new.name).read_bytes()[16:24], new.name
