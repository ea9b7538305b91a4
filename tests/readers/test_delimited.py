"""Delimited text: read by stated rules, or refused with place and remedy, quickly."""

from __future__ import annotations

import os
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simlaunch.errors import InputError
from simlaunch.readers.delimited import (
    MAX_BYTES,
    MAX_ROWS,
    Delimiter,
    Encoding,
    Table,
    TableOptions,
    TextColumn,
    read_table,
)
from simlaunch.units.numeral import DecimalMark

NAN = float("nan")
HANGS = 20.0  # of processor time [s]; what is refused at once takes a few hundredths of it


def _file(folder: Path, content: str | bytes) -> Path:
    path = folder / "t.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def _columns(table: Table) -> list[list[float]]:
    return [column.tolist() for column in table.columns]


def _refusal(folder: Path, content: str | bytes, options: TableOptions | None = None) -> str:
    path = _file(folder, content)
    with pytest.raises(InputError) as caught:
        read_table(path, options)
    text = str(caught.value)
    assert text.startswith(str(path))
    assert all(line.isprintable() for line in text.splitlines())
    return text.removeprefix(f"{path}, ")


@pytest.mark.parametrize(
    ("content", "note"),
    [
        ("rpm,Nm\n1000,200.5\n2000,300\n", "cells parted by comma; decimal point"),
        ("rpm;Nm\n1000;200.5\n2000;300\n", "cells parted by semicolon; decimal point"),
        ("rpm;Nm\n1000;200,5\n2000;300\n", "cells parted by semicolon; decimal comma"),
        ("rpm\tNm\n1000\t200,5\n2000\t300\n", "cells parted by tab; decimal comma"),
        ("rpm   Nm\n1000  200.5\n 2000   300\n", "cells parted by blanks; decimal point"),
        ("rpm Nm\n1000 200,5\n2000 300,0\n", "cells parted by blanks; decimal comma"),
        ("rpm, Nm\n1000, 200.5\n2000, 300\n", "cells parted by comma; decimal point"),
        ("rpm,Nm,\n1000,200.5,\n2000,300,\n", "cells parted by comma; decimal point"),
        ('"rpm","Nm"\n"1000","200,5"\n"2000","300"\n', "cells parted by comma; decimal comma"),
        ("rpm;Nm\n\n1000;2.005e2\n\n2000;+300.\n", "cells parted by semicolon; decimal point"),
    ],
)
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_dialects(tmp_path: Path, content: str, note: str, ending: str) -> None:
    table = read_table(_file(tmp_path, content.replace("\n", ending)))
    assert table.header == ("rpm", "Nm")
    assert table.units is None
    assert _columns(table) == [[1000.0, 2000.0], [200.5, 300.0]]
    assert table.notes == (f"read as UTF-8; {note}",)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_byte_order_mark_decides(tmp_path: Path, encoding: str) -> None:
    table = read_table(_file(tmp_path, "n [min⁻¹],T [N·m]\n1000,200\n".encode(encoding)))
    assert table.header == ("n [min⁻¹]", "T [N·m]")


def test_other_encodings_on_request(tmp_path: Path) -> None:
    content = "speed °;Nm\n1000;200\n"
    assert _refusal(tmp_path, content.encode("latin-1")) == (
        "line 1: is not UTF-8; save it as UTF-8, or name another encoding: utf-8, utf-16, latin-1"
    )
    table = read_table(_file(tmp_path, content.encode("latin-1")), TableOptions(encoding=Encoding.LATIN_1))
    assert table.header == ("speed °", "Nm")
    assert "name another encoding: utf-8, utf-16, latin-1" in _refusal(tmp_path, content.encode("utf-16-le"))
    assert "holds a NUL" in _refusal(tmp_path, content.replace("°", "").encode("utf-16-le"))
    table = read_table(_file(tmp_path, content.encode("utf-16-le")), TableOptions(encoding=Encoding.UTF_16))
    assert table.header == ("speed °", "Nm")


def test_preamble_and_row_of_units(tmp_path: Path) -> None:
    table = read_table(_file(tmp_path, "# note: sample\nTest, 12\nspeed, torque\n[rpm], (N m)\n1000, 200\n"))
    assert table.preamble == ("# note: sample", "Test, 12")
    assert table.header == ("speed", "torque")
    assert table.units == ("rpm", "N m")
    assert table.line_numbers.tolist() == [5]
    assert table.unit(1) == "N m"


def test_header_made_of_units_is_a_header(tmp_path: Path) -> None:
    table = read_table(_file(tmp_path, "Test 12\nrpm;Nm\n1000;200\n"))
    assert (table.header, table.units) == (("rpm", "Nm"), None)


def test_blank_cells_and_text(tmp_path: Path) -> None:
    table = read_table(_file(tmp_path, "rpm,Nm,who,empty\n1000,,me,\n1100,5,,\n1200, ,you,\n"))
    assert table.header == ("rpm", "Nm", "empty")
    np.testing.assert_array_equal(table.columns[1], [NAN, 5.0, NAN])
    np.testing.assert_array_equal(table.columns[2], [NAN, NAN, NAN])
    assert table.text_columns == (TextColumn("who", "", 2, "me"),)
    assert 'column "who" holds text and is left out' in table.notes


def test_a_date_is_text_not_a_number(tmp_path: Path) -> None:
    table = read_table(_file(tmp_path, "day;rpm;Nm\n01.02.2024;1000;200,5\n01.02.2024;1100;210,5\n"))
    assert (table.header, table.text_columns[0].name) == (("rpm", "Nm"), "day")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("rpm;Nm\n1,500;200\n2,500;300\n", '"1,500" may have decimals or parted thousands'),
        ("rpm;Nm\n1.500;200\n2.500;300\n", '"1.500" may have decimals or parted thousands'),
        ("rpm;Nm\n1000,5;200.5\n", '"1000,5" is written with a comma, "200.5" with a point'),
    ],
)
def test_decimal_mark_is_never_guessed(tmp_path: Path, content: str, told: str) -> None:
    assert _refusal(tmp_path, content).startswith(f"line 2 or below: {told}")


def test_thousands_are_not_parted(tmp_path: Path) -> None:
    told = 'line 2, column "rpm": "1.510,5" has parted thousands; write plain numbers such as "1510.5"'
    assert _refusal(tmp_path, "rpm;Nm\n1.510,5;200,25\n") == told


def test_decimal_mark_may_be_named(tmp_path: Path) -> None:
    path = _file(tmp_path, "rpm;lambda\n1000;1,500\n2000;2,500\n")
    assert _columns(read_table(path, TableOptions(decimal=DecimalMark.COMMA)))[1] == [1.5, 2.5]
    with pytest.raises(InputError, match='"1,500" has parted thousands'):
        read_table(path, TableOptions(decimal=DecimalMark.POINT))


def test_delimiter_may_be_named(tmp_path: Path) -> None:
    path = _file(tmp_path, "rpm,a;Nm,b\n1000;200\n")
    assert read_table(path, TableOptions(delimiter=Delimiter.SEMICOLON)).header == ("rpm,a", "Nm,b")
    with pytest.raises(InputError, match=r"no delimiter \(tab\) splits"):
        read_table(path, TableOptions(delimiter=Delimiter.TAB))


CELLS = {
    "1_000": "is not a plain number",
    "١٢٣": "is not a plain number",
    "\uff11\uff12": "is not a plain number",
    "infinity": "is not a plain number",
    "nan": "is not a plain number",
    "--5": "is not a plain number",
    "0x10": "is not a plain number",
    "1e400": "is not a plain number",
    "9**9**9": "is not a plain number",
    "1 510": "has parted thousands",
    "=1+1": "is a formula, not a number",
    "@SUM(A1)": "is a formula, not a number",
    "<script>": "is not a plain number",
    "9" * 1000: "is longer than 64 characters",
}


@pytest.mark.parametrize("cell", CELLS, ids=lambda cell: cell[:12])
@pytest.mark.parametrize("row", [2, 3, 4])
def test_bad_cell_is_named(tmp_path: Path, cell: str, row: int) -> None:
    rows = ["rpm;Nm", "1000;200", "1100;210", "1200;220"]
    rows[row - 1] = f"1000;{cell}"
    told = _refusal(tmp_path, "\n".join(rows))
    assert told.startswith(f'line {row}, column "Nm": "{cell[:37]}')
    assert f'" {CELLS[cell]}; ' in told


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("", "file: is empty"),
        ("\n \n\n", "file: is empty"),
        ("hello", 'line 1: "hello" begins no table'),
        ("rpm,Nm\n", 'line 1: "rpm,Nm" begins no table'),
        ("rpm,Nm\n1000,5,200,3\n1100,5,201,3\n", 'line 1: "rpm,Nm" begins no table'),
        ("1000,200\n1100,210\n", 'line 1: "1000,200" holds numbers where the header is wanted'),
        ("rpm,Nm\n1000,200\n1100\n", 'line 3: "1100" has 1 cell, the header has 2'),
        ("rpm,Nm\n1000,200\n1100,2,3\n", 'line 3: "1100,2,3" has 3 cells, the header has 2'),
        ('rpm,Nm\n1000,200\n"1100,210\n', 'line 3: "\\"1100,210" has a quote that is not closed on its line'),
        ("rpm,Nm\n1000,2\x0000\n", 'line 2: "1000,2\\x0000" holds a NUL'),
        ("rpm,Nm\x1b[31m\n1000,200\n", 'line 1: "rpm,Nm\\x1b[31m" holds a control character'),
        ("rpm,N\u202em\n1000,200\n", 'line 1: "rpm,N\\u202em" holds a control character'),
        ("rpm,N\u200bm\n1000,200\n", 'line 1: "rpm,N\\u200bm" holds a control character'),
        ("rpm,Nm\n1000," + "1" * 100_000 + "\n", "line 2: "),
    ],
)
def test_no_table(tmp_path: Path, content: str, told: str) -> None:
    assert _refusal(tmp_path, content).replace('""', '"\\"').startswith(told)


def test_only_regular_files(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    for path, told in ((pipe, "not a regular"), (tmp_path, "not a regular"), (loop, "cannot be opened"),
                       (Path("/dev/zero"), "not a regular"), (tmp_path / "gone", "does not exist"),
                       (Path("a\0b"), "cannot be opened")):  # fmt: skip
        with pytest.raises(InputError, match=told):
            read_table(path)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"rpm,Nm\n" + b"1,2\n" * 10_000_000, "is larger than 32 MiB"),
        (b"rpm,Nm\n" + b"1,2\n" * 2_000_000, f"has more than {MAX_ROWS} rows"),
        (b"rpm,Nm\r" + b"1,2\r" * 2_000_000, f"has more than {MAX_ROWS} rows"),
        (b'rpm,Nm\n"1,2\n' + b"1000,2000000000000\n" * 240_000, 'line 2: ""1,2" has a quote that is not closed'),
        (b'"rpm,Nm ' + b"x" * 5_000_000, "line 1: .* is longer than 65536"),
        (b"\0" * 5_000_000, "line 1"),
        (b"(" * 60_000 + b"\n" + b"1," * 30_000 + b"1\n", "no table"),
        (b"a," * 5_000 + b"a\n" + b"1," * 5_000 + b"1\n", "over 1000 columns"),
    ],
    ids=[
        "10 million rows",
        "2 million rows",
        "CR only",
        "unclosed quote",
        "unclosed header",
        "NULs",
        "brackets",
        "wide",
    ],
)
def test_refused_without_a_hang(tmp_path: Path, content: bytes, told: str) -> None:
    path = _file(tmp_path, content)
    start = time.process_time()
    with pytest.raises(InputError, match=told):
        read_table(path)
    assert time.process_time() - start < HANGS


def test_a_hundred_thousand_rows(tmp_path: Path) -> None:
    n = np.arange(100_000)
    path = _file(tmp_path, "s,rpm,Nm\n" + "".join(f"{k / 100},{1000 + k / 50},{k % 700}.25\n" for k in n))
    table = read_table(path)
    np.testing.assert_array_equal(table.columns[2], n % 700 + 0.25)
    np.testing.assert_array_equal(table.line_numbers, n + 2)


def test_limits_can_be_set(tmp_path: Path) -> None:
    assert _refusal(tmp_path, "rpm,Nm\n1,2\n3,4\n5,6\n", TableOptions(max_rows=2)).startswith("file: has more than 2")
    assert MAX_BYTES == 32 * 2**20


@given(
    st.lists(
        st.tuples(st.floats(-1e6, 1e6).map(lambda x: round(x, 3)), st.integers(-10_000, 10_000)),
        min_size=1,
        max_size=30,
    ),
    st.sampled_from([("\t", ","), (";", ","), (";", "."), (",", "."), (" ", "."), (" ", ",")]),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
def test_what_is_written_is_read(tmp_path: Path, rows: list[tuple[float, int]], dialect: tuple[str, str]) -> None:
    delimiter, mark = dialect
    lines = [f"{a:.4f}{delimiter}{b}".replace(".", mark) for a, b in rows]
    table = read_table(_file(tmp_path, "\n".join([f"first{delimiter}second", *lines])))
    assert _columns(table) == [[a for a, _ in rows], [float(b) for _, b in rows]]


@given(st.one_of(st.binary(max_size=300), st.text(alphabet='0123456789.,;\t -+eE"\r\nrpmN[]()=_\0', max_size=300)))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300)
def test_anything_is_read_or_refused(tmp_path: Path, content: str | bytes) -> None:
    try:
        table = read_table(_file(tmp_path, content))
    except InputError:
        return  # any other exception fails the test
    assert len({len(column) for column in table.columns} | {len(table.line_numbers)}) == 1
    assert not any(np.isinf(column).any() for column in table.columns)
