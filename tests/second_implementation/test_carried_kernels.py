"""Kernels that a wheel carries are taken where they fit, and passed over where they do not."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import subprocess
import sys
import zipfile
from importlib import metadata
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hatchling.builders.wheel import WheelBuilder

from simlaunch.launching.compile_ahead import compile_into
from small_package import CALL, PACKAGE, PART, Small, harmed, result, result_text, stand_in, start

CARRY = """
from pathlib import Path
from simlaunch.compiled.kept import carry
import simlaunch
carry(Path(simlaunch.__path__[0]))
"""


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A package that carries what was compiled at another place, as one that was built and then installed."""
    made = tmp_path_factory.mktemp("built")
    root = stand_in(made / "code")
    result_text(start(Small(root, made / "kept"), CALL + CARRY))
    return root


@pytest.fixture
def installed(built: Path, tmp_path: Path) -> Small:
    """That package at a place of its own, all its files of another time; nothing is in the user's cache."""
    root = Path(shutil.copytree(built, tmp_path / "installed", copy_function=shutil.copyfile))
    return Small(root, tmp_path / "kept")


def carried(small: Small) -> Path:
    """The folder of kernels in the package."""
    (folder,) = (small.root / "simlaunch" / ".kernels").iterdir()
    return folder


def test_what_a_package_carries_need_not_be_compiled(installed: Small) -> None:
    assert result(start(installed)) == (7.0, 1)
    assert list(installed.kernels.rglob("*.kernel")) == []  # nothing is kept a second time


def test_what_is_added_to_it_is_kept(installed: Small) -> None:
    other = CALL.replace("answer(3.0)", "answer(3)")
    assert result(start(installed, other)) == (7.0, 0)
    assert result(start(installed, other)) == (7.0, 1)
    assert result(start(installed)) == (7.0, 1)


def test_a_checkout_finds_what_an_installed_package_of_the_same_source_carries(
    installed: Small, tmp_path: Path
) -> None:
    code, behind = stand_in(tmp_path / "code"), f"import sys; sys.path.append({str(installed.root)!r})\n"
    assert result(start(Small(code, tmp_path / "one"), behind + CALL)) == (7.0, 1)
    assert result(start(Small(code, tmp_path / "two"))) == (7.0, 0)


def test_an_edited_package_passes_over_what_it_carries(installed: Small) -> None:
    part = installed.root / "simlaunch" / "physics" / "part.py"
    part.write_text(PART.replace("2.0 * x", "5.0 * x"))
    assert result(start(installed)) == (16.0, 0)


@pytest.mark.parametrize("name", ["0123456789abcdef", "not-a-hash"])
def test_kernels_of_another_source_or_compiler_are_passed_over(installed: Small, name: str) -> None:
    carried(installed).rename(carried(installed).with_name(name))
    assert result(start(installed)) == (7.0, 0)


def test_another_processor_is_compiled_for(installed: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CPU_NAME", "generic")
    monkeypatch.setenv("NUMBA_CPU_FEATURES", "")
    assert result(start(installed)) == (7.0, 0)


@pytest.mark.parametrize("harm", ["cut", "flipped"])
def test_damaged_kernels_of_a_package_are_passed_over_and_left_alone(installed: Small, harm: str) -> None:
    (path,) = carried(installed).iterdir()
    harmed(path, harm)
    before = path.read_bytes()
    assert result(start(installed)) == (7.0, 0)
    assert path.read_bytes() == before


def test_a_package_that_nobody_may_write_serves_a_user_without_a_cache(installed: Small) -> None:
    """Installed by an administrator, and used where the cache folder cannot be made."""
    for path in [*installed.root.rglob("*"), installed.root]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    installed.kept.write_text("a file where the folder would be")
    assert result(start(installed)) == (7.0, 1)


def test_without_compilation_a_package_runs_all_the_same(installed: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_DISABLE_JIT", "1")
    assert result(start(installed)) == (7.0, 1)


# --- how they come into a wheel ---

ROOT = PACKAGE.parent
COMPILE_INTO = """
from pathlib import Path
from simlaunch.compiled.kept import carry
def compile_into(package):
    from simlaunch.simulation.whole import answer
    answer(3.0)
    carry(Path(package))
"""


def project(root: Path, compiling: str = COMPILE_INTO) -> Path:
    """The stand-in as a project, with the real rules and the real hook for building it."""
    launching = stand_in(root) / "simlaunch" / "launching"
    launching.mkdir()
    (launching / "__init__.py").touch()
    (launching / "compile_ahead.py").write_text(compiling)
    for name in ("pyproject.toml", "README.md", "simlaunch/LICENSE"):
        shutil.copyfile(ROOT / name, root / name)
    shutil.copytree(ROOT / ".build", root / ".build", ignore=shutil.ignore_patterns("__pycache__"))
    return root


def wheel(root: Path, version: str = "standard") -> Path:
    """Build the project as pip would have it built."""
    (made,) = WheelBuilder(str(root)).build(directory=str(root / "made"), versions=[version])
    return Path(made)


def machine_code(made: Path) -> list[str]:
    with zipfile.ZipFile(made) as packed:
        return [name for name in packed.namelist() if name.endswith(".kernel")]


def test_a_wheel_carries_kernels_that_its_package_finds(tmp_path: Path) -> None:
    made = wheel(project(tmp_path / "project"))
    assert len(machine_code(made)) == 1
    assert not made.name.endswith("-none-any.whl")  # it is for one system and one version of Python
    with zipfile.ZipFile(made) as packed:
        packed.extractall(tmp_path / "site")
    assert result(start(Small(tmp_path / "site", tmp_path / "kept"))) == (7.0, 1)


def test_building_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    root = project(tmp_path / "project")
    before = sorted(root.rglob("*"))
    made = wheel(root)
    assert sorted(set(root.rglob("*")) - set(before)) == [made.parent, made]
    assert list((tmp_path / "temporary").iterdir()) == []


@pytest.mark.parametrize(
    ("compiling", "switched_off", "reason"),
    [("raise MemoryError('not enough')", "0", "MemoryError: not enough"),
     ("import sys; sys.exit(3)", "0", "exit code 3"),
     (COMPILE_INTO, "1", "compilation is switched off")],
)  # fmt: skip
def test_a_build_that_cannot_compile_says_so_and_makes_a_wheel_for_every_system(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    compiling: str,
    switched_off: str,
    reason: str,
) -> None:
    monkeypatch.setenv("NUMBA_DISABLE_JIT", switched_off)
    made = wheel(project(tmp_path / "project", compiling))
    assert machine_code(made) == []
    assert made.name.endswith("-py3-none-any.whl")
    said = " ".join(capsys.readouterr().err.split())
    assert f"carries no machine code, so that the first run compiles: {reason}" in said
    monkeypatch.setenv("NUMBA_DISABLE_JIT", "0")
    with zipfile.ZipFile(made) as packed:
        packed.extractall(tmp_path / "site")
    assert result(start(Small(tmp_path / "site", tmp_path / "kept"))) == (7.0, 0)


def test_none_is_made_where_it_is_not_wanted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HATCH_BUILD_NO_HOOKS", "true")
    made = wheel(project(tmp_path / "project", "raise AssertionError"))
    assert machine_code(made) == []
    assert made.name.endswith("-py3-none-any.whl")


@pytest.fixture(scope="module")
def hook() -> ModuleType:
    """The hook itself."""
    described = importlib.util.spec_from_file_location("carry_kernels", ROOT / ".build" / "carry_kernels.py")
    assert described is not None
    assert described.loader is not None
    module = importlib.util.module_from_spec(described)
    described.loader.exec_module(module)
    return module


def test_none_is_made_for_an_editable_install(hook: ModuleType, tmp_path: Path) -> None:
    root = project(tmp_path / "project", "raise AssertionError")
    into: dict[str, Any] = {"force_include": {}}
    made = hook.CarryKernels(str(root), {}, None, None, str(tmp_path), "wheel")
    made.initialize("editable", into)
    made.finalize("editable", into, "")
    assert into == {"force_include": {}}


def test_the_hook_calls_what_there_is(hook: ModuleType) -> None:
    """The stand-in has its own `compile_into`: the real one stands where the hook looks for it."""
    assert f"from {compile_into.__module__} import {compile_into.__name__};" in hook._COMPILE


INSTALLED = """
import sys
from pathlib import Path
import simlaunch
from simlaunch.compiled.kept import source_hash
from simlaunch.launching import compile_ahead
package = Path(simlaunch.__file__).parent
print(package)
print((package / ".kernels" / source_hash()).is_dir() and compile_ahead.is_done())
"""


def test_an_installed_package_carries_kernels_that_fit(tmp_path: Path) -> None:
    """Met where `pip install .` came before the tests, as in `.ci/run`."""
    direct = json.loads(metadata.distribution("simlaunch").read_text("direct_url.json") or "{}")
    if direct.get("dir_info", {}).get("editable"):
        pytest.skip("simlaunch is installed to be edited")
    environment = {**os.environ, "SIMLAUNCH_CACHE": str(tmp_path / "kept")}
    environment.pop("PYTHONPATH", None)
    asked = [sys.executable, "-P", "-c", INSTALLED]
    run = subprocess.run(asked, cwd=tmp_path, env=environment, capture_output=True, text=True, check=True)
    place, fits = run.stdout.split()
    assert not Path(place).is_relative_to(ROOT / "simlaunch")
    if fits != "True" and not os.environ.get("SIMLAUNCH_TEST_ALL"):
        pytest.skip("the build compiled nothing, or with other versions than those that are installed now")
    assert fits == "True"
