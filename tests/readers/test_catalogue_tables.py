"""Hostile tables: curve files through the command line, tables and logs through their readers."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from readers.catalogue import POINTS, SECONDS, Capture, refused, scenario
from simlaunch.errors import InputError
from simlaunch.readers.delimited import TableOptions, read_table
from simlaunch.readers.log import read_channels

HEAD = "engine speed [rpm],torque [N m]\n"
ROWS = "1000,300\n4000,310\n7000,300\n"
CURVES = {
    "an unclosed quote in 5 MB": HEAD + '1000,"' + "9" * 5_000_000,
    "an unclosed quote": HEAD + '1000,"300\n7000,300\n',
    "NULs": HEAD + "1000,3\0" + "00\n7000,300\n",
    "NULs only": "\0" * 1000,
    "a wrong row of units": "engine speed,torque\nkg,lb\n" + ROWS,
    "a wrong unit": HEAD.replace("N m", "kg") + ROWS,
    "speed in rad/s under rpm": HEAD + "104.7,300\n418.9,310\n733.0,300\n",
    "unsorted": HEAD + "4000,310\n1000,300\n7000,300\n",
    "duplicate": HEAD + "1000,300\n1000,301\n7000,300\n",
    "one point": HEAD + "1000,300\n",
    "no point": HEAD,
    "all zero": HEAD + "1000,0\n4000,0\n7000,0\n",
    "too many rows": HEAD + "".join(f"{n},300\n" for n in range(1000, 60_000)),
    "an underscore": HEAD + "1_000,300\n7000,300\n",
    "Arabic digits": HEAD + "\u0661\u0660\u0660\u0660,300\n7000,300\n",
    "infinity": HEAD + "1000,infinity\n7000,300\n",
    "nan": HEAD + "1000,nan\n7000,300\n",
    "two signs": HEAD + "1000,--5\n7000,300\n",
    "a formula": HEAD + "1000,=1+1\n7000,300\n",
    "a command": HEAD + "1000,@SUM(A1)\n7000,300\n",
    "1e400": HEAD + "1000,1e400\n7000,300\n",
    "negative": HEAD + "1000,-300\n7000,300\n",
    "escape": HEAD + "1000,\x1b[31m300\n7000,300\n",
    "turned round": HEAD + "1000,\u202e300\n7000,300\n",
    "markup": HEAD + "<script>,[/x]\n7000,300\n",
    "a cell of 500 kB": HEAD + "1000," + "9" * 500_000 + "\n7000,300\n",
    "commas": "," * 500_000,
    "new lines": "\n" * 500_000,
    "empty": "",
}


def _curve(folder: Path, content: bytes) -> Path:
    (folder / "curve.csv").write_bytes(content)
    return scenario(folder, POINTS, 'file = "curve.csv"')


@pytest.mark.parametrize("case", CURVES)
def test_a_hostile_curve_file(tmp_path: Path, capsys: Capture, case: str) -> None:
    refused(capsys, "check", _curve(tmp_path, CURVES[case].encode()))


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "latin-1"])
def test_a_curve_file_in_another_encoding_is_refused(tmp_path: Path, capsys: Capture, encoding: str) -> None:
    told = refused(capsys, "check", _curve(tmp_path, (HEAD + ROWS + "\u00e9").encode(encoding)))
    assert "curve.csv" in told


def test_a_curve_file_with_any_line_ending_is_read_rightly(tmp_path: Path) -> None:
    from simlaunch.scenario.reading import load

    for ending in ("\n", "\r\n", "\r"):
        path = _curve(tmp_path, (HEAD + ROWS).replace("\n", ending).encode())
        assert [speed.si for speed, _ in load(path).curve("flat").points][1] == pytest.approx(4000 * math.pi / 30)


Reader = Callable[[Path], object]
FOR_THE_READER = {  # a table may hold these; what they mean is for its reader to judge
    "a wrong row of units", "a wrong unit", "speed in rad/s under rpm", "unsorted", "duplicate", "all zero",
    "too many rows", "negative", "one point", "markup",
}  # fmt: skip


def _told(read: Reader, path: Path) -> str:
    start = time.process_time()
    with pytest.raises(InputError) as caught:
        read(path)
    assert time.process_time() - start < SECONDS
    told = str(caught.value)
    assert told.replace("\n", "").isprintable()
    assert told.startswith(str(path))
    assert 20 < len(told) < 2000
    return told


@pytest.fixture(scope="module")
def ten_million_rows(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("rows") / "table.csv"
    with path.open("wb") as stream:
        stream.write(b"time [s],speed [m/s]\n")
        for n in range(100):
            stream.write(b"".join(b"%d,1\n" % row for row in range(n * 100_000, (n + 1) * 100_000)))
    return path


@pytest.mark.parametrize("read", [read_table, read_channels])
def test_ten_million_rows_are_refused_at_once(ten_million_rows: Path, read: Reader) -> None:
    assert "is larger than" in _told(read, ten_million_rows)


def test_as_many_rows_as_fit_the_size_are_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes(b"a,b\n" + b"1,2\n" * 5_000_000)
    assert "rows; give a part of it" in _told(read_table, path)


@pytest.mark.parametrize("read", [read_table, read_channels])
@pytest.mark.parametrize("case", [case for case in CURVES if case not in FOR_THE_READER])
def test_a_hostile_table(tmp_path: Path, case: str, read: Reader) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes(CURVES[case].encode())
    _told(read, path)


@pytest.mark.parametrize("case", sorted(FOR_THE_READER))
def test_what_is_no_log_of_a_run(tmp_path: Path, case: str) -> None:
    path = tmp_path / "table.csv"
    path.write_bytes(CURVES[case].encode())
    assert "not among the channels" in _told(read_channels, path) or case == "a wrong row of units"


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("0,0\n", "speed"),
        ("0,0\n1,0\n2,0\n", "does not rise"),
        ("1,0\n0,5\n2,9\n", "line 3: at 0 s does not come after 1 s"),
        ("0,0\n0,5\n2,9\n", "line 3: at 0 s does not come after 0 s"),
        ("0,0\n1,=5\n2,9\n", "line 3"),
        ("0,0\n1,1_0\n2,9\n", "line 3"),
        ("0,0\n1,\u0665\n2,9\n", "line 3"),
        ("0,0\n1,infinity\n2,9\n", "line 3"),
        ("0,0\n1,--5\n2,9\n", "line 3"),
        ("0,0\n1,5,7\n2,9\n", "line 3"),
        ("0,0\n1\n2,9\n", "line 3"),
        ("0,0\n1,9e9\n2,9\n", "is the most that is plausible"),
    ],
)
def test_a_hostile_log(tmp_path: Path, rows: str, words: str) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time [s],speed [m/s]\n" + rows, "utf-8")
    assert words in _told(read_channels, path)


@pytest.mark.parametrize("name", ["log.csv", "log.mf4", "log.mat"])
@pytest.mark.parametrize("kind", ["missing", "folder", "loop", "pipe", "empty", "noise", "huge"])
def test_a_log_that_is_no_file_of_its_kind(tmp_path: Path, name: str, kind: str) -> None:
    path = tmp_path / name
    if kind == "folder":
        path.mkdir()
    elif kind == "loop":
        path.symlink_to(path)
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "empty":
        path.touch()
    elif kind == "noise":
        path.write_bytes(bytes(range(256)) * 10)
    elif kind == "huge":
        with path.open("wb") as stream:
            stream.truncate(2**36)  # takes no room on the disk
    _told(read_channels, path)


SOUND = b"time [s];speed [km/h];gear\n" + b"".join(b"%d,25;%d;1\n" % (n, n * n) for n in range(12))
PIECES = (
    b'"',
    b";",
    b",",
    b".",
    b"\n",
    b"\r",
    b"\0",
    b"\t",
    b" ",
    b"=",
    b"\xff",
    b"\xfe\xff",
    b"1e999",
    b"-",
    b"[",
    b"_",
    b"\xd9\xa3",
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(st.integers(0, len(SOUND)), st.sampled_from(PIECES) | st.binary(max_size=4)), min_size=1, max_size=5
    )
)
def test_a_table_with_anything_in_it_is_read_or_refused_readably(
    tmp_path: Path, changes: list[tuple[int, bytes]]
) -> None:
    content = SOUND
    for place, piece in changes:
        content = content[:place] + piece + content[place + len(piece) // 2 :]
    path = tmp_path / "table.csv"
    path.write_bytes(content)
    assert _kind_of_end(lambda: _finite(path))
    assert _kind_of_end(lambda: bool((np.diff(read_channels(path).trace.time) > 0.0).all()))


def _finite(path: Path) -> bool:
    table = read_table(path, TableOptions())
    return not any(np.isinf(column).any() for column in table.columns)


def _kind_of_end(read: Callable[[], bool]) -> bool:
    """Whether a reading went well, or was refused readably."""
    try:
        return read()
    except InputError as error:
        return str(error).isprintable() and len(str(error)) < 5000
