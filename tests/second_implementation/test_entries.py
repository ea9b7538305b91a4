"""Entries give what their plain text gives, whatever kinds of arguments they take, and when they call each other."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from small_package import COUNT, Small, harmed, result, stand_in, start

ENTRIES = """
from typing import NamedTuple
import numpy as np
from simlaunch.compiled import entry, part
from simlaunch.simulation.whole import answer
KIND = np.dtype([("a", "f8"), ("b", "i8"), ("c", "f8", (3,))])

class Pair(NamedTuple):
    many: np.ndarray
    scale: float

class Found(NamedTuple):
    total: float
    count: int

@entry
def added(pair: Pair, one: np.void, each: np.ndarray, flag: bool, table: np.ndarray, out: np.ndarray) -> Found:
    total = 0.0
    for i in range(each.size):
        each[i].b += 1
        total += each[i].a
    if flag:
        one.a = pair.scale
    for i in range(table.shape[0]):
        for j in range(table.shape[1]):
            out[i, j] = pair.many[j] * table[i, j]
    return Found(total + one.c[2], each.size)

@entry
def counted(n: int) -> int:
    return n + 1

@part
def shared(x: float) -> float:
    return answer(x) + answer(x)

@entry
def thrice(x: float) -> float:
    return shared(x) + answer(x)

@entry
def twice_added(pair: Pair, one: np.void, each: np.ndarray, table: np.ndarray, out: np.ndarray) -> float:
    first = added(pair, one, each[1:], True, table, out)
    second = added(pair, each[0], each[:1], False, table, out)
    return first.total + 100.0 * second.count + counted(first.count)
"""
ALL = f"""
import sys
import numpy as np
from simlaunch.simulation import more
def given():
    each = np.zeros(3, more.KIND).view(np.recarray)
    each.a, each.b = (1.0, 2.0, 4.0), (5, 6, 7)
    one = np.zeros(1, more.KIND).view(np.recarray)[0]
    one.c[2] = 0.5
    return more.Pair(np.array([2.0, 3.0]), 8.0), one, each, np.arange(4.0).reshape(2, 2), np.zeros((2, 2))
pair, one, each, table, out = given()
found = more.added(pair, one, each, True, table, out)
assert found == (7.5, 3) and type(found) is more.Found and type(found.count) is int, found
assert one.a == 8.0 and each.b.tolist() == [6, 7, 8] and out.tolist() == [[0.0, 3.0], [4.0, 9.0]]
owned = each[0].copy()  # a record that holds its own bytes
assert more.added(pair, owned, each[:1], True, table, out) == (1.0, 1) and owned.a == 8.0
assert more.counted(41) == 42 and more.counted(np.int64(1)) == 2
pair, one, each, table, out = given()
assert more.twice_added(pair, one, each, table, out) == 6.5 + 100.0 + 3.0
assert each.b.tolist() == [6, 7, 8] and one.a == 8.0
print(more.thrice(3.0), {COUNT})
"""


@pytest.fixture(scope="module")
def compiled(tmp_path_factory: pytest.TempPathFactory) -> Small:
    """A package with such entries, all compiled by a first process."""
    made = tmp_path_factory.mktemp("entries")
    small = Small(stand_in(made / "code"), made / "kept")
    (small.root / "simlaunch" / "simulation" / "more.py").write_text(ENTRIES)
    assert result(start(small, ALL)) == (21.0, 0)
    return small


def test_all_kinds_of_arguments_come_through(compiled: Small) -> None:
    """As it was compiled above, and read from disk: records, arrays of them, tuples, numbers; three times 2 x 3 + 1."""
    assert result(start(compiled, ALL)) == (21.0, 1)


def test_plain_python_gives_the_same(compiled: Small, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_DISABLE_JIT", "1")
    assert result(start(compiled, ALL))[0] == 21.0


@pytest.mark.parametrize("lost", ["whole.answer", "more.thrice", "more.added"])
def test_a_kernel_that_others_call_is_made_again_when_it_is_lost(compiled: Small, tmp_path: Path, lost: str) -> None:
    """The types of its arguments are known once its callers are compiled again."""
    small = Small(compiled.root, Path(shutil.copytree(compiled.kept, tmp_path / "kept")))
    for path in small.kernels.glob(f"*/*{lost}-*.kernel"):
        harmed(path, "gone")
    assert result(start(small, ALL)) == (21.0, 0)
    assert result(start(small, ALL)) == (21.0, 1)


def test_many_threads_may_meet_an_entry_first(compiled: Small, tmp_path: Path) -> None:
    together = (
        f"import sys\nfrom concurrent.futures import ThreadPoolExecutor\nfrom simlaunch.simulation.more import thrice\n"
        f"found = set(ThreadPoolExecutor(8).map(thrice, [3.0] * 64))\nprint(*found, {COUNT})"
    )
    assert result(start(Small(compiled.root, tmp_path / "kept"), together)) == (21.0, 0)
    assert result(start(compiled, together)) == (21.0, 1)


@pytest.mark.parametrize(
    ("call", "reason"),
    [("more.counted('1')", "a kernel takes no str"),
     ("more.added(pair, one, each, True, table.T, out)", "a kernel takes only arrays without gaps"),
     ("more.wrong(1.0)", "more.wrong returns int64, not what it is annotated with"),
     ("more.asks(1.0)", "return np.full(3, x)[0]")],
)  # fmt: skip
def test_what_no_kernel_can_do_is_refused(compiled: Small, tmp_path: Path, call: str, reason: str) -> None:
    """Texts, arrays with gaps, a number that is not of the type it is annotated with, and memory that it asks for."""
    root = Path(shutil.copytree(compiled.root, tmp_path / "code"))
    wrong = (
        "\n@entry\ndef wrong(x: float) -> float:\n    return 1\n"
        "\n@entry\ndef asks(x: float) -> float:\n    return np.full(3, x)[0]\n"
    )
    (root / "simlaunch" / "simulation" / "more.py").write_text(ENTRIES + wrong)
    setting_up = ALL[: ALL.index("found =")]
    process = start(Small(root, tmp_path / "kept"), setting_up + call)
    _, err = process.communicate(timeout=120)
    assert process.returncode == 1
    assert reason in err


NAMED_ALIKE = """
import numpy as np
from simlaunch.compiled import entry, part
KINDS = {"first": np.dtype([("a", "f8"), ("b", "f8")]), "second": np.dtype([("b", "f8"), ("a", "f8")])}

@part
def deeper(one: np.void, many: int) -> float:
    x = 0.0
    for i in range(many):
        for j in range(i):
            x += one.a * np.sin(one.b + j) + np.exp(-x) * one.a
            if x > 1e3:
                x -= one.b
    return x

@entry
def first(one: np.void, many: int) -> float:
    return deeper(one, many) + deeper(one, many + 1)

@entry
def second(one: np.void, many: int) -> float:
    return deeper(one, many) + deeper(one, many + 1)
"""
ALIKE = f"""
import sys
import numpy as np
from simlaunch.simulation import alike
found = set()
for name in CALLED:
    one = np.zeros(1, alike.KINDS[name])[0]
    one["a"], one["b"] = 3.0, 0.5
    found.add(getattr(alike, name)(one, 5))
print(*found, {COUNT})
"""


def test_functions_that_two_processes_name_alike_stay_apart(tmp_path: Path) -> None:
    """The compiler names a function by numbers that it gives record types and functions as it meets them."""
    small = Small(stand_in(tmp_path / "code"), tmp_path / "kept")
    (small.root / "simlaunch" / "simulation" / "alike.py").write_text(NAMED_ALIKE)
    each = [result(start(small, ALIKE.replace("CALLED", repr([name])))) for name in ("first", "second")]
    value = each[0][0]
    assert each == [(value, 0), (value, 0)]
    assert result(start(small, ALIKE.replace("CALLED", "['first', 'second']"))) == (value, 1)


UNLIKE = f"""
import sys
import numpy as np
from simlaunch.simulation import more
kinds = [("f8", "i8"), ("i8", "f8"), ("f8", "f8")]
for first, second in kinds:
    one = np.zeros(1, [("a", first), ("b", second)])[0]
    one["a"], one["b"] = 3, 1
    assert more.summed(one) == 4.0, (first, second)
assert more.counted(np.int32(4)) == more.counted(np.uint8(4)) == more.counted(4) == 5
print(4.0, {COUNT})
"""


def test_fields_of_other_types_need_another_kernel_and_integers_do_not(tmp_path: Path) -> None:
    """Records of the same size and the same names; the first integer to be met is no Python number."""
    small = Small(stand_in(tmp_path / "code"), tmp_path / "kept")
    summed = "\n@entry\ndef summed(one: np.void) -> float:\n    return one.a + one.b\n"
    (small.root / "simlaunch" / "simulation" / "more.py").write_text(ENTRIES + summed)
    assert result(start(small, UNLIKE)) == (4.0, 0)
    assert result(start(small, UNLIKE)) == (4.0, 1)


def test_numba_is_not_loaded_where_kernels_are_kept() -> None:
    """Loading it takes longer than a launch; the kernels of all tests are compiled."""
    program = (
        "import sys\nfrom cars import coupe\nfrom simlaunch.simulation.run import launch\n"
        "launch(coupe({'run.stop_distance': 5.0}))\nprint('numba' in sys.modules)"
    )
    places = os.pathsep.join([str(Path(__file__).parents[2]), str(Path(__file__).parents[1])])
    environment = {**os.environ, "PYTHONPATH": places}
    asked = [sys.executable, "-c", program]
    run = subprocess.run(asked, env=environment, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"
