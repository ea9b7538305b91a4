"""Plain text that fits a terminal, CSV that a spreadsheet reads, and user text that cannot give orders."""

from __future__ import annotations

import csv
import io
import shlex
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simlaunch.output.layout import (
    WIDTH,
    Row,
    Table,
    clean,
    clean_lines,
    columns,
    command_text,
    csv_text,
    fits,
    paragraph,
    short,
    tables_text,
)

TABLE = Table(
    "Times",
    ("peak", "plateau", "difference"),
    (Row("60 ft", "s", ("2.100", "2.000", "-0.100")), Row("  with 1 ft rollout", "s", ("-", "1.7", "-"))),
)


def test_a_shared_unit_stands_in_the_head_and_columns_are_right_aligned() -> None:
    assert tables_text([TABLE]) == [
        "Times [s]               peak  plateau  difference\n"
        "-------------------------------------------------\n"
        "60 ft                  2.100    2.000      -0.100\n"
        "  with 1 ft rollout        -      1.7           -"
    ]


def test_different_units_stand_behind_the_labels() -> None:
    table = Table("Spin", ("a",), (Row("time", "s", ("1",)), Row("energy", "kJ", ("2",))))
    lines = tables_text([table])[0].splitlines()
    assert [line.split("  ")[0] for line in lines] == ["Spin", "-" * 20, "time [s]", "energy [kJ]"]


def test_columns_of_several_tables_begin_at_the_same_place() -> None:
    longer = Table("A rather long title of a table", ("peak", "plateau", "difference"), TABLE.rows)
    first, second = (text.splitlines()[0] for text in tables_text([TABLE, longer]))
    assert first.index("peak") == second.index("peak")


@given(st.lists(st.text(max_size=120), min_size=1, max_size=6), st.text(max_size=120))
def test_no_line_is_wider_than_a_terminal(heads: list[str], label: str) -> None:
    table = Table(label, tuple(heads), (Row(label, "kJ", tuple("-1234.5" for _ in heads)),))
    for line in tables_text([table])[0].splitlines():
        assert columns(line) <= WIDTH
        assert line.isprintable()


@given(st.text())
def test_cleaned_text_is_printable_and_plain_text_stays(text: str) -> None:
    assert clean(text).isprintable()
    assert clean(clean(text)) == clean(text)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[31mred", "\\x1b[31mred"),
        ("a\u202eb", "a\\u202eb"),
        ("two\nlines", "two\\nlines"),
        ("\udcff", "\\udcff"),
        ("Größe", "Größe"),
    ],
)
def test_control_characters_become_escapes(text: str, shown: str) -> None:
    assert clean(text) == shown


def test_lines_stay_apart() -> None:
    assert clean_lines("a\n\tb") == "a\n\\tb"


def test_a_long_name_is_cut_and_says_so() -> None:
    assert short("a very long name of a curve", 12) == "a ver...urve"
    assert short("plateau", 12) == "plateau"
    assert columns(short("漢" * 40, 12)) <= 12


def test_wide_characters_count_twice_when_text_is_wrapped() -> None:
    text = "With 80 lb-ft more peak torque, " + "漢字漢字漢字 " * 12 + "漢" * 90
    lines = paragraph(text).splitlines()
    assert max(map(columns, lines)) in (WIDTH - 2, WIDTH - 1, WIDTH)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_a_command_that_is_too_long_can_still_be_pasted() -> None:
    """Backslash and newline join lines; a quoted word stands whole. Source: POSIX.1-2017, shell, 2.2.1 and 2.2.2."""
    words = ["printf", "%s\\n", *(f"curve {k} of 漢字 $HOME 'quoted' {'x' * k}" for k in range(30))]
    shown = command_text(shlex.join(words))
    assert all(columns(line) <= WIDTH for line in shown.splitlines())
    assert len(shown.splitlines()) > 10
    said = subprocess.run(["sh", "-c", shown], capture_output=True, check=True, encoding="utf-8").stdout
    assert said.splitlines() == words[2:]


def test_a_number_stays_with_its_unit_when_text_is_wrapped() -> None:
    text = paragraph("x" * 66 + " against 13.530 s and 694 N m at the gearbox input, which is a lot")
    assert all(not line.endswith(("13.530", "694", "694 N")) for line in text.splitlines())
    assert "13.530 s" in text


def test_csv_has_a_line_for_each_cell_and_names_rows_in_full() -> None:
    rows = list(csv.reader(io.StringIO(csv_text([TABLE]))))
    assert rows[0] == ["table", "row", "unit", "column", "value"]
    assert ["Times", "60 ft", "s", "difference", "-0.100"] in rows
    assert ["Times", "60 ft, with 1 ft rollout", "s", "peak", ""] in rows
    assert len(rows) == 1 + 6


def test_csv_hands_no_formula_to_a_spreadsheet() -> None:
    table = Table("t", ("=1+1", "plain"), (Row("@cmd", "", ("1", "2")),))
    texts = {cell for row in csv.reader(io.StringIO(csv_text([table]))) for cell in row}
    assert {"'=1+1", "'@cmd"} <= texts


def test_heads_without_room_go_over_several_lines_and_keep_every_word() -> None:
    """A head cut to "pea...m]" says nothing; the words stand whole, the unit in one piece."""
    heads = ("full pedal", "behind", "held slip", "peak torque [N m]", "peak power [kW]")
    cells = ("14.296", "0.000", "14.034", "400", "212.5")
    table = Table("1/4 mile, times in s", heads, (Row("a curve with a name of thirty-six..", "", cells),))
    wide = Table("a title that is as long as this one is", ("held slip",), (Row("1", "", ("1",)),))
    for tables in ([table], [table, wide]):
        text = tables_text(tables)[0]
        lines = text.splitlines()
        above = "\n".join(lines[: next(i for i, line in enumerate(lines) if line.startswith("---"))])
        assert "..." not in above
        assert sorted(above.replace("1/4 mile, times in s", "").split()) == sorted(" ".join(heads).split())
        assert "[N m]" in above
        assert max(map(columns, lines)) <= 80


def test_a_long_title_goes_over_several_lines_before_a_word_of_a_head_is_cut() -> None:
    heads = ("drive.locking", "launch.engine_speed", "gear set", "time 60 m [s]")
    table = Table("Best choice by surface / air.temperature", heads, (Row("wet", "", ("25 %", "3000 rpm", "a", "5")),))
    assert fits(table)
    [text] = tables_text([table])
    assert "..." not in text
    assert set(text.split()) >= {*["Best", "choice", "by", "surface", "/", "air.temperature"], *" ".join(heads).split()}
    assert max(map(len, text.splitlines())) <= WIDTH


def test_a_table_with_more_than_fits_says_so() -> None:
    heads = tuple(f"coupling.engagement_time_{n}" for n in range(3))
    assert not fits(Table("Best", heads, (Row("wet", "", ("1", "2", "3")),)))
    assert not fits(Table("Best", ("value",), (Row("w" * 72, "", ("1234567",)),)))
    assert fits(Table("Best", ("value",), (Row("w" * 71, "", ("1234567",)),)))
