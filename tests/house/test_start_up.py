"""Asking for help loads nothing heavy; the data files travel with the package."""

from __future__ import annotations

import importlib.resources
import pickle
import subprocess
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, wait
from pathlib import Path

import pytest

from house.source_tree import PACKAGE
from simlaunch.cli.deferral import deferred, has_run
from simlaunch.cli.main import app

HEAVY = ("numpy", "numba", "pint", "scipy", "matplotlib", "pandas", "rich", "starlette", "jinja2")
"""What no command needs before its work begins; the parser of arguments may load pydantic by itself."""

PROBE = f"""
import sys
from simlaunch.cli.main import main
main_ends = []
for line in sys.argv[1:]:
    sys.argv = ["simlaunch", *line.split()]
    try:
        main()
    except SystemExit as end:
        main_ends.append(str(end.code))
print(*main_ends, file=sys.stderr)
print(*(name for name in {HEAVY!r} if name in sys.modules), file=sys.stderr)
"""


def _names() -> list[str]:
    """Every command that is listed."""
    named = [entry.callback.__name__ for entry in app.registered_commands if entry.callback is not None]
    return [*named, *(str(entry.name) for entry in app.registered_groups), "sweep show"]


def test_the_list_of_commands_gives_whole_sentences() -> None:
    run = subprocess.run([sys.executable, "-m", "simlaunch", "--help"], capture_output=True, text=True, timeout=60)
    listed = run.stdout.partition("Commands:\n")[2].partition("\n\n")[0].splitlines()
    assert len(listed) == len(_names()) - 1  # `sweep show` is listed by `sweep`
    assert [line for line in listed if not line.endswith(".") or line.endswith("...")] == []


def test_no_help_and_no_refused_call_loads_anything_heavy() -> None:
    lines = ["--help", "--version", *(f"{name} --help" for name in _names())]
    refused = ["nonsense", "run", "compare --nonsense", "check a.toml --units furlongs"]
    run = subprocess.run([sys.executable, "-c", PROBE, *lines, *refused], capture_output=True, text=True, timeout=60)
    ends, heavy = run.stderr.splitlines()[-2:]
    assert ends.split() == ["0"] * len(lines) + ["2"] * len(refused)
    assert run.stdout.count("Usage: simlaunch") == len(lines) - 1
    assert heavy == ""


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder among those in which modules of the package are looked for."""
    folder = tmp_path / "made"
    folder.mkdir()
    (folder / "__init__.py").touch()
    monkeypatch.setattr("simlaunch.__path__", [*sys.modules["simlaunch"].__path__, str(tmp_path)])
    yield folder
    for name in [name for name in sys.modules if name.startswith("simlaunch.made")]:
        del sys.modules[name]
    vars(sys.modules["simlaunch"]).pop("made", None)


def test_a_deferred_module_runs_once_at_its_first_use(home: Path) -> None:
    (home / "ran").write_text("")
    (home / "one.py").write_text(f"with open({str(home / 'ran')!r}, 'a') as file:\n    file.write('x')\nvalue = 3\n")
    with deferred():
        first = importlib.import_module("simlaunch.made.one")
        again = importlib.import_module("simlaunch.made.one")
    assert (home / "ran").read_text() == ""
    assert first is again
    assert (first.value, again.value) == (3, 3)
    assert (home / "ran").read_text() == "x"
    with pytest.raises(AttributeError, match=r"simlaunch\.made\.one.*nothing"):
        first.nothing  # noqa: B018  the access is the test


@pytest.mark.parametrize(
    ("fault", "raised"),
    [("import library_that_is_missing", ModuleNotFoundError), ("1 +", SyntaxError), ("1 / 0", ZeroDivisionError)],
)
def test_a_deferred_module_that_fails_says_so_at_every_use(home: Path, fault: str, raised: type[Exception]) -> None:
    (home / "broken.py").write_text(f"value = 1\n{fault}\n")
    with deferred():
        broken = importlib.import_module("simlaunch.made.broken")
    for _ in range(2):
        with pytest.raises(raised):
            broken.value  # noqa: B018  the access is the test
    (home / "broken.py").write_text("value = 'mended now'\n")
    assert broken.value == "mended now"


def test_another_thread_waits_for_a_deferred_module_that_runs(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun, go = threading.Event(), threading.Event()
    monkeypatch.setattr(threading, "events_of_the_test", (begun, go), raising=False)
    (home / "slow.py").write_text(
        "import threading\ndef total():\n    return early + late\nearly = 1\n"
        "begun, go = threading.events_of_the_test\nbegun.set()\nassert go.wait(60)\nlate = 2\n"
    )
    with deferred():
        slow = importlib.import_module("simlaunch.made.slow")
    with ThreadPoolExecutor(2) as pool:
        first = pool.submit(lambda: slow.late)
        assert begun.wait(60)
        second = pool.submit(lambda: slow.total())
        assert wait([second], timeout=0.2).done == set()
        go.set()
        assert (first.result(60), second.result(60)) == (2, 3)


def test_a_deferred_module_is_listed_pickled_and_reloaded_like_any_other(home: Path) -> None:
    names = ("listed", "opened", "sent", "reloaded")
    for name in names:
        (home / f"{name}.py").write_text("value = 3\ndef three():\n    return value\n")
    with deferred():
        modules = [importlib.import_module(f"simlaunch.made.{name}") for name in names]
    listed, opened, sent, reloaded = modules
    assert not any(map(has_run, modules))
    assert {"value", "three"} <= set(dir(listed))
    assert vars(opened)["value"] == 3
    assert pickle.loads(b"csimlaunch.made.sent\nthree\n.")() == 3  # what a worker is sent names module and function
    assert pickle.loads(pickle.dumps(sent.three)) is sent.three
    assert importlib.reload(reloaded) is reloaded
    assert reloaded.value == 3
    assert all(map(has_run, modules))


def test_a_deferred_module_may_be_looked_at_while_it_runs(home: Path) -> None:
    (home / "left.py").write_text("value = 1\nfrom simlaunch.made import right\ntotal = value + right.value\n")
    (home / "right.py").write_text("from simlaunch.made import left\nvalue = left.value\n")
    with deferred():
        left = importlib.import_module("simlaunch.made.left")
    assert left.total == 2


def test_outside_modules_run_as_they_are_imported(home: Path) -> None:
    (home / "two.py").write_text("value = 3\n")
    with deferred():
        pass
    assert vars(importlib.import_module("simlaunch.made.two"))["value"] == 3


def test_data_files_travel_with_the_package() -> None:
    kinds = ("*.toml", "*.json", "*.csv", "*.css", "*.js", "*.jinja", "py.typed")
    wanted = sorted(path.relative_to(PACKAGE) for kind in kinds for path in PACKAGE.rglob(kind))
    assert wanted
    carried = importlib.resources.files("simlaunch")
    assert [str(path) for path in wanted if not carried.joinpath(*path.parts).is_file()] == []
